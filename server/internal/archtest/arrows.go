package archtest

import (
	"fmt"
	"slices"
	"strings"
)

// Arrow says what the packages of one folder may import besides the standard
// library.
//
// A pattern is a path ("inventory/mass"), a path and all below it
// ("inventory/...") or "*", any package outside the module. Paths of this
// module are written without the module's name.
type Arrow struct {
	From  string   // the folder, or the folder and all below it
	May   []string // what its code may import
	Never []string // exceptions to May
	Tests []string // what its tests may import as well
}

const (
	decimal  = "github.com/shopspring/decimal"
	uuid     = "github.com/google/uuid"
	rapid    = "pgregory.net/rapid"
	colorful = "github.com/lucasb-eyer/go-colorful"
	gonum    = "gonum.org/v1/gonum/..."
	pgx      = "github.com/jackc/pgx/v5/..."
	river    = "github.com/riverqueue/river/..."
)

// testLibraries may be imported by every test.
var testLibraries = []string{rapid, "github.com/google/go-cmp/..."}

var (
	domain  = []string{"inventory/...", "costing/...", "solver/...", decimal}
	engines = []string{"solver/clp", "solver/cbc"}
	chosen  = list(engines, "solver/engines")                                                                                               // which engine solves is for the outermost layer to say
	oracles = []string{"solver/...", gonum, "github.com/lanl/clp"}                                                                          // what the solver's tests compare with
	api     = []string{"proto/...", "google.golang.org/...", "cloud.google.com/go/longrunning/...", decimal, uuid, "golang.org/x/sync/..."} // what a client of the API needs
	drivers = []string{"server/postgres/...", pgx, "database/sql/..."}
)

// Arrows is the table of DEVELOPERS.md. The most specific row counts.
var Arrows = []Arrow{
	{From: "inventory/mass"},
	{From: "inventory/...", May: []string{"inventory/..."}},
	{From: "costing/...", May: []string{"costing/...", "inventory/...", decimal}},

	{From: "solver", Tests: oracles},
	{From: "solver/clp", May: []string{"solver", "solver/certify", "github.com/lanl/clp"}, Tests: oracles},
	{From: "solver/dense", May: []string{"solver"}, Tests: oracles},
	{From: "solver/apart", May: []string{"solver"}, Tests: oracles},
	{From: "solver/engines", May: []string{"solver/..."}, Tests: oracles},
	{From: "solver/cbc", May: []string{"solver", "solver/certify", "solver/clp"}, Tests: oracles},
	{From: "solver/formulation/...", May: []string{"solver/...", "inventory/...", "costing/money", decimal}, Never: chosen, Tests: oracles},
	{From: "solver/match/...", May: []string{"solver/...", "inventory/...", decimal}, Never: chosen, Tests: oracles},
	{From: "solver/colour", May: []string{"solver", colorful}, Never: chosen, Tests: oracles},
	{From: "solver/plan/...", May: []string{"solver/...", "inventory/...", "costing/money", decimal}, Never: chosen, Tests: oracles},
	{From: "solver/...", May: []string{"solver/..."}, Never: chosen, Tests: oracles},

	{From: "proto/...", May: []string{"*"}},
	{From: "migrations", Tests: []string{"*", "server/..."}},

	{From: "server/app/...", May: list(domain, "server/app/...", uuid, "golang.org/x/sync/..."), Never: chosen, Tests: []string{"*", "server/...", "solver/..."}},
	{From: "server/postgres/...", May: list(domain, "server/app/...", "server/postgres/...", "migrations", uuid, pgx, "golang.org/x/sync/...",
		river, "github.com/jackc/pgx-shopspring-decimal", "github.com/pressly/goose/v3/..."), Never: chosen, Tests: []string{"*", "server/..."}},
	{From: "server/rpc/...", May: list(domain, "server/app/...", "server/rpc/...", "proto/...", "*"), Never: list(drivers, chosen...), Tests: []string{"server/...", "solver/..."}},
	{From: "server/gateway/...", May: []string{"server/rpc/...", "server/gateway/...", "clients/web", "proto/...", "*"}, Never: drivers, Tests: []string{"server/..."}},
	{From: "server/jobs", May: []string{"server/app", "server/postgres", pgx, river, "github.com/prometheus/client_golang/..."}, Tests: []string{"*", "server/...", "proto/..."}},
	{From: "server/embeddedpg/...", May: []string{pgx, "golang.org/x/sys/..."}},
	{From: "server/internal/archtest"},
	{From: "server/cmd/millbench", May: list(domain, "server/...", "proto/...", "clients/demo", "*")}, // measures on the demo plant
	{From: "server/...", May: list(domain, "server/...", "proto/...", "migrations", "clients/web", "*"), Tests: []string{"clients/..."}},

	{From: "clients/web", Tests: []string{"server/..."}},
	{From: "clients/demo/...", May: list(api, "clients/demo/..."), Tests: []string{"server/..."}},
	{From: "clients/figures", May: []string{"google.golang.org/genproto/..."}},
	{From: "clients/paper", May: list(api, "clients/figures", "golang.org/x/text/..."), Tests: []string{"server/..."}},
	{From: "clients/cli/...", May: list(api, "clients/cli/...", "clients/demo/...", "clients/figures", "clients/paper", "github.com/spf13/...", "golang.org/x/term"), Tests: []string{"server/..."}},
}

func list(some []string, more ...string) []string { return append(slices.Clone(some), more...) }

// arrowFor returns the most specific row for a folder.
func arrowFor(folder string) (Arrow, bool) {
	best, found := Arrow{}, false
	for _, arrow := range Arrows {
		if !matches(arrow.From, folder) {
			continue
		}
		if !found || specificity(arrow.From) > specificity(best.From) {
			best, found = arrow, true
		}
	}
	return best, found
}

// specificity ranks a longer folder above a shorter one, and a folder alone
// above the same folder with all below it.
func specificity(pattern string) int {
	folder, below := strings.CutSuffix(pattern, "/...")
	rank := 2 * len(folder)
	if !below {
		rank++
	}
	return rank
}

func matches(pattern, path string) bool {
	if folder, below := strings.CutSuffix(pattern, "/..."); below {
		return path == folder || strings.HasPrefix(path, folder+"/")
	}
	return pattern == path
}

func matchesAny(patterns []string, path string) bool {
	return slices.ContainsFunc(patterns, func(p string) bool { return matches(p, path) })
}

// Arrowed reports every import that no row of [Arrows] allows, every import of
// test support by code that is not, and every folder without a row.
func Arrowed(tree *Tree) []Violation {
	var bad []Violation
	for _, folder := range tree.Packages() {
		if _, found := arrowFor(folder); !found {
			bad = append(bad, Violation{folder, "has no row in archtest.Arrows: say what it may import"})
		}
	}
	for _, file := range tree.Files {
		arrow, found := arrowFor(file.Folder)
		if !found {
			continue
		}
		for _, imported := range file.Imports() {
			inside, ours := strings.CutPrefix(imported, Module+"/")
			switch {
			case ours && support(inside) && !file.Test():
				bad = append(bad, Violation{file.Path, "imports " + imported + ": test support is for tests"})
			case !arrow.allows(imported, file):
				bad = append(bad, Violation{file.Path, fmt.Sprintf("may not import %s: %s", imported, arrow.sentence(file.Test()))})
			}
		}
	}
	return bad
}

func (a Arrow) allows(imported string, file *File) bool {
	inside, ours := strings.CutPrefix(imported, Module+"/")
	external := !ours && strings.Contains(strings.Split(imported, "/")[0], ".")
	if !ours && !external {
		return !matchesAny(a.Never, imported) // the standard library
	}
	if file.Test() && (inside == file.Folder || matchesAny(testLibraries, inside) || allowed(a.Tests, inside, external)) {
		return true
	}
	return allowed(a.May, inside, external) && !matchesAny(a.Never, inside)
}

func allowed(patterns []string, path string, external bool) bool {
	return matchesAny(patterns, path) || external && slices.Contains(patterns, "*")
}

func (a Arrow) sentence(test bool) string {
	may := a.May
	if test {
		may = list(a.May, list(a.Tests, testLibraries...)...)
	}
	if len(may) == 0 {
		return a.From + " may import the standard library only"
	}
	sentence := a.From + " may import " + strings.Join(may, ", ")
	if len(a.Never) > 0 {
		sentence += ", never " + strings.Join(a.Never, ", ")
	}
	return sentence
}
