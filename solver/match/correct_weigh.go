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
// up or down the cheapest that keeps the shade and the limits.
func (c *corrector) weighable(kept mass.Mass, exact []formulation.Addition, w *formulation.Weighing) ([]formulation.Addition, error) {
	n := min(len(exact), mostTurned)
	var best []formulation.Addition
	bestCost := math.Inf(1)
	for way := range 1 << n {
		rounded := make([]formulation.Addition, 0, len(exact))
		cost := 0.0
		for i, a := range exact {
			d := division(w, a.Mass)
			down := a.Mass / d * d
			switch {
			case i >= n && 2*(a.Mass-down) >= d, i < n && way>>i&1 == 1:
				a.Mass = down + d
			default:
				a.Mass = down
			}
			if of := &c.p.Blend.Candidates[a.Candidate]; of.Available >= 0 && a.Mass > of.Available {
				cost = math.Inf(1)
			}
			if a.Mass > 0 {
				rounded = append(rounded, a)
				cost += a.Mass.Kilograms() * max(a.CostPerKg, 1e-9)
			}
		}
		if cost >= bestCost || c.after(kept, rounded).DE00 > c.p.Tolerance+hair {
			continue
		}
		limits, err := c.limits(kept, rounded)
		if err != nil {
			return nil, err
		}
		if met(limits) {
			best, bestCost = rounded, cost
		}
	}
	if math.IsInf(bestCost, 1) {
		return nil, errNotWeighable
	}
	return best, nil
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
