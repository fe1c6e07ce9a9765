package formulation

import (
	"context"

	"millbase/solver"
)

// explainClash fills in an Infeasible answer.
func (b *built) explainClash(ctx context.Context, engine solver.Engine, a *Answer) error {
	a.Clash = &Clash{}
	return nil
}
