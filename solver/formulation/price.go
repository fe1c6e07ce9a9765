package formulation

import (
	"math"

	"millbase/solver"
)

// atBound is how near a scaled row may be to its bound and still bind.
const atBound = 1e-7

// price fills in which side of a limit binds and what moving it is worth.
//
// By the chain rule: the row of a bound v is sum (a_j - f(v) b_j) x_j >= 0 (or
// <= 0). Its dual y is d cost/d right-hand side, and moving v by dv moves the
// row's activity by -f'(v) den(x) dv, which is as good as moving the right-hand
// side by +f'(v) den(x) dv. So d cost/d v = y scale f'(v) den(x), where scale is
// what the row was multiplied by.
func (b *built) price(r *LimitReport, s *solver.Solution) {
	i := r.Limit
	t, pair := &b.terms[i], &b.rows[i]
	den := 1.0
	if !t.ofInk {
		_, den = b.ratio(i, s.X)
		if !(den > 0) {
			return // nothing to relate to: no bound of it does anything
		}
	}
	low, yLow := b.binds(i, pair.lower, true, s)
	high, yHigh := b.binds(i, pair.upper, false, s)
	if pair.lower == pair.upper && t.lower == t.upper {
		yHigh = 0 // one equation, one price
	}
	if !t.def.Increasing() {
		low, high = high, low
	}
	switch {
	case low && high:
		r.Binding = AtBoth
	case low:
		r.Binding = AtLower
	case high:
		r.Binding = AtUpper
	default:
		return
	}
	r.Slack = 0
	plain := len(b.model.Variables) == len(b.active)
	ratio, y, scale, row := t.lower, yLow, pair.lowerScale, pair.lower
	if yHigh != 0 || yLow == 0 && !math.IsInf(t.upper, 0) {
		ratio, y, scale, row = t.upper, yHigh, pair.upperScale, pair.upper
	}
	if math.IsInf(ratio, 0) {
		return
	}
	if len(b.guards) > 0 {
		den += b.moves(i, row == pair.lower, s.X)
	}
	r.ShadowPrice = y * scale * t.def.Slope(t.def.Inverse(ratio)) * den
	if s.Ranging != nil && plain {
		low := row == pair.lower && (row != pair.upper || ratio == t.lower)
		r.PriceHolds = t.holds(b.ratioHolds(i, row, low, scale, s))
	}
}

// ratioHolds is the interval of a binding bound of the ratio of limit i in which
// the basis of s stays optimal; it ends where the other bound of the limit stands.
func (b *built) ratioHolds(i int, row int32, low bool, scale float64, s *solver.Solution) solver.Range {
	t := &b.terms[i]
	at := t.bound(low)
	out := solver.Range{Lower: math.Inf(-1), Upper: math.Inf(1)}
	by, moves := solver.Range{}, t.ofInk && s.Basis.Rows[row] != solver.Basic
	if !t.ofInk {
		by, moves = b.model.RatioRange(s, int(row), b.den[i*b.width():][:len(b.active)])
	}
	switch {
	case moves && t.ofInk:
		r := s.Ranging.RowBound[row]
		out = solver.Range{Lower: r.Lower / scale, Upper: r.Upper / scale}
	case moves:
		out = solver.Range{Lower: at + by.Lower/scale, Upper: at + by.Upper/scale}
	case low: // met by accident: it may give way, but not come nearer
		out.Upper = at
	default:
		out.Lower = at
	}
	switch {
	case t.lower == t.upper:
	case low:
		out.Upper = min(out.Upper, t.upper)
	default:
		out.Lower = max(out.Lower, t.lower)
	}
	return out
}

// binds reports whether a bound of a row is reached, and its dual.
func (b *built) binds(term int, row int32, lower bool, s *solver.Solution) (bool, float64) {
	if row < 0 {
		return false, 0
	}
	r := &b.model.Rows[row]
	bound, y := r.Upper, min(0, s.RowDual[row])
	if lower {
		bound, y = r.Lower, max(0, s.RowDual[row])
	}
	if math.IsInf(bound, 0) {
		return false, 0
	}
	if r.Lower == r.Upper {
		return true, s.RowDual[row]
	}
	activity := s.Activity[row]
	if g := b.guardOf(term, lower); g != nil { // its column may stand higher than it has to
		_, scale := b.guardRow(g)
		away, _ := b.deviation(g, s.X, b.terms[term].bound(lower))
		activity -= g.sign() * g.factor * (s.X[g.column] - away*scale)
	}
	return math.Abs(activity-bound) <= atBound*max(1, math.Abs(bound)), y
}

// holds turns an interval of the ratio into one of the limit's value.
func (t *term) holds(ratio solver.Range) *solver.Range {
	lo, hi := t.edge(ratio.Lower), t.edge(ratio.Upper)
	if !t.def.Increasing() {
		lo, hi = hi, lo
	}
	return &solver.Range{Lower: lo, Upper: hi}
}

// edge is the value at a ratio that may lie outside what the index can give.
func (t *term) edge(r float64) float64 {
	v := t.value(r)
	switch {
	case !math.IsNaN(v):
		return v
	case r > 0 == t.def.Increasing():
		return math.Inf(1)
	}
	return t.def.Domain()
}

// moves is by how much less a row gives way for one unit of its bound because the
// deviation of num - bound*den moves with the bound; 0 where the denominator is
// certain.
func (b *built) moves(term int, low bool, x []float64) float64 {
	g := b.guardOf(term, low)
	if g == nil {
		return 0
	}
	ratio := b.terms[term].bound(low)
	h := 1e-6 * max(math.Abs(ratio), 1e-6)
	up, _ := b.deviation(g, x, ratio+h)
	down, _ := b.deviation(g, x, ratio-h)
	return -g.sign() * g.factor * (up - down) / (2 * h)
}
