package formulation

import (
	"context"
	"math"
	"time"

	"millbase/inventory/mass"
	"millbase/solver"
)

// A batch of which a milligram may be more than a limit leaves room for: how long
// whole milligrams are searched for, and up to which quantity the search goes
// beyond the neighbourhood of the optimum.
const (
	milligramTime = 2 * time.Second
	smallBatch    = 100 * mass.Gram
)

// toTheMilligram searches for a formula of whole milligrams that meets every limit;
// nil when none was found. Where a component loses something, the quantity is met
// to the milligram.
func (b *built) toTheMilligram(ctx context.Context, engine solver.Engine, free *solver.Solution) ([]portion, error) {
	w := &Weighing{Gap: 1e-4, TimeLimit: milligramTime, counted: true}
	for k := range b.active {
		if b.stays[k] != 1 {
			w.Tolerance = mass.Milligram
		}
	}
	h, err := b.whole(ctx, engine, w, free)
	if err != nil {
		return nil, err
	}
	f := &found{bound: math.Inf(-1)}
	if err := h.refine(f, free.X); err != nil {
		return nil, err
	}
	if f.masses == nil && b.p.Quantity <= smallBatch {
		s, err := h.solve(h.pose(asked{every: true}), w.Gap, everyTime)
		if err != nil {
			return nil, unlessNumerical(err)
		}
		if x := h.point(s); x != nil {
			h.keep(f, h.round(x))
		}
	}
	var out []portion
	for k, m := range f.masses {
		if m > 0 {
			out = append(out, portion{column: k, mass: m})
		}
	}
	return out, nil
}
