package match

import (
	"errors"
	"math"

	"millbase/inventory/mass"
	"millbase/solver/formulation"
)

// errNotWeighable is the inner sign that no amounts on the scales' divisions near
// the exact ones bring the shade in.
var errNotWeighable = errors.New("no weighable additions")

// mostTurned is the largest number of additions that are each tried rounded both
// ways; of more, the smaller ones are rounded to the nearest.
const mostTurned = 10

// weighable rounds additions to divisions of the scales: of all ways to round each
// up or down the cheapest (or the lightest, where that is asked for) that fits into
// the pot and keeps the shade and the limits.
func (c *corrector) weighable(kept mass.Mass, exact []formulation.Addition, w *formulation.Weighing) ([]formulation.Addition, error) {
	n := min(len(exact), mostTurned)
	var best []formulation.Addition
	bestValue := math.Inf(1)
	for way := range 1 << n {
		rounded, value := c.rounded(kept, exact, w, way)
		if value >= bestValue || c.after(kept, rounded).DE00 > c.p.Tolerance+hair {
			continue
		}
		limits, err := c.limits(kept, rounded)
		if err != nil {
			return nil, err
		}
		if met(limits) {
			best, bestValue = rounded, value
		}
	}
	if math.IsInf(bestValue, 1) {
		return nil, errNotWeighable
	}
	return best, nil
}

// rounded are additions rounded up where a bit of way is set, and what they are
// worth: +Inf when they can't be weighed, are not in stock or do not fit in the pot.
func (c *corrector) rounded(kept mass.Mass, exact []formulation.Addition, w *formulation.Weighing, way int) (additions []formulation.Addition, value float64) {
	room := c.p.Capacity - kept
	for i, a := range exact {
		d := division(w, a.Mass)
		down := a.Mass / d * d
		if i >= mostTurned && 2*(a.Mass-down) >= d || i < mostTurned && way>>i&1 == 1 {
			down += d
		}
		a.Mass = down
		of := &c.p.Blend.Candidates[a.Candidate]
		switch {
		case of.Available >= 0 && a.Mass > of.Available, a.Mass < of.AtLeast, a.Mass > room:
			return nil, math.Inf(1)
		case a.Mass == 0:
			continue
		case a.Mass < w.Least, a.Mass%division(w, a.Mass) != 0:
			return nil, math.Inf(1)
		}
		room -= a.Mass
		additions = append(additions, a)
		worth := a.CostPerKg
		if c.p.LeastMass {
			worth = 1
		}
		value += a.Mass.Kilograms() * max(worth, 1e-9)
	}
	return additions, value
}

// division is that of the finest scale that takes a mass.
func division(w *formulation.Weighing, m mass.Mass) mass.Mass {
	best := mass.Mass(0)
	for _, b := range w.Balances {
		if m >= b.From && (b.Capacity == 0 || m <= b.Capacity) && (best == 0 || b.Division < best) {
			best = b.Division
		}
	}
	if best == 0 {
		return mass.Milligram
	}
	return best
}
