package archtest

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// repository is the root of this repository, seen from this package's folder.
const repository = "../../.."

func TestRepository(t *testing.T) {
	tree, err := Load(repository)
	if err != nil {
		t.Fatal(err)
	}
	if len(tree.Files) == 0 {
		t.Fatal("no source file was found: the test looks at the wrong folder")
	}
	for _, rule := range Rules {
		t.Run(rule.Name, func(t *testing.T) {
			for _, violation := range rule.Check(tree) {
				t.Error(violation)
			}
		})
	}
}

const docFile = "// Package p is explained.\npackage p\n"

// TestRulesCatch shows for each rule a tree that breaks it, what is reported,
// and that nothing is reported for the same tree put right.
func TestRulesCatch(t *testing.T) {
	long := strings.Repeat("\n", maxFileLines) // with the package clause one line too many
	function := func(lines int) string { return "package p\nfunc f() {\n" + strings.Repeat("_ = 0\n", lines-2) + "}\n" }
	imports := func(paths ...string) string {
		return "package p\nimport (\n\"" + strings.Join(paths, "\"\n\"") + "\"\n)\n"
	}
	for _, c := range []struct {
		rule      func(*Tree) []Violation
		path      string
		bad, good string
		want      string // the only violation of the bad tree
	}{
		{Root, "utils/a.go", "package p\n", "", "utils: does not belong at the root"},
		{Arrowed, "extras/a.go", "package p\n", "", "extras: has no row in archtest.Arrows"},
		{Arrowed, "inventory/mass/a.go", imports("fmt", decimal), imports("fmt"), "inventory/mass/a.go: may not import " + decimal + ": inventory/mass may import the standard library only"},
		{Arrowed, "inventory/lot/a.go", imports("millbase/costing/money"), imports("millbase/inventory/mass"), "may not import millbase/costing/money"},
		{Arrowed, "costing/quote/a.go", imports("millbase/solver"), imports("millbase/inventory", decimal), "may not import millbase/solver"},
		{Arrowed, "solver/a.go", imports("millbase/solver/certify"), imports("math"), "may not import millbase/solver/certify"},
		{Arrowed, "solver/relax/a.go", imports("millbase/inventory/mass"), imports("millbase/solver"), "may not import millbase/inventory/mass"},
		{Arrowed, "solver/formulation/a.go", imports("millbase/solver/clp"), imports("millbase/solver/certify", "millbase/costing/money"), "may not import millbase/solver/clp"},
		{Arrowed, "solver/formulation/b.go", imports("millbase/costing/quote"), "", "may not import millbase/costing/quote"},
		{Arrowed, "solver/clp/a.go", imports("google.golang.org/grpc"), imports("github.com/lanl/clp"), "may not import google.golang.org/grpc"},
		{Arrowed, "inventory/lot/a_test.go", imports("gonum.org/v1/gonum/mat"), imports(rapid), "may not import gonum.org/v1/gonum/mat"},
		{Arrowed, "solver/relax/b.go", imports("millbase/solver/solvertest"), imports("millbase/solver/checked"), "test support is for tests"},
		{Arrowed, "solver/solvertest/a.go", imports("millbase/server/app"), imports("gonum.org/v1/gonum/mat", rapid), "may not import millbase/server/app"},
		{Arrowed, "migrations/a.go", imports("github.com/jackc/pgx/v5"), imports("embed"), "may not import github.com/jackc/pgx/v5"},
		{Arrowed, "server/app/a.go", imports("github.com/jackc/pgx/v5"), imports("millbase/solver/formulation"), "may not import github.com/jackc/pgx/v5"},
		{Arrowed, "server/app/b.go", imports("millbase/server/postgres"), "", "may not import millbase/server/postgres"},
		{Arrowed, "server/app/c.go", imports("millbase/proto/millbase/v1"), "", "may not import millbase/proto/millbase/v1"},
		{Arrowed, "server/postgres/a.go", imports("google.golang.org/grpc"), imports("github.com/jackc/pgx/v5/pgxpool", "millbase/server/app"), "may not import google.golang.org/grpc"},
		{Arrowed, "server/rpc/a.go", imports("millbase/server/postgres"), imports("google.golang.org/grpc", "millbase/server/app"), "may not import millbase/server/postgres"},
		{Arrowed, "server/rpc/b.go", imports("database/sql"), "", "may not import database/sql"},
		{Arrowed, "server/gateway/a.go", imports("millbase/server/app"), imports("millbase/clients/web"), "may not import millbase/server/app"},
		{Arrowed, "clients/cli/a.go", imports("millbase/server/app"), imports("millbase/proto/millbase/v1"), "may not import millbase/server/app"},
		{Arrowed, "proto/millbase/v1/a.go", imports("millbase/inventory"), imports("google.golang.org/protobuf/proto"), "may not import millbase/inventory"},
		{Domain, "costing/a.go", "package p\nimport clock \"time\"\nvar T = clock.Now()\n", "package p\nimport \"time\"\nvar T = time.Unix(0, 0)\n", "costing/a.go:3: time.Now: take the moment as an argument"},
		{Domain, "solver/certify/a.go", imports("C"), imports("math"), "uses cgo: only solver/clp and solver/cbc may"},
		{Domain, "server/app/a.go", imports("C"), imports("net/http"), "uses cgo"},
		{Domain, "inventory/b.go", "package p\nimport \"time\"\nvar T = time.Since\n", "", "inventory/b.go:3: time.Since"},
		{Domain, "inventory/a.go", imports("net/http"), imports("os"), "imports net/http: the domain does not reach out"},
		{Short, "inventory/a.go", "package p\n" + long, "package p" + long, "inventory/a.go: has 401 lines"},
		{Short, "migrations/1.sql", "select 1;\n" + long, "-- Code generated by x. DO NOT EDIT.\n" + long, "migrations/1.sql: has 401 lines"},
		{Short, "solver/clp/bridge.cc", "int x;\n" + long, "int x;" + long, "solver/clp/bridge.cc: has 401 lines"},
		{Short, "inventory/b.go", function(maxFunctionLines + 1), function(maxFunctionLines), "inventory/b.go:2: f has 71 lines"},
		{Explained, "inventory/a.go", docFile, "", "inventory: has no doc.go with a package comment"},
		{Explained, "inventory/doc.go", "package p\n", docFile, "inventory: has no doc.go with a package comment"},
		{NotSkipped, "inventory/a_test.go", "package p\nfunc f() { t.Skip(1) }\n", "package p\nfunc f() { t.Fatal(1) }\n", "inventory/a_test.go:2: t.Skip"},
		{NotSkipped, "inventory/b_test.go", "package p\nfunc f() { b.SkipNow() }\n", "", "b.SkipNow"},
		{Finished, "clients/web/a.js", "// TO" + "DO: later\n", "// Code generated by x. DO NOT EDIT.\n// TO" + "DO\n", "clients/web/a.js:1: TO" + "DO"},
		{Finished, "server/a.go", "package p\n\nvar s = \"Not " + "implemented yet\"\n", "package p\n", "server/a.go:3: Not " + "implemented"},
	} {
		t.Run(fmt.Sprintf("%s %s", c.path, c.want), func(t *testing.T) {
			found := c.rule(write(t, map[string]string{c.path: c.bad}))
			if len(found) != 1 || !strings.Contains(found[0].String(), c.want) {
				t.Errorf("bad tree: got %v, want one with %q", found, c.want)
			}
			if c.good == "" {
				return
			}
			if found := c.rule(write(t, map[string]string{c.path: c.good})); len(found) != 0 {
				t.Errorf("good tree: got %v, want none", found)
			}
		})
	}
}

func TestClientFreeOfCFollowsImports(t *testing.T) {
	files := map[string]string{
		"clients/cli/a.go":      "package main\nimport _ \"millbase/proto/x\"\n",
		"proto/x/a.go":          "package x\nimport _ \"millbase/solver/clp\"\n",
		"solver/clp/a.go":       "package clp\nimport \"C\"\n",
		"clients/cli/b_test.go": "package main\nimport _ \"millbase/solver/cbc\"\n",
		"solver/cbc/a.go":       "package cbc\nimport \"C\"\n",
	}
	found := ClientFreeOfC(write(t, files))
	if len(found) != 1 || !strings.Contains(found[0].What, "clients/cli -> proto/x -> solver/clp") {
		t.Errorf("got %v, want the way to solver/clp", found)
	}
	files["proto/x/a.go"] = "package x\n"
	if found := ClientFreeOfC(write(t, files)); len(found) != 0 {
		t.Errorf("got %v, want none: only a test reaches cgo", found)
	}
}

func TestLoadLeavesOut(t *testing.T) {
	tree := write(t, map[string]string{
		".build/a.go": "package a\n", "solver/testdata/a.go": "not Go", "solver/a.go": "package solver\n", "solver/notes.txt": "text",
	})
	if got := fmt.Sprint(tree.Top, len(tree.Files), tree.Packages()); got != "[solver] 1 [solver]" {
		t.Errorf("got %s, want the one Go file of solver", got)
	}
}

func TestLoadRefusesBrokenGo(t *testing.T) {
	root := t.TempDir()
	if err := os.WriteFile(filepath.Join(root, "a.go"), []byte("package"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(root); err == nil || !strings.Contains(err.Error(), "a.go") {
		t.Errorf("got %v, want an error that names a.go", err)
	}
}

// write makes a tree of files, by path, and loads it.
func write(t *testing.T, files map[string]string) *Tree {
	t.Helper()
	root := t.TempDir()
	for name, text := range files {
		name = filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	tree, err := Load(root)
	if err != nil {
		t.Fatal(err)
	}
	return tree
}
