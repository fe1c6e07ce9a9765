package formulation

import (
	"math"
	"slices"
	"sort"

	"millbase/solver"
)

// singles works out, for each member of the clash, to where it would have to move
// if nothing else did, and keeps those that do.
func (e *explainer) singles(c *Clash, allowHard bool) error {
	c.Single = nil
	for n, d := range e.members {
		if n == maxSingles || d.hard && !allowHard {
			continue
		}
		m, ok, err := e.alone(d)
		if err != nil {
			return err
		}
		if !ok || math.IsInf(m.Weight, 0) || math.IsNaN(m.Weight) {
			continue
		}
		one := []Movement{m}
		one[0].CostPerKg, ok, err = e.prove(one)
		if err != nil {
			return err
		}
		if ok {
			c.Single = append(c.Single, one[0])
		}
	}
	sort.SliceStable(c.Single, func(i, j int) bool { return c.Single[i].Weight < c.Single[j].Weight })
	return nil
}

// alone is the least movement of one bound with all others as they are; ok is
// false when it can't do it alone.
func (e *explainer) alone(d *bound) (Movement, bool, error) {
	for round := 0; ; round++ {
		m, x, err := e.aloneOnce(d)
		if err != nil || x == nil || round == maxCuts || e.cut(x) == 0 {
			return m, x != nil, err
		}
	}
}

// aloneOnce is alone by the rows that there are, with the blend (up to its size)
// that needs the movement; x is nil when there is none.
func (e *explainer) aloneOnce(d *bound) (out Movement, x []float64, err error) {
	m := e.model.Clone()
	for k := range m.Variables {
		m.Variables[k].Cost = 0
	}
	if d.column >= 0 {
		return e.stockAlone(d, m)
	}
	t, pair := &e.terms[d.limit], &e.rows[d.limit]
	// The whole limit is opened: the values that it can then have are an interval
	// beyond the bound that clashes.
	for _, r := range []int32{pair.lower, pair.upper} {
		if r >= 0 {
			m.Rows[r].Lower, m.Rows[r].Upper = -solver.Inf, solver.Inf
		}
	}
	n := e.width()
	num, den := e.num[d.limit*n:][:len(e.active)], e.den[d.limit*n:][:len(e.active)]
	if !t.ofInk {
		m = charnesCooper(m, den)
	}
	for k := range num {
		m.Variables[k].Cost = d.outward() * num[k]
	}
	g := e.guardOf(d.limit, d.low)
	if g != nil {
		_, scale := e.guardRow(g)
		m.Variables[g.column].Cost = g.factor / scale
	}
	s, _, err := solve(e.ctx, e.engine, m, solver.Options{})
	if err != nil || s.Stop != solver.StopOptimal {
		return Movement{}, nil, unlessNumerical(err)
	}
	ratio := d.outward() * s.Objective
	if g != nil {
		ratio, _ = e.reach(d.limit, d.low, s.X)
	}
	if d.outward()*(ratio-t.bound(d.low)) < 0 {
		return Movement{}, nil, nil
	}
	return e.limitMovement(d, ratio), s.X, nil
}

func (e *explainer) stockAlone(d *bound, m *solver.Model) (Movement, []float64, error) {
	v := &m.Variables[d.column]
	from := v.Upper
	if d.low {
		from, v.Lower = v.Lower, 0
	} else {
		v.Upper = solver.Inf
	}
	v.Cost = d.outward()
	s, _, err := solve(e.ctx, e.engine, m, solver.Options{})
	if err != nil || s.Stop != solver.StopOptimal {
		return Movement{}, nil, unlessNumerical(err)
	}
	return e.stockMovement(d, from, s.X[d.column]), s.X, nil
}

// unlessNumerical passes on errors other than an answer that can't be trusted,
// which here only means one way out fewer.
func unlessNumerical(err error) error {
	if err != nil && isNumerical(err) {
		return nil
	}
	return err
}

// charnesCooper is the model whose optimum is that of a ratio with denominator
// den over m: with y = x/den(x) and z = 1/den(x) the ratio's numerator is linear,
// den(y) = 1, and every bound is multiplied by z. Exact for den > 0 (Charnes and
// Cooper, Naval Research Logistics Quarterly 9, 1962; from memory). Costs are left
// at 0; the last variable is z.
func charnesCooper(m *solver.Model, den []float64) *solver.Model {
	var out solver.Model
	n := len(m.Variables)
	byZ := make([]solver.Entry, 0, 2*len(m.Rows)+2*n)
	lower, upper := make([]int, len(m.Rows)), make([]int, len(m.Rows))
	homogeneous := func(bound float64, r solver.Row) int {
		if math.IsInf(bound, 0) {
			return -1
		}
		row := out.AddRow(r)
		byZ = append(byZ, solver.Entry{Row: row, Value: -bound})
		return row
	}
	ge, le := solver.Row{Upper: solver.Inf}, solver.Row{Lower: -solver.Inf}
	for i, r := range m.Rows {
		if r.Lower == r.Upper {
			lower[i], upper[i] = homogeneous(r.Lower, solver.Row{}), -1
			continue
		}
		lower[i], upper[i] = homogeneous(r.Lower, ge), homogeneous(r.Upper, le)
	}
	unit := out.AddRow(solver.Row{Lower: 1, Upper: 1})
	for k, v := range m.Variables {
		var entries []solver.Entry
		if k < len(den) { // the columns behind those of the candidates weigh nothing
			entries = append(entries, solver.Entry{Row: unit, Value: den[k]})
		}
		rows, values := m.Column(k)
		for e, i := range rows {
			for _, r := range []int{lower[i], upper[i]} {
				if r >= 0 {
					entries = append(entries, solver.Entry{Row: r, Value: values[e]})
				}
			}
		}
		if v.Lower != 0 {
			entries = append(entries, solver.Entry{Row: homogeneous(v.Lower, ge), Value: 1})
		}
		if r := homogeneous(v.Upper, le); r >= 0 {
			entries = append(entries, solver.Entry{Row: r, Value: 1})
		}
		out.AddVariable(solver.Variable{Upper: solver.Inf}, entries...)
	}
	out.AddVariable(solver.Variable{Upper: solver.Inf}, slices.Clip(byZ)...)
	return &out
}
