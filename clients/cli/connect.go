package main

import (
	"context"
	"crypto/tls"
	"fmt"
	"io"
	"os"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

// app is what every subcommand shares: where the server is and where to print.
type app struct {
	server, key string
	tls, json   bool
	out         io.Writer
	conn        *grpc.ClientConn
}

// bearer sends the API key with every call.
type bearer struct {
	key    string
	secure bool
}

func (b bearer) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + b.key}, nil
}

func (b bearer) RequireTransportSecurity() bool { return b.secure }

// dial opens a connection to a server with a key.
func dial(server, key string, encrypted bool) (*grpc.ClientConn, error) {
	transport := insecure.NewCredentials()
	if encrypted {
		transport = credentials.NewTLS(&tls.Config{MinVersion: tls.VersionTLS12})
	}
	options := []grpc.DialOption{grpc.WithTransportCredentials(transport)}
	if key != "" {
		options = append(options, grpc.WithPerRPCCredentials(bearer{key, encrypted}))
	}
	return grpc.NewClient(server, options...)
}

// client gives the connection, opened on first use.
func (a *app) client() (*grpc.ClientConn, error) {
	if a.conn != nil {
		return a.conn, nil
	}
	if a.key == "" {
		a.key = os.Getenv("MILLBASE_KEY") // not a flag's default, which --help would print
	}
	if a.key == "" {
		return nil, &exit{exitUsage, "no API key: give --key or set MILLBASE_KEY"}
	}
	conn, err := dial(a.server, a.key, a.tls)
	if err != nil {
		return nil, &exit{exitUsage, fmt.Sprintf("--server %s: %v", a.server, err)}
	}
	a.conn = conn
	return conn, nil
}

func (a *app) close() {
	if a.conn != nil {
		_ = a.conn.Close()
	}
}

// failed turns a call's error into words and an exit code.
func (a *app) failed(err error) error {
	if err == nil {
		return nil
	}
	s, ok := status.FromError(err)
	if !ok {
		return &exit{exitFailed, err.Error()}
	}
	switch s.Code() {
	case codes.Unavailable:
		return &exit{exitUnreachable, fmt.Sprintf("no server answers at %s: %s", a.server, s.Message())}
	case codes.Unauthenticated:
		return &exit{exitFailed, "the server does not know this API key: " + s.Message()}
	}
	text := s.Message()
	for _, d := range s.Details() {
		bad, ok := d.(*errdetails.BadRequest)
		if !ok {
			continue
		}
		for _, v := range bad.FieldViolations {
			if !strings.Contains(text, v.Description) {
				text += fmt.Sprintf("\n  %s: %s", v.Field, v.Description)
			}
		}
	}
	return &exit{exitFailed, text}
}

// show prints the answer as JSON when asked for, else by print.
func (a *app) show(answer proto.Message, print func()) error {
	if !a.json {
		print()
		return nil
	}
	text, err := protojson.MarshalOptions{Multiline: true, UseProtoNames: true, EmitUnpopulated: true}.Marshal(answer)
	if err != nil {
		return &exit{exitFailed, err.Error()}
	}
	_, err = fmt.Fprintln(a.out, string(text))
	return err
}
