package formulation

import (
	"context"
	"errors"
	"math"
	"slices"
	"sort"

	"millbase/inventory/mass"
	"millbase/solver"
	"millbase/solver/relax"
)

// maxSingles is the largest number of single ways out that are worked out.
const maxSingles = 200

// explainClash fills in an Infeasible answer: a smallest clashing set, each of
// its members as a way out by itself, and the least weighted movements.
func (b *built) explainClash(ctx context.Context, engine solver.Engine, a *Answer) error {
	a.Clash = &Clash{}
	full, err := build(b.p, true) // more stock of what has run out is a way out too
	if err != nil {
		return err
	}
	if len(full.guards) > 0 {
		full.takeDirections(b)
		engine = &safeEngine{engine, full}
	}
	e := &explainer{built: full, ctx: ctx, engine: engine, bounds: full.bounds()}
	err = e.explain(a)
	if errors.Is(err, relax.ErrStopped) {
		a.Assumed = append(a.Assumed, "There was no time to say how it becomes possible.")
		return nil
	}
	return err
}

type explainer struct {
	*built
	ctx    context.Context
	engine solver.Engine
	bounds []bound
	// members are a smallest clashing set.
	members []*bound
}

func (e *explainer) explain(a *Answer) error {
	err := e.find(a.Clash)
	switch {
	case errors.Is(err, relax.ErrStopped) && e.ctx.Err() == nil, isNumerical(err):
		a.Assumed = append(a.Assumed, "A smallest set of clashing limits could not be told with certainty.")
	case err != nil:
		return err
	case len(e.members) == 0:
		a.Assumed = append(a.Assumed, "Nothing that may move can help: none of what can be weighed in stays in the ink.")
		return nil
	}
	for _, allowHard := range []bool{false, true} {
		if err = e.singles(a.Clash, allowHard); err != nil {
			return err
		}
		x, possible, err := e.least(allowHard)
		if err != nil {
			return err
		}
		if possible {
			e.choose(a.Clash, x)
		}
		if len(a.Clash.Movements) > 0 {
			break
		}
	}
	for _, m := range a.Clash.Movements {
		if m.Hard {
			a.Assumed = append(a.Assumed, "It can't be made without moving the hard limit "+e.p.Limits[m.Limit].Name()+".")
		}
	}
	if a.Clash.MovedCostPerKg, a.Clash.Proved, err = e.prove(a.Clash.Movements); err != nil {
		return err
	}
	return e.ways(a.Clash)
}

// find finds a smallest clashing set.
func (e *explainer) find(c *Clash) error {
	rows := make([]relax.Limit, len(e.bounds))
	at := make(map[relax.Limit]*bound, len(e.bounds))
	for i := range e.bounds {
		rows[i] = e.bounds[i].row
		at[rows[i]] = &e.bounds[i]
	}
	found, err := relax.Find(e.ctx, e.engine, &e.model, rows)
	if err != nil {
		return err
	}
	if found.Feasible {
		return ErrNumerical
	}
	c.Smallest = found.Smallest
	for _, r := range found.Limits {
		d := at[r]
		e.members = append(e.members, d)
		if d.limit >= 0 {
			c.Limits = append(c.Limits, d.limit)
		} else {
			c.Stock = append(c.Stock, int(e.active[d.column]))
		}
	}
	slices.Sort(c.Limits)
	slices.Sort(c.Stock)
	c.Limits, c.Stock = slices.Compact(c.Limits), slices.Compact(c.Stock)
	return nil
}

// choose takes the lighter of the joint movements to x and the lightest single
// one.
func (e *explainer) choose(c *Clash, x []float64) {
	c.Movements, c.Weight = e.movements(x)
	if len(c.Single) > 0 && c.Single[0].Weight < c.Weight*(1-1e-9) {
		m := c.Single[0]
		m.CostPerKg = 0
		c.Movements, c.Weight = []Movement{m}, m.Weight
	}
}

// movements lists what has to move for the blend x, and the total weight.
func (e *explainer) movements(x []float64) (out []Movement, weight float64) {
	for i := range e.bounds {
		if m, ok := e.movement(&e.bounds[i], x); ok {
			out = append(out, m)
			weight += m.Weight
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Weight > out[j].Weight })
	return out, weight
}

// prove applies movements and solves again. Each is first moved further by a ten
// millionth of its size, or as little more as it takes, so that rounding does not
// undo it: the movements that come back are those that were proved.
func (e *explainer) prove(moves []Movement) (costPerKg float64, ok bool, err error) {
	if len(moves) == 0 {
		return 0, false, nil
	}
	exact := slices.Clone(moves)
	for _, further := range []float64{1e-7, 1e-6, 1e-5} {
		for i := range moves {
			moves[i].To = e.p.further(&exact[i], further)
		}
		costPerKg, ok, err = e.solveMoved(moves)
		if ok || err != nil {
			break
		}
	}
	return costPerKg, ok, err
}

func (e *explainer) solveMoved(moves []Movement) (costPerKg float64, ok bool, err error) {
	moved, err := build(e.p.moved(moves), true)
	if err != nil {
		return 0, false, nil // a movement out of what a limit can be
	}
	s, c, err := moved.optimum(e.ctx, plain(e.engine), solver.Options{})
	switch {
	case err != nil:
		return 0, false, unlessNumerical(err)
	case s.Stop != solver.StopOptimal || !c.OK:
		return 0, false, nil
	}
	return moved.realCost(s.X), true, nil
}

// further is where a movement ends when it goes a part of its size further. Stock
// ends at a whole milligram.
func (p *Problem) further(m *Movement, part float64) float64 {
	size := math.Abs(m.To)
	if m.Limit >= 0 {
		size = max(size, p.Limits[m.Limit].size())
	}
	to := m.To + part*size
	if m.Side == AtLower {
		to = m.To - part*size
	}
	switch {
	case m.Limit >= 0 && p.Limits[m.Limit].Kind != Blended:
		return max(0, to) // an amount over an amount
	case m.Limit >= 0:
		return to
	case m.Side == AtLower:
		return mass.RoundKilograms(max(0, to), mass.RoundFloor).Kilograms()
	}
	return mass.RoundKilograms(to, mass.RoundCeil).Kilograms()
}

// moved is a copy of p with movements applied.
func (p *Problem) moved(moves []Movement) *Problem {
	out := p.copied()
	out.Goals = nil
	for i := range moves {
		m := &moves[i]
		switch {
		case m.Limit >= 0 && m.Side == AtLower:
			out.Limits[m.Limit].Lower = &m.To
		case m.Limit >= 0:
			out.Limits[m.Limit].Upper = &m.To
		case m.Side == AtLower:
			out.Candidates[m.Candidate].AtLeast = mass.RoundKilograms(m.To, mass.RoundHalfEven)
		default:
			out.Candidates[m.Candidate].Available = mass.RoundKilograms(m.To, mass.RoundHalfEven)
		}
	}
	return out
}

// copied is a copy of p whose limits and candidates may be changed.
func (p *Problem) copied() *Problem {
	out := *p
	out.Limits, out.Candidates = slices.Clone(p.Limits), slices.Clone(p.Candidates)
	return &out
}
