package dense

import (
	"context"
	"testing"

	"millbase/solver"
	"millbase/solver/clp"
	"millbase/solver/solvertest"
)

// routed gives what does not suit the kernel to Clp, and nothing else.
type routed struct {
	*Engine
	beyond solver.Engine
}

func (r routed) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	if !r.Suits(m) {
		return r.beyond.Solve(ctx, m, o)
	}
	return r.Engine.Solve(ctx, m, o)
}

func TestEngine(t *testing.T) {
	solvertest.Run(t, func() solver.Engine { return routed{New(), clp.New()} })
}
