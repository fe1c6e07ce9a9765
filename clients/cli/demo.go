package main

import (
	"context"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"millbase/clients/demo"
	pb "millbase/proto/millbase/v1"
)

const demoHelp = `Loads the invented plant Tarnbeck Ink Works into an empty book, makes one API key
per role, and shows each user the answer to the question they bring.

The book is loaded through the public API with an admin's key. A book that holds
the demo plant already is shown as it stands.`

// stage is what the demo needs to know.
type stage struct {
	keyFile, rest string
	papers        string // folder for what is written
	quiet         bool
	keys          map[pb.Role]string
	app           *app
}

func (a *app) demo() *cobra.Command {
	s := &stage{app: a, keys: map[pb.Role]string{}}
	c := &cobra.Command{
		Use: "demo", Short: "Load the demo plant and show each user their answer", Long: demoHelp, GroupID: groupPlant, Args: cobra.NoArgs,
		Example: "  millbase demo --server 127.0.0.1:9480 --rest http://127.0.0.1:8480 --key-file data/admin.key",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if s.keyFile != "" {
				text, err := os.ReadFile(s.keyFile)
				if err != nil {
					return &exit{exitUsage, err.Error()}
				}
				a.key = strings.TrimSpace(string(text))
			}
			if err := s.load(cmd.Context()); err != nil {
				return err
			}
			if s.quiet {
				return nil
			}
			return s.play(cmd.Context())
		},
	}
	f := c.Flags()
	f.StringVar(&s.keyFile, "key-file", "", "file with the admin's key")
	f.StringVar(&s.rest, "rest", "http://127.0.0.1:8480", "where REST is served")
	f.StringVar(&s.papers, "papers", "millbase-demo", "folder for the quotes and pictures that are written")
	f.BoolVar(&s.quiet, "load-only", false, "load the plant and print the keys, no more")
	return c
}

// load fills an empty book and makes the keys; on a loaded book it only makes
// fresh keys.
func (s *stage) load(ctx context.Context) error {
	a := s.app
	conn, err := a.client()
	if err != nil {
		return err
	}
	plants := pb.NewPlantServiceClient(conn)
	loaded, err := demo.Loaded(ctx, conn)
	if err != nil {
		return a.failed(err)
	}
	if !loaded {
		fmt.Fprintln(a.out, "Loading Tarnbeck Ink Works, an invented plant:")
		start := time.Now()
		loader := demo.NewLoader(conn, demo.Today(start), func(format string, args ...any) { fmt.Fprintf(a.out, format+"\n", args...) })
		if err := loader.Load(ctx); err != nil {
			return a.failed(err)
		}
		fmt.Fprintf(a.out, "Loaded in %.1f s.\n", time.Since(start).Seconds())
	}
	fmt.Fprint(a.out, "\nAPI keys, one per role (shown this once; only their digests are kept):\n")
	stamp := time.Now().UTC().Format("060102-150405")
	for _, role := range []pb.Role{pb.Role_ROLE_INK_MAKER, pb.Role_ROLE_PURCHASING, pb.Role_ROLE_ORDER_DESK, pb.Role_ROLE_QUALITY, pb.Role_ROLE_FLOOR} {
		name := word(role, "ROLE_")
		made, err := plants.CreateKey(ctx, &pb.CreateKeyRequest{
			KeyId: "demo-" + strings.ReplaceAll(name, " ", "-") + "-" + stamp, Key: &pb.Key{Title: "demo " + name, Role: role},
		})
		if err != nil {
			return a.failed(err)
		}
		s.keys[role] = made.Secret
		fmt.Fprintf(a.out, "  %-11s %s\n", name, made.Secret)
	}
	return nil
}
