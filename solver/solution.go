package solver

// Stop says why an engine stopped.
type Stop uint8

// The reasons to stop.
const (
	StopUnknown    Stop = iota
	StopOptimal         // proven optimal within tolerance
	StopInfeasible      // proven to have no feasible point
	StopUnbounded       // proven to have no lowest objective
	StopLimit           // a time, node or iteration limit was reached
	StopCancelled       // the context was done
	StopNumerical       // the engine gave up on numerical grounds
)

// PointStatus says what the primal or the dual part of a Solution holds.
type PointStatus uint8

// The states of a primal or dual point.
const (
	NoPoint       PointStatus = iota // nothing usable
	FeasiblePoint                    // satisfies its constraints within tolerance
	InfeasiblePoint
	Ray // a certificate: dual ray (Farkas) or primal ray
)

// VarStatus is the place of a variable or row in a basis.
type VarStatus uint8

// The places in a basis.
const (
	Free VarStatus = iota
	Basic
	AtUpper
	AtLower
	Superbasic
	Fixed
)

// Basis is a starting point for a later solve of a model of the same shape.
type Basis struct {
	Variables []VarStatus
	Rows      []VarStatus
}

// Range is an interval in which a piece of the answer holds.
type Range struct{ Lower, Upper float64 }

// Ranging holds how far the data may move before the optimal basis changes.
type Ranging struct {
	// Cost[j] is the interval of variable j's cost that keeps the basis
	// optimal. For a variable at its lower bound of zero Cost[j].Lower is the
	// cost at which it would come in.
	Cost []Range
	// RowBound[i] is the interval of the binding bound of row i in which its
	// shadow price holds; [-Inf, Inf] where the row does not bind.
	RowBound []Range

	factor *Factor // of the basis, for paths; may be nil
}

// Solution is an engine's answer. Three fields say what can be used: Stop why
// it stopped, Primal and Dual which points are there.
//
// Signs, for a minimisation: RowDual[i] = d objective / d bound of row i
// (shadow price; >= 0 at a lower bound, <= 0 at an upper one), and
// ReducedCost[j] = Cost[j] - sum_i RowDual[i]*A[i,j].
type Solution struct {
	Stop   Stop
	Primal PointStatus
	Dual   PointStatus

	Objective   float64
	X           []float64 // per variable
	Activity    []float64 // per row: A x
	RowDual     []float64 // per row
	ReducedCost []float64 // per variable
	// Farkas is, when Stop is StopInfeasible and Dual is Ray, a dual ray per
	// row that proves infeasibility.
	Farkas []float64

	Basis   *Basis   // nil when the engine has none
	Ranging *Ranging // nil unless asked for
	// Bound is the best proven lower bound of the objective. It equals
	// Objective for an optimal linear program.
	Bound      float64
	Iterations int
	Engine     string
}
