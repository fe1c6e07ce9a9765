package reprice

import "millbase/solver"

// Way says how a result was found.
type Way uint8

// The ways, in the order in which they are tried.
const (
	// Unchanged: no cost and no bound of the formula is another.
	Unchanged Way = iota
	// ByReducedCosts: the prices of the rows stand, and every reduced cost keeps
	// its sign.
	ByReducedCosts
	// ByBasis: prices and point worked out anew on the old basis are feasible; of
	// a formula that could not be made, the old proof still holds.
	ByBasis
	// Solved from the old basis, or afresh.
	Solved
	ways
)

// String names the way in plain words.
func (w Way) String() string {
	return [...]string{"unchanged", "proved by its reduced costs", "proved on its basis", "solved"}[w]
}

// Result is what a change did to one formula.
type Result struct {
	Formula int
	Way     Way
	Stop    solver.Stop // of the answer: StopOptimal, StopInfeasible, StopUnbounded
	// Before is the cost of the answer before the change, AsIs that of the same
	// mix after it, and After the cheapest: AsIs - After is what changing the mix
	// saves. Each is NaN where there is no such mix, or where the new bounds
	// forbid it.
	Before, AsIs, After float64
	// Changed is true when the mix is another one.
	Changed bool
	// Err says why there is no answer; the other figures are then not set.
	Err error
}

// Report is what a change did.
type Report struct {
	Results []Result  // of the formulas with a changed item or bound
	Count   [ways]int // of all formulas, by way
	Failed  int       // of all formulas; they count as Solved too
}
