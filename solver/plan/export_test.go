package plan

import (
	"context"
	"time"

	"millbase/solver"
)

// Searched is what the models with whole numbers come to, money: the one of totals,
// the one of every order, and the plan with the orders of the latter.
type Searched struct {
	Totals, Every, Settled float64
	Found                  bool // the last two
}

// Search solves both models of p to their optima.
func Search(ctx context.Context, engine solver.Engine, p *Problem) (Searched, error) {
	var out Searched
	b, err := newBuilt(p, false)
	if err != nil {
		return out, err
	}
	free, err := b.solve(ctx, engine, &b.model, nil)
	if err != nil {
		return out, err
	}
	w := &ordering{b: b, ctx: ctx, limit: time.Hour, lp: engine, mip: engine, free: free, bound: free.Objective}
	out.Totals = b.look(ctx, engine, b.totals(w.most()), nil, 0, w.limit).bound + b.fixed
	m, units := b.every(w.most())
	got := b.look(ctx, engine, m, nil, 0, w.limit)
	out.Every = got.bound + b.fixed
	if got.x == nil {
		return out, nil
	}
	out.Found = true
	s, err := b.settle(ctx, engine, w.ordered(units, got.x), free)
	if err != nil {
		return out, err
	}
	out.Settled = s.cost + b.fixed
	return out, nil
}
