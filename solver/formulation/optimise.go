package formulation

import (
	"context"
	"fmt"

	"millbase/solver"
	"millbase/solver/certify"
)

// Optimise finds the cheapest blend of p's candidates that meets its limits.
//
// The errors are FieldErrors (p is not valid; nothing was solved), ErrNumerical
// and whatever the engine could not do. That there is no such blend, or that ctx
// was done first, is an answer: see Outcome. An Optimal or Feasible answer was
// checked twice: the engine's by certify, and the weighable masses against every
// limit by Evaluate's own arithmetic (and against the rules by CheckWeighing). With
// Weighing the engine must take models with whole numbers.
func Optimise(ctx context.Context, engine solver.Engine, p *Problem) (*Answer, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	b := scratch.Get().(*built)
	defer b.release()
	err := b.build(p, false)
	if err != nil {
		return nil, err
	}
	a := &Answer{LeftOut: b.leftOut}
	if len(b.active) == 0 {
		a.Outcome = Infeasible
		a.Clash = &Clash{}
		a.Assumed = append(a.Assumed, "No candidate can take part: see what was left out and why.")
		return a, nil
	}
	a.Solution, a.Proof, err = b.best(ctx, engine, a)
	if err != nil {
		return nil, err
	}
	switch a.Solution.Stop {
	case solver.StopOptimal:
		if p.Weighing != nil {
			return a, b.weighable(ctx, engine, a)
		}
		return a, b.explain(ctx, engine, a)
	case solver.StopInfeasible:
		a.Outcome = Infeasible
		if len(p.Rows) > 0 {
			return a, b.withoutRows(ctx, engine, a)
		}
		if err := b.explainClash(ctx, engine, a); err != nil || a.Safety == nil || !a.Safety.Nominal {
			return a, err
		}
		return a, b.highest(ctx, engine, a.Safety)
	case solver.StopUnbounded:
		a.Outcome = Unbounded
		return a, nil
	case solver.StopLimit, solver.StopCancelled:
		a.Outcome = Unfinished
		return a, nil
	}
	return nil, ErrNumerical
}

// best solves for the cheapest formula: at once when that is all that is asked
// for, else between safe limits and then with regard to goals.
func (b *built) best(ctx context.Context, engine solver.Engine, a *Answer) (s *solver.Solution, c certify.Certificate, err error) {
	switch {
	case len(b.guards) > 0:
		s, c, err = b.safest(ctx, engine, a)
	case b.goals:
		s, c, err = solve(ctx, engine, &b.model, solver.Options{})
	default:
		return solve(ctx, engine, &b.model, solver.Options{Ranging: true})
	}
	if err != nil || s.Stop != solver.StopOptimal {
		return s, c, err
	}
	if b.goals {
		return b.pursue(ctx, engine, a, s)
	}
	return b.optimum(ctx, engine, solver.Options{Ranging: true})
}

// prover is an engine that hands out the certificate of its answer.
type prover interface {
	SolveProven(context.Context, *solver.Model, solver.Options) (*solver.Solution, certify.Certificate, error)
}

// solve solves m and checks the answer, once. An optimum that fails the check is
// ErrNumerical. That m is infeasible may come without a proof: explainClash
// finds its own.
func solve(ctx context.Context, engine solver.Engine, m *solver.Model, o solver.Options) (*solver.Solution, certify.Certificate, error) {
	if e, ok := engine.(prover); ok {
		return e.SolveProven(ctx, m, o)
	}
	s, err := engine.Solve(ctx, m, o)
	if err != nil {
		return nil, certify.Certificate{}, err
	}
	c := certify.Check(m, s)
	if s.Stop == solver.StopOptimal && !c.OK {
		return nil, c, fmt.Errorf("%w: %s", ErrNumerical, c.Reason)
	}
	return s, c, nil
}
