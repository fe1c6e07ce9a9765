package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

// call runs one command line.
func call(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(context.Background(), args, &out, &errs)
	return code, out.String(), errs.String()
}

func TestEveryCommandHasHelp(t *testing.T) {
	a := &app{}
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		if c.Short == "" {
			t.Errorf("%s has no short help", c.CommandPath())
		}
		if c.HasParent() && c.Parent() == a.root() && c.GroupID == "" {
			t.Errorf("%s belongs to no group of users", c.CommandPath())
		}
		for _, sub := range c.Commands() {
			walk(sub)
		}
	}
	walk(a.root())
	if code, out, _ := call(t, "--help"); code != 0 || !strings.Contains(out, "For the order desk:") {
		t.Errorf("--help left with %d:\n%s", code, out)
	}
}

func TestHelpNeverShowsTheKey(t *testing.T) {
	t.Setenv("MILLBASE_KEY", "a-secret-of-the-plant")
	if _, out, _ := call(t, "optimise", "--help"); strings.Contains(out, "a-secret") {
		t.Fatal("the key is printed by --help")
	}
}

func TestWrongCommandLines(t *testing.T) {
	t.Setenv("MILLBASE_KEY", "")
	bad := filepath.Join(t.TempDir(), "bad.json")
	if err := os.WriteFile(bad, []byte(`{"quantity_kg": "much"}`), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"frobnicate"}, exitUsage, "unknown command"},
		{[]string{"optimise", "x", "--kg", "much"}, exitUsage, "invalid argument"},
		{[]string{"optimise", "sheetfed-cyan"}, exitUsage, "MILLBASE_KEY"},
		{[]string{"--key", "k", "optimise"}, exitUsage, "name a specification"},
		{[]string{"--key", "k", "optimise", "--file", bad}, exitUsage, "line 1"},
		{[]string{"--key", "k", "optimise", "--file", bad + "x"}, exitUsage, "no such file"},
		{[]string{"--key", "k", "optimise", "s", "--basis", "guess"}, exitUsage, "replacement"},
		{[]string{"--key", "k", "stock", "--as-of", "yesterday"}, exitUsage, "2026-03-31"},
		{[]string{"--key", "k", "receive", "l-1", "--price", "cheap"}, exitUsage, "1.98EUR"},
		{[]string{"--key", "k", "orders", "draft", "po-1", "--offer", "quellmark"}, exitUsage, "SUPPLIER/OFFER"},
		{[]string{"--key", "k", "batch", "finish", "b-1", "--weighed", "l-1"}, exitUsage, "LOT=KG"},
		{[]string{"--key", "k", "keys", "make", "x", "--role", "boss"}, exitUsage, "ink-maker"},
		{[]string{"--key", "k", "--server", "127.0.0.1:1", "materials"}, exitUnreachable, "no server answers"},
	} {
		code, _, errs := call(t, c.args...)
		if code != c.code || !strings.Contains(errs, c.says) {
			t.Errorf("%v: left with %d and %q, want %d and %q", c.args, code, errs, c.code, c.says)
		}
	}
}

func TestCompletion(t *testing.T) {
	for _, shell := range []string{"bash", "zsh", "fish"} {
		if code, out, errs := call(t, "completion", shell); code != 0 || len(out) < 1000 {
			t.Errorf("%s: left with %d, %d bytes, %s", shell, code, len(out), errs)
		}
	}
}
