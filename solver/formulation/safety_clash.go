package formulation

import (
	"context"
	"slices"

	"millbase/solver"
	"millbase/solver/certify"
)

// safeEngine solves models with the columns of a built problem whose rows may be
// too few to hold its guards up: it adds those that are missing.
type safeEngine struct {
	solver.Engine
	built *built
}

// plain is the engine below.
func plain(e solver.Engine) solver.Engine {
	if safe, ok := e.(*safeEngine); ok {
		return safe.Engine
	}
	return e
}

// Solve implements solver.Engine.
func (e *safeEngine) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	s, _, err := e.SolveProven(ctx, m, o)
	return s, err
}

// SolveProven is Solve with the certificate of the model with its added rows. The
// answer has the rows of m alone, and no proof of infeasibility that m does not
// have.
func (e *safeEngine) SolveProven(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, certify.Certificate, error) {
	s, c, err := solve(ctx, e.Engine, m, o)
	if err != nil || s.Stop != solver.StopOptimal || len(m.Variables) != len(e.built.model.Variables) {
		return s, c, err
	}
	own := *e.built
	own.model, own.guards = *m.Clone(), slices.Clone(e.built.guards)
	if s.Objective == 0 { // any point will do: those that deviate least are found soonest
		for i := range own.guards {
			own.model.Variables[own.guards[i].column].Cost = 1
		}
	}
	for round := 0; err == nil && s.Stop == solver.StopOptimal && round < maxCuts && own.cut(s.X) > 0; round++ {
		s, c, err = solve(ctx, e.Engine, &own.model, solver.Options{Start: extended(s.Basis, len(own.model.Rows))})
	}
	if err != nil || len(own.model.Rows) == len(m.Rows) {
		return s, c, err
	}
	s.Basis, s.Ranging, s.Farkas = nil, nil, nil
	if len(s.Activity) > 0 {
		s.Activity = s.Activity[:len(m.Rows)]
	}
	if len(s.RowDual) > 0 {
		s.RowDual = s.RowDual[:len(m.Rows)]
	}
	return s, c, nil
}

// takeDirections takes over the directions that the guards of another model of the
// same problem have.
func (b *built) takeDirections(from *built) {
	for i := range b.guards {
		b.guards[i].directions = append([][]float64(nil), from.guards[i].directions...)
	}
	b.makeModel()
}
