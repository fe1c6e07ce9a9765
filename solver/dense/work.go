package dense

import (
	"math"
	"sync"

	"millbase/solver"
)

// Tolerances, relative to max(1, |bound|) and to the scaled costs.
const (
	feasible  = 1e-9  // of a value against its bound
	optimal   = 1e-9  // of a reduced cost
	accepted  = 1e-8  // of either, in the answer
	inexact   = 1e-11 // of what recomputing may leave (valueError, priceError)
	tiny      = 1e-9  // of a pivot that may never be used
	good      = 1e-6  // of a pivot that needs no second thought
	unlike    = 1e-7  // of a pivot computed by row and by column
	singular  = 1e-11 // of a pivot when the basis is inverted
	renewal   = 100   // pivots after which the basis is inverted anew
	infinite  = 1e25  // no sound value is beyond
	rounds    = 6     // of dual, primal and check
	recoverys = 4     // inversions for numerical reasons
)

// place says where a variable stands.
type place uint8

const (
	atLower place = iota
	atUpper
	atZero // a free variable outside the basis
	basic
)

// work is the workspace of one solve. Variables are numbered 0 to n-1, the
// slack of row i is variable n+i. Positions are the m lines of the basis.
type work struct {
	m, n int
	a    []float64 // scaled coefficients, row after row, n apart

	rowScale, colScale []float64 // powers of two; nil when all are one
	costScale          float64

	cost, lower, upper []float64 // n+m, scaled
	trueCost           []float64 // n, scaled: cost before it was moved
	moved              bool      // some cost is not the true one

	at  []place   // n+m
	dir []float64 // n+m: 1 at a lower bound, -1 at an upper one, 0 if basic, fixed or free
	d   []float64 // n+m: reduced costs; of basic variables it means nothing

	free bool // some variable has no bound at all

	head       []int32   // per position: the basic variable
	headRow    []int32   // per position: the row whose slack is basic there, or -1
	xb, lb, ub []float64 // per position: value and bounds of the basic variable
	norm       []float64 // per position: squared norm of its row of the inverse

	tight []int32   // the rows whose slack is not basic, in the order of inv
	slot  []int32   // per row: its place in tight, or -1
	inv   []float64 // per position m places: its row of the inverse in the tight rows

	row    []float64 // n: a row of the tableau
	col    []float64 // m: a column of the tableau
	gather []float64 // m
	sum    []float64 // m
	devex  []float64 // n+m: reference weights of the primal simplex

	coef    []float64 // m+1 and
	rows    []int32   // m+1: a combination of rows of a
	entries []breakpoint

	y       []float64 // m: row prices, scaled
	scratch []float64 // for the inversion
	back    []int32   // m

	// What the last recomputation left of A x + s, over the largest value, and of
	// the basic variables' reduced costs, over the largest price.
	valueError, priceError float64

	pivots     int // since the basis was inverted
	recovered  int
	iterations int
	bland      bool // stalled: the smallest number decides
	shaken     bool // the costs were moved against stalling

	proof     int // position of the row that proves infeasibility
	proofSign float64

	done <-chan struct{}
}

// breakpoint is a candidate of the dual ratio test: variable j's reduced cost
// reaches zero after a step of d/v.
type breakpoint struct {
	j    int32
	v, d float64
}

var pool = sync.Pool{New: func() any { return new(work) }}

// sized is s with length n; its elements may hold anything.
func sized[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// load lays out m, which must be valid, scaled where the largest coefficients of
// rows or columns are far from one.
func (w *work) load(m *solver.Model) {
	w.m, w.n = len(m.Rows), len(m.Variables)
	w.sizes()
	w.a = sized(w.a, w.m*w.n)
	clear(w.a)
	size := w.sum // the largest coefficient of each row
	clear(size)
	uneven := false
	for j := range w.n {
		rows, values := m.Column(j)
		var largest float64
		for k, i := range rows {
			v := values[k]
			w.a[int(i)*w.n+j] = v
			v = math.Abs(v)
			size[i], largest = max(size[i], v), max(largest, v)
		}
		uneven = uneven || largest > 0 && (largest < 1e-3 || largest > 1e3)
	}
	for _, v := range size {
		uneven = uneven || v > 0 && (v < 1e-3 || v > 1e3)
	}
	w.rowScale, w.colScale = w.rowScale[:0], w.colScale[:0]
	if uneven {
		w.scale()
	}
	w.bounds(m)
}

// sizes makes room.
func (w *work) sizes() {
	m, n := w.m, w.n
	w.cost, w.lower, w.upper = sized(w.cost, n+m), sized(w.lower, n+m), sized(w.upper, n+m)
	w.trueCost = sized(w.trueCost, n)
	w.at, w.dir, w.d, w.devex = sized(w.at, n+m), sized(w.dir, n+m), sized(w.d, n+m), sized(w.devex, n+m)
	w.head, w.headRow = sized(w.head, m), sized(w.headRow, m)
	w.xb, w.lb, w.ub, w.norm = sized(w.xb, m), sized(w.lb, m), sized(w.ub, m), sized(w.norm, m)
	w.tight, w.slot, w.inv = sized(w.tight, m)[:0], sized(w.slot, m), sized(w.inv, m*m)
	w.row, w.col, w.gather, w.sum, w.y = sized(w.row, n), sized(w.col, m), sized(w.gather, m), sized(w.sum, m), sized(w.y, m)
	w.coef, w.rows, w.back = sized(w.coef, m+1), sized(w.rows, m+1), sized(w.back, m)
	w.entries = sized(w.entries, n+m)
	w.pivots, w.recovered, w.iterations, w.bland, w.shaken, w.moved, w.free = 0, 0, 0, false, false, false, false
}

// scale brings coefficients to about one by powers of two, which round nothing:
// rows and columns in turn are divided by the geometric mean of their largest
// and smallest coefficient, at last every column by its largest.
func (w *work) scale() {
	m, n := w.m, w.n
	w.rowScale, w.colScale = sized(w.rowScale, m), sized(w.colScale, n)
	fill(w.rowScale, 1)
	fill(w.colScale, 1)
	for range 4 {
		for i := range m {
			largest, smallest := extent(w.a[i*n:i*n+n], 1, w.colScale)
			w.rowScale[i] = inverse(math.Sqrt(largest) * math.Sqrt(smallest))
		}
		for j := range n {
			largest, smallest := extent(w.a[j:], n, w.rowScale)
			w.colScale[j] = inverse(math.Sqrt(largest) * math.Sqrt(smallest))
		}
	}
	for j := range n {
		largest, _ := extent(w.a[j:], n, w.rowScale)
		w.colScale[j] = inverse(largest)
	}
	for i := range m {
		line := w.a[i*n : i*n+n]
		for j := range line {
			line[j] *= w.rowScale[i] * w.colScale[j]
		}
	}
}

func fill(s []float64, v float64) {
	for i := range s {
		s[i] = v
	}
}

// extent returns the largest and the smallest coefficient of a line, of which
// every step-th place counts, when the other direction is scaled by other. What
// is next to nothing beside the largest has no say. Both are 0 in an empty line.
func extent(line []float64, step int, other []float64) (largest, smallest float64) {
	for k, s := range other {
		largest = max(largest, math.Abs(line[k*step])*s)
	}
	smallest = largest
	for k, s := range other {
		if v := math.Abs(line[k*step]) * s; v < smallest && v > 1e-12*largest {
			smallest = v
		}
	}
	return largest, smallest
}

// inverse is the power of two that brings v to between 1/2 and 1; 1 for 0.
func inverse(v float64) float64 {
	if v == 0 {
		return 1
	}
	_, e := math.Frexp(v)
	return math.Ldexp(1, min(max(-e, -200), 200))
}

// bounds lays out costs and bounds.
func (w *work) bounds(m *solver.Model) {
	n := w.n
	scaled := len(w.rowScale) > 0
	largest := 0.0
	for j := range n {
		v := &m.Variables[j]
		c, lo, up := v.Cost, v.Lower, v.Upper
		if scaled {
			s := w.colScale[j]
			c, lo, up = c*s, lo/s, up/s
		}
		w.trueCost[j], w.lower[j], w.upper[j] = c, lo, up
		largest = max(largest, math.Abs(c))
		w.free = w.free || math.IsInf(lo, -1) && math.IsInf(up, 1)
	}
	for i := range m.Rows {
		lo, up := m.Rows[i].Lower, m.Rows[i].Upper
		if scaled {
			lo, up = lo*w.rowScale[i], up*w.rowScale[i]
		}
		w.lower[n+i], w.upper[n+i] = -up, -lo
	}
	w.costScale = 1
	if largest > 0 && (largest < 0.1 || largest > 1e4) {
		_, e := math.Frexp(largest)
		w.costScale = math.Ldexp(1, 1-e)
		for j := range w.trueCost {
			w.trueCost[j] *= w.costScale
		}
	}
	copy(w.cost, w.trueCost)
	clear(w.cost[n:])
}
