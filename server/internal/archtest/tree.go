package archtest

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Module is the path of the Go module whose tree is read.
const Module = "millbase"

// Tree is the source of the module: what stands at the root and every file that
// a person wrote or a generator left.
type Tree struct {
	Root  string
	Top   []string // names at the root, dot files left out
	Files []*File  // sorted by path
}

// File is one source file. Path and Folder are relative to the root, with slashes.
type File struct {
	Path, Folder string
	Text         string
	Generated    bool
	Go           *ast.File // nil when the file is not Go
	fset         *token.FileSet
}

// sourceExt are the kinds of file that the rules look at.
var sourceExt = []string{".go", ".proto", ".sql", ".c", ".cc", ".h", ".js", ".mjs", ".ts", ".css", ".html"}

// generatedHeader is Go's own mark of a generated file, with any comment sign.
var generatedHeader = regexp.MustCompile(`(?m)^(//|--|#|/\*) Code generated .* DO NOT EDIT\.`)

// Load reads the tree under root. Dot folders, testdata and node_modules are
// left out. It fails when a file cannot be read or a Go file cannot be parsed.
func Load(root string) (*Tree, error) {
	tree := &Tree{Root: root}
	top, err := os.ReadDir(root)
	if err != nil {
		return nil, err
	}
	for _, entry := range top {
		if !strings.HasPrefix(entry.Name(), ".") {
			tree.Top = append(tree.Top, entry.Name())
		}
	}
	err = filepath.WalkDir(root, func(name string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if entry.IsDir() {
			if name != root && leftOut(entry.Name()) {
				return filepath.SkipDir
			}
			return nil
		}
		if !slices.Contains(sourceExt, filepath.Ext(name)) || strings.HasPrefix(entry.Name(), ".") {
			return nil
		}
		file, err := loadFile(root, name)
		if err != nil {
			return err
		}
		tree.Files = append(tree.Files, file)
		return nil
	})
	return tree, err
}

func leftOut(folder string) bool {
	return strings.HasPrefix(folder, ".") || folder == "testdata" || folder == "node_modules"
}

func loadFile(root, name string) (*File, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	rel, err := filepath.Rel(root, name)
	if err != nil {
		return nil, err
	}
	rel = filepath.ToSlash(rel)
	file := &File{Path: rel, Folder: path.Dir(rel), Text: string(text)}
	file.Generated = generatedHeader.MatchString(file.Text)
	if path.Ext(rel) != ".go" {
		return file, nil
	}
	file.fset = token.NewFileSet()
	file.Go, err = parser.ParseFile(file.fset, rel, text, parser.ParseComments|parser.SkipObjectResolution)
	if err != nil {
		return nil, fmt.Errorf("cannot be parsed: %w", err)
	}
	return file, nil
}

// Test says whether the file serves tests only: a _test.go file, or part of a
// package of test support.
func (f *File) Test() bool { return f.ofTests() || support(f.Folder) }

func (f *File) ofTests() bool { return strings.HasSuffix(f.Path, "_test.go") }

// support says whether a package is test support: by Go's custom its name ends
// in "test" (httptest; here solvertest, storetest). The benchmark program is no
// product either: it measures on the tests' problems.
func support(folder string) bool {
	return strings.HasSuffix(folder, "test") || folder == "server/cmd/millbench"
}

// Imports are the import paths of a Go file; nil for another file.
func (f *File) Imports() []string {
	if f.Go == nil {
		return nil
	}
	var paths []string
	for _, spec := range f.Go.Imports {
		// The parser has already refused a path that is not a string literal.
		unquoted, err := strconv.Unquote(spec.Path.Value)
		if err == nil {
			paths = append(paths, unquoted)
		}
	}
	return paths
}

// line is the line of a position in the file, from 1.
func (f *File) line(pos token.Pos) int { return f.fset.Position(pos).Line }

// Lines is the number of lines of the file.
func (f *File) Lines() int {
	return strings.Count(strings.TrimSuffix(f.Text, "\n"), "\n") + 1
}

// Packages are the folders that hold Go, sorted.
func (t *Tree) Packages() []string {
	var folders []string
	for _, file := range t.Files {
		if file.Go != nil && !slices.Contains(folders, file.Folder) {
			folders = append(folders, file.Folder)
		}
	}
	slices.Sort(folders)
	return folders
}
