package formulation

import (
	"errors"
	"slices"
	"sort"

	"millbase/solver/relax"
)

// Way is one way out of a clash: movements that together are enough, and none of
// which can be left out.
type Way struct {
	Movements []Movement
	Weight    float64 // of all of them: see Clash.Movements
	CostPerKg float64 // of the cheapest formula after it
}

// The ways out that are worked out: so many, of so many things that move.
const (
	maxWays  = 8
	maxMoves = 3
	maxSets  = 24
)

// ways lists several ways out, each proved, the lightest first: those that move one
// thing, the joint movements, and the least movement within each of the smallest
// sets of limits and stocks without which the rest can be met.
func (e *explainer) ways(c *Clash) error {
	for _, m := range c.Single {
		w := Way{Movements: []Movement{m}, Weight: m.Weight, CostPerKg: m.CostPerKg}
		w.Movements[0].CostPerKg = 0
		c.Ways = append(c.Ways, w)
	}
	if c.Proved && len(c.Movements) > 1 {
		c.Ways = append(c.Ways, Way{slices.Clone(c.Movements), c.Weight, c.MovedCostPerKg})
	}
	sets, err := e.smallSets()
	if errors.Is(err, relax.ErrStopped) {
		err = nil // those that were found must do
	}
	for _, set := range sets {
		if len(set) < 2 {
			continue // is among the single ones
		}
		w, ok, err := e.within(set)
		if err != nil {
			return err
		}
		if ok && !slices.ContainsFunc(c.Ways, func(o Way) bool { return e.p.alike(o, w) }) {
			c.Ways = append(c.Ways, w)
		}
	}
	sort.SliceStable(c.Ways, func(i, j int) bool { return c.Ways[i].Weight < c.Ways[j].Weight })
	c.Ways = c.Ways[:min(len(c.Ways), maxWays)]
	return unlessNumerical(err)
}

// smallSets are the smallest sets of bounds without which the rest can be met.
// Hard limits are taken as given.
func (e *explainer) smallSets() (out [][]*bound, err error) {
	var rows []relax.Limit
	at := make(map[relax.Limit]*bound, len(e.bounds))
	for i := range e.bounds {
		if d := &e.bounds[i]; !d.hard {
			rows = append(rows, d.row)
			at[d.row] = d
		}
	}
	found, _, err := relax.Ways(e.ctx, e.engine, &e.model, rows, maxSets, maxMoves)
	for _, way := range found {
		set := make([]*bound, len(way))
		for i, r := range way {
			set[i] = at[r]
		}
		out = append(out, set)
	}
	return out, err
}

// within is the least movement of the bounds of a set with all others as they are.
func (e *explainer) within(set []*bound) (w Way, ok bool, err error) {
	x, err := e.step(set, nil, nil, 0)
	if err != nil || x == nil {
		return w, false, unlessNumerical(err)
	}
	if x, _, err = e.descend(set, x); err != nil {
		return w, false, err
	}
	for _, d := range set {
		if m, moves := e.movement(d, x); moves {
			w.Movements = append(w.Movements, m)
		}
	}
	w.CostPerKg, ok, err = e.prove(w.Movements)
	for _, m := range w.Movements {
		w.Weight += m.Weight
	}
	return w, ok, err
}

// alike reports whether two ways move the same limits and stocks of the same
// materials: one lot in place of another is no other way.
func (p *Problem) alike(a, b Way) bool {
	if len(a.Movements) != len(b.Movements) {
		return false
	}
	for _, m := range a.Movements {
		if !slices.ContainsFunc(b.Movements, func(n Movement) bool {
			return m.Limit == n.Limit && m.Side == n.Side && p.material(m.Candidate) == p.material(n.Candidate)
		}) {
			return false
		}
	}
	return true
}

// material of a candidate, or its id; empty for -1.
func (p *Problem) material(candidate int) string {
	switch {
	case candidate < 0:
		return ""
	case p.Candidates[candidate].Material == "":
		return p.Candidates[candidate].ID
	}
	return p.Candidates[candidate].Material
}
