package certify

import (
	"fmt"
	"math"
	"sync"

	"millbase/solver"
)

// noise is the scaled size below which a reduced cost or price counts as
// rounding: it is then weighed with the value itself, not with a bound that
// may be far away.
const noise = 1e-9

// work holds what is recomputed per row.
type work struct {
	act   []float64 // A x
	size  []float64 // scale of the row
	terms float64   // sum of |cost x value|
}

var works = sync.Pool{New: func() any { return new(work) }}

// newWork is released when done with.
func newWork(m *solver.Model) *work {
	n := len(m.Rows)
	w := works.Get().(*work)
	if cap(w.act) < n {
		w.act, w.size = make([]float64, n), make([]float64, n)
	}
	w.act, w.size, w.terms = w.act[:n], w.size[:n], 0
	clear(w.act)
	clear(w.size)
	return w
}

func (w *work) release() { works.Put(w) }

// point recomputes rows and bounds at x.
func (t Tolerances) point(c *Certificate, m *solver.Model, x []float64, w *work) {
	for j := range m.Variables {
		v, xj := &m.Variables[j], x[j]
		term := v.Cost * xj
		c.PrimalValue += term
		w.terms += math.Abs(term)
		c.primal(outside(xj, v.Lower, v.Upper)/max(1, math.Abs(xj)), place{false, j})
		if v.Kind == solver.Integer {
			if d := math.Abs(xj - math.Round(xj)); worse(d, c.Integrality) {
				c.Integrality = d
			}
		}
		if xj == 0 {
			continue // most of a formula's candidates
		}
		rows, values := m.Column(j)
		for k, i := range rows {
			p := values[k] * xj
			w.act[i] += p
			if p = math.Abs(p); p > w.size[i] {
				w.size[i] = p // a NaN shows in act
			}
		}
	}
	for i := range m.Rows {
		r := &m.Rows[i]
		out := outside(w.act[i], r.Lower, r.Upper)
		w.size[i] = max(1, w.size[i])
		if out != 0 {
			c.primal(out/max(w.size[i], nearest(w.act[i], r.Lower, r.Upper)), place{true, i})
		}
	}
	switch {
	case !(c.Primal <= t.Primal):
		c.Reason = fmt.Sprintf("%s is broken by %.3g (scaled)", c.worstPrimal.name(m), c.Primal)
	case !(c.Integrality <= t.Integrality):
		c.Reason = fmt.Sprintf("a whole-number variable is %.3g away from a whole number", c.Integrality)
	}
}

// worse reports whether v is the worse of the two; a NaN is worst and stays.
func worse(v, than float64) bool { return v > than || math.IsNaN(v) }

func (c *Certificate) primal(violation float64, at place) {
	if worse(violation, c.Primal) {
		c.Primal, c.worstPrimal = violation, at
	}
}

func (c *Certificate) dual(violation float64, at place) {
	if worse(violation, c.Dual) {
		c.Dual, c.worstDual = violation, at
	}
}

// outside returns by how much v is outside its bounds; NaN for a NaN.
func outside(v, lower, upper float64) float64 {
	switch {
	case v < lower:
		return lower - v
	case v > upper:
		return v - upper
	case v >= lower && v <= upper:
		return 0
	}
	return math.NaN()
}

// nearest returns the size of the bound that v is beyond.
func nearest(v, lower, upper float64) float64 {
	if v < lower {
		return math.Abs(lower)
	}
	return math.Abs(upper)
}

// prices recomputes reduced costs from the row prices and, from both, the dual
// objective, the signs and the slackness terms.
func (t Tolerances) prices(c *Certificate, m *solver.Model, s *solver.Solution, w *work) {
	scale := max(1, w.terms)
	largest := 1.0
	for _, y := range s.RowDual {
		largest = max(largest, math.Abs(y))
	}
	for i, y := range s.RowDual {
		r := &m.Rows[i]
		c.lean(y, largest, w.act[i], r.Lower, r.Upper, scale, place{true, i})
	}
	for j := range m.Variables {
		v := &m.Variables[j]
		rows, values := m.Column(j)
		d, size := v.Cost, max(1, math.Abs(v.Cost))
		for k, i := range rows {
			p := values[k] * s.RowDual[i]
			d -= p
			if p = math.Abs(p); p > size {
				size = p // a NaN shows in d
			}
		}
		c.reported(math.Abs(d-s.ReducedCost[j])/size, "a reduced cost")
		c.lean(d, size, s.X[j], v.Lower, v.Upper, scale, place{false, j})
	}
}

// lean adds the term of one price to the dual objective: price times the bound
// it leans on. A price that leans on a bound which is not there is a violation
// and counts as if that bound were zero; one of the size of noise counts at the
// value itself.
func (c *Certificate) lean(price, size, value, lower, upper, scale float64, at place) {
	bound := lower
	if price < 0 {
		bound = upper
	}
	switch {
	case math.Abs(price) <= noise*size:
		c.DualValue += price * value
		return
	case math.IsInf(bound, 0):
		c.dual(math.Abs(price)/size, at)
		bound = 0
	case math.IsNaN(price):
		c.dual(price, at)
	}
	c.DualValue += price * bound
	if term := math.Abs(price*(value-bound)) / scale; worse(term, c.Slackness) {
		c.Slackness = term
	}
}
