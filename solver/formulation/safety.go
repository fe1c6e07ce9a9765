package formulation

import (
	"math"
	"slices"

	"millbase/solver"
)

// guard keeps one bound of a limit away from its edge by as much as values may
// deviate. With D the standard deviations of the coefficients of the bound's row,
// num(x) - r den(x) <= 0, it asks for
//
//	num(x) - r den(x) + factor max { u'Dx : u in U } <= 0
//
// where U is the unit ball for a confidence (the maximum is the standard deviation
// of the row, and factor the normal quantile), or 0 <= u <= 1, sum u <= budget
// (Bertsimas and Sim 2004). The maximum is a column of its own, held up by one row
// per direction u in which it was found too small: cutting planes (Kelley, J. SIAM
// 8, 1960; from memory).
type guard struct {
	term       int
	low        bool // of the ratio
	factor     float64
	budget     float64     // 0: the unit ball
	column     int         // of the model, scaled as the row is
	directions [][]float64 // each per candidate of the problem
	off        bool        // nominal values only
}

// makeGuards lists what keeps limits safe and works out the moments that it needs.
func (b *built) makeGuards() {
	b.guards = nil
	for i := range b.p.Limits {
		l, t := &b.p.Limits[i], &b.terms[i]
		if !l.guarded() {
			continue
		}
		g := guard{term: i, factor: l.factor(), budget: l.Budget}
		if !math.IsInf(t.lower, 0) && !l.vacuous() {
			g.low = true
			b.guards = append(b.guards, g)
		}
		if !math.IsInf(t.upper, 0) {
			g.low = false
			b.guards = append(b.guards, g)
		}
	}
	if len(b.guards) == 0 {
		return
	}
	var wanted wants
	for i := range b.terms {
		wanted.add(&b.terms[i])
	}
	b.moments = make(map[int][]moments, len(b.guards))
	for _, g := range b.guards {
		if b.moments[g.term] != nil {
			continue
		}
		m := make([]moments, len(b.active))
		for k, j := range b.active {
			m[k] = b.terms[g.term].moments(&b.p.Candidates[j], &wanted, b.p.Catalogue)
		}
		b.moments[g.term] = m
	}
}

// vacuous reports whether the lower bound is one that nothing can break.
func (l *Limit) vacuous() bool {
	return l.Kind != Blended && l.Lower != nil && *l.Lower <= 0
}

// guardOf is the guard of one bound of a term, or nil.
func (b *built) guardOf(term int, low bool) *guard {
	for i := range b.guards {
		if g := &b.guards[i]; g.term == term && g.low == low && !g.off {
			return g
		}
	}
	return nil
}

// split reports whether the two bounds of a term need a row each.
func (b *built) split(term int) bool {
	return slices.ContainsFunc(b.guards, func(g guard) bool { return g.term == term })
}

// sign is +1 for a guard of an upper bound of the ratio, -1 for a lower one.
func (g *guard) sign() float64 {
	if g.low {
		return -1
	}
	return 1
}

// row is the row that the guard stands in, and what it was multiplied by.
func (b *built) guardRow(g *guard) (row int32, scale float64) {
	pair := &b.rows[g.term]
	if g.low {
		return pair.lower, pair.lowerScale
	}
	return pair.upper, pair.upperScale
}

// mostDirections is the largest number of directions that a model starts with.
const mostDirections = 25

// addGuards adds the columns and the rows of the guards to the model.
func (b *built) addGuards() {
	for i := range b.guards {
		g := &b.guards[i]
		row, _ := b.guardRow(g)
		v := solver.Variable{Name: b.p.Limits[g.term].ID + " safety", Upper: solver.Inf}
		g.column = b.model.AddVariable(v, solver.Entry{Row: int(row), Value: g.sign() * g.factor})
	}
	for i := range b.guards {
		g := &b.guards[i]
		if n := len(g.directions); n > mostDirections { // those found first are the farthest off
			g.directions = g.directions[n-mostDirections:]
		}
		for _, u := range g.directions {
			b.addCut(g, u)
		}
	}
}

// addCut adds the row of one direction: column >= u'Dx.
func (b *built) addCut(g *guard, u []float64) {
	if g.off {
		return
	}
	_, scale := b.guardRow(g)
	ratio := b.terms[g.term].bound(g.low)
	columns, values := make([]int32, 0, 16), make([]float64, 0, 16)
	for k, j := range b.active {
		if d := u[j] * scale * b.moments[g.term][k].deviation(ratio); d >= negligible {
			columns, values = append(columns, int32(k)), append(values, -d)
		}
	}
	columns, values = append(columns, int32(g.column)), append(values, 1)
	b.model.InsertRow(solver.Row{Name: b.p.Limits[g.term].ID + " safety", Upper: solver.Inf}, columns, values)
}

// deviation is the largest u'Dx over U, with the direction in which it is
// reached, for a ratio of r.
func (b *built) deviation(g *guard, x []float64, r float64) (largest float64, direction []float64) {
	parts := make([]float64, len(b.active))
	for k := range parts {
		if x[k] > 0 {
			parts[k] = x[k] * b.moments[g.term][k].deviation(r)
		}
	}
	u := worst(parts, g.budget)
	direction = make([]float64, len(b.p.Candidates))
	for k, j := range b.active {
		direction[j] = u[k]
		largest += u[k] * parts[k]
	}
	return largest, direction
}

// worst is the u in U for which the sum of u times parts is largest: along parts
// for a budget of 0, else 1 for the largest parts that the budget covers.
func worst(parts []float64, budget float64) []float64 {
	u := make([]float64, len(parts))
	if budget == 0 {
		length := norm(parts)
		for k, v := range parts {
			if v > 0 {
				u[k] = v / length
			}
		}
		return u
	}
	order := make([]int, len(parts))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(x, y int) int {
		switch {
		case parts[x] > parts[y]:
			return -1
		case parts[x] < parts[y]:
			return 1
		}
		return 0
	})
	for _, k := range order {
		u[k] = max(0, min(1, budget))
		budget--
	}
	return u
}

// norm is the length of v, without overflow.
func norm(v []float64) float64 {
	length := 0.0
	for _, a := range v {
		length = math.Hypot(length, a)
	}
	return length
}

// unsafe is by how much a scaled row may be beyond its safe bound.
const unsafe = 1e-7

// cut adds a row for every guard that the shares x break, and returns how many.
func (b *built) cut(x []float64) (added int) { return b.cutBeyond(x, unsafe) }

// cutBeyond is cut for guards that are broken by more than allowed.
func (b *built) cutBeyond(x []float64, allowed float64) (added int) {
	for i := range b.guards {
		g := &b.guards[i]
		if u := b.broken(g, x, allowed); u != nil {
			g.directions = append(g.directions, u)
			b.addCut(g, u)
			added++
		}
	}
	return added
}

// broken is the direction in which the guard is broken by shares x, whose sum may
// be any, by more than allowed; nil when it holds.
func (b *built) broken(g *guard, x []float64, allowed float64) []float64 {
	if g.off {
		return nil
	}
	row, scale := b.guardRow(g)
	if r := &b.model.Rows[row]; math.IsInf(r.Lower, -1) && math.IsInf(r.Upper, 1) {
		return nil // opened: it asks for nothing
	}
	ratio := b.terms[g.term].bound(g.low)
	num, den, total := b.totals(g.term, x)
	away, u := b.deviation(g, x, ratio)
	over := (g.sign()*(num-ratio*den) + g.factor*away) * scale
	switch {
	case !(over > allowed*max(total, unsafe)):
		return nil
	case g.column < len(x) && x[g.column] >= away*scale-unsafe*max(total, away*scale):
		return nil // the rows know: it is within what engines call feasible
	}
	return u
}

// totals are numerator and denominator of a term at shares x, and what stays in
// the ink.
func (b *built) totals(term int, x []float64) (num, den, stays float64) {
	n := b.width()
	for k := range b.active {
		if x[k] != 0 {
			num += x[k] * b.num[term*n+k]
			den += x[k] * b.den[term*n+k]
			stays += x[k] * b.stays[k]
		}
	}
	return num, den, stays
}

// reach is the ratio of a term at shares x, moved towards the bound by what it has
// to stay away: the bound that x just meets. Without a guard it is the ratio.
func (b *built) reach(term int, low bool, x []float64) (r, den float64) {
	r, den = b.ratio(term, x)
	g := b.guardOf(term, low)
	if g == nil || !(den > 0) {
		return r, den
	}
	nominal := r
	for range 50 { // the deviation depends on the bound a little, through the denominator
		away, _ := b.deviation(g, x, r)
		next := nominal + g.sign()*g.factor*away/den
		if math.Abs(next-r) <= 1e-12*math.Abs(next) {
			return next, den
		}
		r = next
	}
	return r, den
}
