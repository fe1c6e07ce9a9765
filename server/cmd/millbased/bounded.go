package main

import (
	"context"

	"millbase/solver"
)

// bounded lets at most so many solves run at once; the others wait until it is
// their turn or their time is over.
type bounded struct {
	solver.Engine
	places chan struct{}
}

func newBounded(engine solver.Engine, places int) *bounded {
	return &bounded{Engine: engine, places: make(chan struct{}, places)}
}

// Solve implements solver.Engine.
func (b *bounded) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	select {
	case b.places <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	defer func() { <-b.places }()
	return b.Engine.Solve(ctx, m, o)
}
