package main

import (
	"bytes"
	"strings"
	"testing"
	"time"
)

func environment(values map[string]string) func(string) (string, bool) {
	return func(name string) (string, bool) {
		v, ok := values[name]
		return v, ok
	}
}

func TestFlagsAndEnvironment(t *testing.T) {
	env := environment(map[string]string{"MILLBASE_LOG_LEVEL": "warn", "MILLBASE_GRPC": "127.0.0.1:1", "MILLBASE_TIMEOUT": "7s", "MILLBASE_DATA": "/somewhere"})
	c, done, err := parse([]string{"--grpc-addr", "127.0.0.1:2", "--solves=3"}, env, &bytes.Buffer{})
	if err != nil || done {
		t.Fatal(done, err)
	}
	if c.grpcAddr != "127.0.0.1:2" || c.logLevel != "warn" || c.timeout != 7*time.Second || c.solves != 3 || c.data != "/somewhere" || c.httpAddr != "127.0.0.1:8480" {
		t.Errorf("read as %+v", c)
	}
	if c.keyFile() != "/somewhere/admin.key" {
		t.Errorf("the key goes to %s", c.keyFile())
	}
}

func TestHelpAndVersion(t *testing.T) {
	for flag, want := range map[string]string{"--help": "--database-url", "--version": "millbased " + version} {
		var out bytes.Buffer
		_, done, err := parse([]string{flag}, environment(nil), &out)
		if err != nil || !done || !strings.Contains(out.String(), want) {
			t.Errorf("%s: %v %v %q", flag, done, err, out.String())
		}
	}
}

func TestFlagsThatAreRefused(t *testing.T) {
	for want, args := range map[string][]string{
		"say where the book is": {},
		"unknown flag":          {"--data", "x", "--dat", "y"},
		"is not a flag":         {"--data", "x", "serve"},
		"belong together":       {"--data", "x", "--tls-cert", "c.pem"},
		"at least 1":            {"--data", "x", "--solves", "0"},
		"above zero":            {"--data", "x", "--timeout", "-1s"},
		"use debug, info":       {"--data", "x", "--log-level", "loud"},
		"use text or json":      {"--data", "x", "--log-format", "xml"},
		"invalid argument":      {"--data", "x", "--grace", "long"},
	} {
		if _, _, err := parse(args, environment(nil), &bytes.Buffer{}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v: %v, want %q in it", args, err, want)
		}
	}
	if _, _, err := parse([]string{"--data", "x"}, environment(map[string]string{"MILLBASE_SOLVES": "many"}), &bytes.Buffer{}); err == nil || !strings.Contains(err.Error(), "MILLBASE_SOLVES") {
		t.Errorf("a bad variable: %v", err)
	}
}
