package formulation

import (
	"math"
	"sort"

	"millbase/solver"
	"millbase/solver/relax"
)

// aim is what the model of a correction looks for.
type aim int

const (
	fixed   aim = iota // the best additions to a given part of the pot
	largest            // the largest part of the pot that can be brought back
)

// model is in kg per kg of the whole pot: a column per addition, then the part of
// the pot that is kept. Row 0 is the capacity, then come the rows of c.rows.
func (c *corrector) model(want aim, part float64) *solver.Model {
	m := &solver.Model{}
	perKg := 1 / c.pot.kgStays
	m.AddRow(solver.Row{Name: "capacity", Lower: -solver.Inf, Upper: c.p.Capacity.Kilograms() * perKg})
	for _, r := range c.rows {
		row := solver.Row{Name: c.p.Limits[r.term].ID, Upper: solver.Inf}
		if !r.low {
			row.Lower, row.Upper = -solver.Inf, 0
		}
		m.AddRow(row)
	}
	for k, j := range c.active {
		of := &c.p.Candidates[j]
		v := solver.Variable{Name: of.ID, Cost: c.cost(k), Lower: of.AtLeast.Kilograms() * perKg, Upper: solver.Inf}
		if want == largest {
			v.Cost = 0
		}
		if of.Available >= 0 {
			v.Upper = of.Available.Kilograms() * perKg
		}
		m.AddVariable(v, c.entries(func(i int) (num, den float64) { return c.num[i*c.width()+k], c.den[i*c.width()+k] })...)
	}
	kept := solver.Variable{Name: "pot", Lower: part, Upper: part}
	if want == largest {
		kept.Lower, kept.Upper, kept.Cost = 0, 1, -1
	}
	m.AddVariable(kept, c.entries(func(i int) (num, den float64) { return c.potNum[i], c.potDen[i] })...)
	return m
}

// entries are a column's: what it takes of the capacity, and its part in the rows.
func (c *corrector) entries(of func(term int) (num, den float64)) []solver.Entry {
	out := make([]solver.Entry, 0, len(c.rows)+1)
	out = append(out, solver.Entry{Row: 0, Value: 1})
	for r := range c.rows {
		row := &c.rows[r]
		num, den := of(row.term)
		if v := excess(num, row.bound*den) * row.scale; math.Abs(v) >= negligible {
			out = append(out, solver.Entry{Row: r + 1, Value: v})
		}
	}
	return out
}

// cost of a kg of column k by the aim of the problem.
func (c *corrector) cost(k int) float64 {
	of := &c.p.Candidates[c.active[k]]
	if c.p.LeastMass {
		return 1
	}
	return of.CostPerKg
}

// clash finds a smallest set of limits, stocks and the capacity that keeps all of
// the pot from being brought back.
func (c *corrector) clash(a *Correction) error {
	m := c.model(fixed, 1)
	at := map[relax.Limit]func(*CorrectionClash){}
	var rows []relax.Limit
	add := func(l relax.Limit, note func(*CorrectionClash)) {
		rows = append(rows, l)
		at[l] = note
	}
	for r := range c.rows {
		side := relax.Upper
		if c.rows[r].low {
			side = relax.Lower
		}
		i := c.rows[r].term
		add(relax.Row(r+1, side), func(o *CorrectionClash) { o.Limits = append(o.Limits, i) })
	}
	for k, j := range c.active {
		note := func(o *CorrectionClash) { o.Stock = append(o.Stock, int(j)) }
		if m.Variables[k].Lower > 0 {
			add(relax.Variable(k, relax.Lower), note)
		}
		if !math.IsInf(m.Variables[k].Upper, 0) {
			add(relax.Variable(k, relax.Upper), note)
		}
	}
	add(relax.Row(0, relax.Upper), func(o *CorrectionClash) { o.Capacity = true })
	found, err := relax.Find(c.ctx, c.engine, m, rows)
	switch {
	case unlessNumerical(err) != nil && c.ctx.Err() == nil:
		return err
	case err != nil || found.Feasible:
		a.Assumed = append(a.Assumed, "A smallest set of clashing limits could not be told with certainty.")
		return nil
	}
	a.Clash = &CorrectionClash{Smallest: found.Smallest}
	for _, l := range found.Limits {
		at[l](a.Clash)
	}
	sort.Ints(a.Clash.Limits)
	sort.Ints(a.Clash.Stock)
	return nil
}
