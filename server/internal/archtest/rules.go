package archtest

import (
	"fmt"
	"go/ast"
	"path"
	"regexp"
	"slices"
	"strings"
)

// Violation is one place that breaks a rule: where, and what to change.
type Violation struct{ Where, What string }

func (v Violation) String() string { return v.Where + ": " + v.What }

// Rule is one thing that must hold for the whole tree.
type Rule struct {
	Name  string
	Check func(*Tree) []Violation
}

// Rules are all the rules.
var Rules = []Rule{
	{"only the agreed names stand at the root", Root},
	{"imports follow the arrows", Arrowed},
	{"the domain has no clock, no C, no network and no database", Domain},
	{"the client is free of cgo", ClientFreeOfC},
	{"files and functions are short", Short},
	{"every package explains itself in doc.go", Explained},
	{"no test is skipped", NotSkipped},
	{"nothing is left undone", Finished},
}

const (
	maxFileLines     = 400
	maxFunctionLines = 70
)

var rootNames = []string{
	"proto", "server", "solver", "inventory", "costing", "clients", "migrations",
	"go.mod", "go.sum", "buf.yaml", "README.md", "DEVELOPERS.md", "Makefile", "LICENSE",
}

// Root reports names at the root other than the agreed ones.
func Root(tree *Tree) []Violation {
	var bad []Violation
	for _, name := range tree.Top {
		if !slices.Contains(rootNames, name) {
			bad = append(bad, Violation{name, "does not belong at the root: move it into one of " + strings.Join(rootNames[:7], ", ")})
		}
	}
	return bad
}

// Short reports files of more than 400 lines and functions of more than 70,
// tests included. The lines of a function are counted from its signature to its
// closing brace. Generated files are left out, and so are .proto files: once
// released, a message cannot move to another file (buf breaking, FILE).
func Short(tree *Tree) []Violation {
	var bad []Violation
	for _, file := range tree.Files {
		if file.Generated {
			continue
		}
		if n := file.Lines(); n > maxFileLines && path.Ext(file.Path) != ".proto" {
			bad = append(bad, Violation{file.Path, fmt.Sprintf("has %d lines: split it, %d is the limit", n, maxFileLines)})
		}
		if file.Go == nil {
			continue
		}
		for _, decl := range file.Go.Decls {
			function, ok := decl.(*ast.FuncDecl)
			if !ok {
				continue
			}
			first := file.line(function.Pos())
			if n := file.line(function.End()) - first + 1; n > maxFunctionLines {
				what := fmt.Sprintf("%s has %d lines: split it, %d is the limit", function.Name.Name, n, maxFunctionLines)
				bad = append(bad, Violation{fmt.Sprintf("%s:%d", file.Path, first), what})
			}
		}
	}
	return bad
}

// Explained reports packages without a doc.go that carries the package comment.
// A folder with nothing but tests needs none.
func Explained(tree *Tree) []Violation {
	explained, code := map[string]bool{}, map[string]bool{}
	for _, file := range tree.Files {
		if file.Go == nil || file.ofTests() {
			continue
		}
		code[file.Folder] = true
		if path.Base(file.Path) == "doc.go" && file.Go.Doc != nil && strings.TrimSpace(file.Go.Doc.Text()) != "" {
			explained[file.Folder] = true
		}
	}
	var bad []Violation
	for _, folder := range tree.Packages() {
		if code[folder] && !explained[folder] {
			bad = append(bad, Violation{folder, "has no doc.go with a package comment: write one that explains the model"})
		}
	}
	return bad
}

// NotSkipped reports calls of Skip, Skipf and SkipNow on a testing value: a
// test that cannot run must fail.
func NotSkipped(tree *Tree) []Violation {
	receivers := []string{"t", "b", "f", "tb"}
	calls := []string{"Skip", "Skipf", "SkipNow"}
	var bad []Violation
	for _, file := range tree.Files {
		for _, use := range file.selectors() {
			if slices.Contains(receivers, use.on) && slices.Contains(calls, use.name) {
				bad = append(bad, Violation{use.where, use.on + "." + use.name + ": let the test fail and say what is missing"})
			}
		}
	}
	return bad
}

// undone are the marks of unfinished work. They are put together here so that
// this file does not report itself.
var undone = regexp.MustCompile(`\b(TO` + `DO|FIX` + `ME|XX` + `X)\b|(?i:not ` + `implemented)`)

// Finished reports the marks of unfinished work in files that a person wrote.
func Finished(tree *Tree) []Violation {
	var bad []Violation
	for _, file := range tree.Files {
		if file.Generated {
			continue
		}
		for n, line := range strings.Split(file.Text, "\n") {
			if mark := undone.FindString(line); mark != "" {
				bad = append(bad, Violation{fmt.Sprintf("%s:%d", file.Path, n+1), mark + ": finish it, or file an issue"})
			}
		}
	}
	return bad
}
