package archtest

import (
	"fmt"
	"go/ast"
	"path"
	"slices"
	"strconv"
	"strings"
)

// clock are the functions of package time that read or wait for the clock. The
// domain is given the moment by its caller.
var clock = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker"}

// outside are packages of the standard library that reach out of the process.
var outside = []string{"database/sql/...", "net/...", "os/exec", "plugin", "syscall"}

// inDomain says whether a folder is part of the domain: inventory, costing and
// solver without the engines, and without solver/apart, which runs one in
// another process.
func inDomain(folder string) bool {
	return matchesAny([]string{"inventory/...", "costing/...", "solver/..."}, folder) && !slices.Contains(engines, folder) && folder != "solver/apart"
}

// Domain reports, in the domain's code and not in its tests, every use of the
// clock and of packages that reach out of the process; and cgo anywhere but in
// the two engines.
func Domain(tree *Tree) []Violation {
	var bad []Violation
	for _, file := range tree.Files {
		for _, imported := range file.Imports() {
			if imported == "C" && !slices.Contains(engines, file.Folder) {
				bad = append(bad, Violation{file.Path, "uses cgo: only " + strings.Join(engines, " and ") + " may"})
			}
			if inDomain(file.Folder) && !file.Test() && matchesAny(outside, imported) {
				bad = append(bad, Violation{file.Path, "imports " + imported + ": the domain does not reach out of the process"})
			}
		}
		if !inDomain(file.Folder) || file.Test() {
			continue
		}
		name := file.localName("time")
		for _, use := range file.selectors() {
			if name != "" && use.on == name && slices.Contains(clock, use.name) {
				bad = append(bad, Violation{use.where, "time." + use.name + ": take the moment as an argument"})
			}
		}
	}
	return bad
}

// ClientFreeOfC follows the imports of the client's command within the module,
// and reports the way to the first package that uses cgo. Packages outside the
// module are covered by building the client with cgo switched off.
func ClientFreeOfC(tree *Tree) []Violation {
	imports, usesC := map[string][]string{}, map[string]bool{}
	for _, file := range tree.Files {
		if file.Test() {
			continue
		}
		for _, imported := range file.Imports() {
			if inside, ours := strings.CutPrefix(imported, Module+"/"); ours {
				imports[file.Folder] = append(imports[file.Folder], inside)
			}
			usesC[file.Folder] = usesC[file.Folder] || imported == "C"
		}
	}
	var queue []string
	cameFrom := map[string]string{}
	for _, folder := range tree.Packages() {
		if matches("clients/cli/...", folder) {
			queue, cameFrom[folder] = append(queue, folder), ""
		}
	}
	for len(queue) > 0 {
		folder := queue[0]
		queue = queue[1:]
		if usesC[folder] {
			return []Violation{{folder, "uses cgo and is reached from the client: " + way(cameFrom, folder)}}
		}
		for _, next := range imports[folder] {
			if _, seen := cameFrom[next]; !seen {
				queue, cameFrom[next] = append(queue, next), folder
			}
		}
	}
	return nil
}

func way(cameFrom map[string]string, to string) string {
	steps := []string{to}
	for at := cameFrom[to]; at != ""; at = cameFrom[at] {
		steps = append(steps, at)
	}
	slices.Reverse(steps)
	return strings.Join(steps, " -> ")
}

// selector is one use x.Name of a plain name x.
type selector struct{ on, name, where string }

// selectors lists the uses x.Name in a Go file, in order.
func (f *File) selectors() []selector {
	if f.Go == nil {
		return nil
	}
	var uses []selector
	ast.Inspect(f.Go, func(node ast.Node) bool {
		if use, ok := node.(*ast.SelectorExpr); ok {
			if on, ok := use.X.(*ast.Ident); ok {
				uses = append(uses, selector{on.Name, use.Sel.Name, fmt.Sprintf("%s:%d", f.Path, f.line(use.Pos()))})
			}
		}
		return true
	})
	return uses
}

// localName is the name under which the file uses an imported package of the
// standard library; "" when it does not import it.
func (f *File) localName(imported string) string {
	for _, spec := range f.Go.Imports {
		if spec.Path.Value != strconv.Quote(imported) {
			continue
		}
		if spec.Name != nil {
			return spec.Name.Name
		}
		return path.Base(imported)
	}
	return ""
}
