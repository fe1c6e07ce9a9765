package solver

import "math"

// Path is how an optimum moves with one bound while its basis stays optimal. The
// movement t is 0 at the optimum itself; X and the objective are linear in it.
type Path struct {
	// Lower <= 0 <= Upper are the ends of the movement.
	Lower, Upper float64
	// X[j] is d x[j]/d t, Objective is d objective/d t.
	X         []float64
	Objective float64
	// Denominator is den(x) at t, Denominator + t DenominatorStep; 1 and 0
	// where there is none.
	Denominator, DenominatorStep float64
}

// Ratio is by how much the bound of the ratio has moved at movement t, times the
// factor of its row. It is t/den(x at t), and rises with t.
func (p *Path) Ratio(t float64) float64 {
	if math.IsInf(t, 0) {
		if p.DenominatorStep*t > 0 {
			return 1 / p.DenominatorStep
		}
		return t
	}
	den := p.Denominator + t*p.DenominatorStep
	if den <= rangingZero*p.Denominator {
		return math.Inf(int(math.Copysign(1, t)))
	}
	return t / den
}

// RowPath is the path of the optimum s of m when the binding bound of a row
// moves. It is nil when the row is in the basis (it does not bind, or does so by
// accident), without a basis, and where Ranging is nil.
//
// With den, one figure per variable, the row is taken to be num(x) - b den(x),
// times any factor, with a bound of 0, and what moves is b, which stands in the
// coefficients. That is a change of rank one of the kernel K: with w the column of
// the row in its inverse and u = den_B K^-1, the Sherman-Morrison formula gives
//
//	b moves by t/den(x + t w),  x_B by t w,
//	a reduced cost d_j by t (y/den(x)) (den_j - u A_j),  a dual y_i by t (y/den(x)) u_i
//
// where y is the dual of the row: all of it is linear in t, and the ends are exact.
// Unlike a moving right-hand side, this may end because a reduced cost changes its
// sign.
func (m *Model) RowPath(s *Solution, row int, den []float64) *Path {
	k := m.rangingOf(s)
	if k == nil || k.place[row] < 0 {
		return nil
	}
	q, n := int(k.place[row]), len(k.basic)
	w := k.inv[q*n : q*n+n]
	p := k.path(w)
	p.Objective = s.RowDual[row]
	if den != nil && !k.divide(p, row, w, den) {
		return nil
	}
	return p
}

// RatioRange is the interval of RowPath with den, as movements of the bound of the
// ratio times the factor of its row. Where s has its Ranging, it costs less than a
// path. ok is false where the row has no path.
func (m *Model) RatioRange(s *Solution, row int, den []float64) (r Range, ok bool) {
	k := m.rangingOf(s)
	if k == nil || k.place[row] < 0 {
		return r, false
	}
	p := &Path{}
	if s.Ranging == nil {
		if p = m.RowPath(s, row, den); p == nil {
			return r, false
		}
	} else {
		q, n := int(k.place[row]), len(k.basic)
		p.Lower, p.Upper = s.Ranging.RowBound[row].Lower, s.Ranging.RowBound[row].Upper // around a bound of 0
		if !k.divide(p, row, k.inv[q*n:q*n+n], den) {
			return r, false
		}
	}
	return Range{p.Ratio(p.Lower), p.Ratio(p.Upper)}, true
}

// divide makes p the path of a ratio.
func (k *ranging) divide(p *Path, row int, w, den []float64) bool {
	p.Denominator, p.DenominatorStep = 0, 0
	for j, x := range k.s.X {
		p.Denominator += den[j] * x
	}
	for i, j := range k.basic {
		p.DenominatorStep += den[j] * w[i]
	}
	if !(p.Denominator > 0) {
		return false
	}
	p.Lower, p.Upper = stay(p.Lower, p.Upper, p.Denominator, p.DenominatorStep)
	k.prices(p, row, den)
	return true
}

// VariablePath is the path of the optimum s of m when the bound of variable j
// moves; nil when the variable is in the basis.
func (m *Model) VariablePath(s *Solution, j int) *Path {
	k := m.rangingOf(s)
	if k == nil || s.Basis.Variables[j] == Basic {
		return nil
	}
	w := make([]float64, len(k.basic))
	rows, values := m.Column(j)
	k.column(w, rows, values)
	for i := range w {
		w[i] = -w[i]
	}
	p := k.path(w, j)
	p.Objective = s.ReducedCost[j]
	return p
}

// rangingOf is what the paths of s are worked out in, on the factor kept from its
// Ranging or on one made here.
func (m *Model) rangingOf(s *Solution) *ranging {
	if s.Stop != StopOptimal || len(m.Index) == 0 {
		return nil
	}
	k := &ranging{m: m, s: s}
	if s.Ranging != nil {
		k.Factor = s.Ranging.factor
	}
	if k.Factor == nil {
		k.Factor = m.Factor(s.Basis)
	}
	if k.Factor == nil {
		return nil
	}
	return k
}

// path moves the basic variables along w, and with them the variable that is
// named, if any. It ends where a basic variable or a basic row meets a bound.
func (k *ranging) path(w []float64, named ...int) *Path {
	p := &Path{Lower: math.Inf(-1), Upper: Inf, X: make([]float64, len(k.m.Variables)), Denominator: 1}
	move := make([]float64, len(k.m.Rows))
	along := func(j int, t float64) {
		p.X[j] = t
		rows, values := k.m.Column(j)
		for e, h := range rows {
			move[h] += t * values[e]
		}
	}
	for i, j := range k.basic {
		if t, v := w[i], &k.m.Variables[j]; t != 0 {
			p.Lower, p.Upper = within(p.Lower, p.Upper, t, k.s.X[j], v.Lower, v.Upper)
			along(int(j), t)
		}
	}
	for _, j := range named {
		along(j, 1)
	}
	for h, t := range move {
		if k.place[h] < 0 && t != 0 {
			p.Lower, p.Upper = within(p.Lower, p.Upper, t, k.s.Activity[h], k.m.Rows[h].Lower, k.m.Rows[h].Upper)
		}
	}
	return p
}

// prices ends p where a reduced cost or a dual changes its sign: see RowPath.
func (k *ranging) prices(p *Path, row int, den []float64) {
	n := len(k.basic)
	rate := k.s.RowDual[row] / p.Denominator
	if math.Abs(k.s.RowDual[row]) <= rangingZero*largestOf(k.s.RowDual) {
		return // without a price nothing moves
	}
	u := make([]float64, len(k.m.Rows))
	for q, i := range k.rows {
		for b, v := range k.inv[q*n : q*n+n] {
			u[i] += den[k.basic[b]] * v
		}
	}
	largest := largestOf(u)
	for _, i := range k.rows {
		if r := &k.m.Rows[i]; r.Lower < r.Upper && math.Abs(u[i]) > rangingZero*largest {
			p.keep(k.s.RowDual[i], rate*u[i], k.s.Basis.Rows[i])
		}
	}
	for j := range k.m.Variables {
		v, st := &k.m.Variables[j], k.s.Basis.Variables[j]
		if st == Basic || v.Lower == v.Upper {
			continue
		}
		g, size := den[j], math.Abs(den[j])
		rows, values := k.m.Column(j)
		for e, i := range rows {
			t := u[i] * values[e]
			g -= t
			size += math.Abs(t)
		}
		if math.Abs(g) > rangingZero*size {
			p.keep(k.s.ReducedCost[j], rate*g, st)
		}
	}
}

// keep ends p where a price d that moves at a rate would take the wrong sign.
func (p *Path) keep(d, rate float64, st VarStatus) {
	switch st {
	case AtLower:
		p.Lower, p.Upper = stay(p.Lower, p.Upper, max(d, 0), rate)
	case AtUpper:
		p.Lower, p.Upper = stay(p.Lower, p.Upper, max(-d, 0), -rate)
	default:
		p.Lower, p.Upper = max(p.Lower, 0), min(p.Upper, 0)
	}
}

// stay narrows [lower, upper] to the t with v + t rate >= 0.
func stay(lower, upper, v, rate float64) (float64, float64) {
	switch {
	case rate > 0:
		lower = max(lower, -v/rate)
	case rate < 0:
		upper = min(upper, -v/rate)
	}
	return lower, upper
}

func largestOf(v []float64) float64 {
	out := 0.0
	for _, x := range v {
		out = max(out, math.Abs(x))
	}
	return out
}
