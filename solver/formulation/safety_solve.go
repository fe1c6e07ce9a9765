package formulation

import (
	"context"
	"fmt"
	"math"

	"millbase/solver"
	"millbase/solver/certify"
)

// maxCuts ends the search for an optimum between safe limits.
const maxCuts = 500

// goalCuts ends it where goals are held: held less tightly it ends sooner.
const goalCuts = 100

// roughCuts ends it on the way to an answer, which is then sought itself.
const roughCuts = 25

// optimum solves the model as it stands, adding rows until every guard holds.
func (b *built) optimum(ctx context.Context, engine solver.Engine, o solver.Options) (*solver.Solution, certify.Certificate, error) {
	s, c, err := solve(ctx, engine, &b.model, o)
	for round := 0; len(b.guards) > 0 && err == nil && s.Stop == solver.StopOptimal && b.cut(s.X) > 0; round++ {
		if b.rough && round == roughCuts {
			break
		}
		if round == maxCuts || b.goals && round == goalCuts {
			return nil, c, fmt.Errorf("%w: the safe limits were not met after %d steps", ErrNumerical, round)
		}
		o.Start = extended(s.Basis, len(b.model.Rows))
		s, c, err = solve(ctx, engine, &b.model, o)
	}
	return s, c, err
}

// extended is a basis for a model that has got more rows: they start slack.
func extended(basis *solver.Basis, rows int) *solver.Basis {
	if basis == nil {
		return nil
	}
	out := &solver.Basis{Variables: basis.Variables, Rows: append([]solver.VarStatus(nil), basis.Rows...)}
	for len(out.Rows) < rows {
		out.Rows = append(out.Rows, solver.Basic)
	}
	return out
}

// Safety says what it costs that limits hold although values deviate.
type Safety struct {
	// Price is the cost per kg of the cheapest formula less that of the cheapest
	// one by nominal values alone, both without regard to goals and net of premiums.
	Price float64
	// Limits are the limits that ask for it, in the order of the problem.
	Limits []LimitSafety
	// Confidence is set in an Infeasible answer that nominal values alone would
	// make feasible: the highest confidence that all limits that ask for one can
	// have together, none more than it asks for; 0 when there is none above 0.5.
	Confidence float64
	// Nominal is true in an Infeasible answer for which there is a formula by
	// nominal values.
	Nominal bool
}

// LimitSafety is the safety of one limit. Its deviation and the confidence
// reached stand in its LimitReport.
type LimitSafety struct {
	Limit int
	// Price is what the formula would cost less per kg if this limit alone were
	// asked to hold by nominal values only.
	Price float64
	// PricePerDeviation is what staying one more standard deviation away from the
	// bound (or, under a budget, one more of its spread) costs per kg of ink, by
	// the prices of the rows.
	PricePerDeviation float64
	// Highest is set in an Infeasible answer with Nominal: the highest confidence
	// of this limit, or the largest budget, with all others as asked; 0 when no
	// confidence above 0.5 (or budget above 0) helps.
	Highest float64
}

// safest is the cheapest formula between safe limits, without regard to goals. It
// says in a what the safety costs, and leaves the model with all guards on.
func (b *built) safest(ctx context.Context, engine solver.Engine, a *Answer) (*solver.Solution, certify.Certificate, error) {
	a.Safety = &Safety{}
	for i := range b.guards {
		l := b.guards[i].term
		if n := len(a.Safety.Limits); n == 0 || a.Safety.Limits[n-1].Limit != l {
			a.Safety.Limits = append(a.Safety.Limits, LimitSafety{Limit: l})
		}
	}
	// Without rows that hold them up, the columns of the guards are 0.
	s, c, err := solve(ctx, engine, &b.model, solver.Options{})
	if err != nil || s.Stop != solver.StopOptimal {
		return s, c, err
	}
	a.Safety.Nominal = true
	nominal := s.Objective
	s, c, err = b.optimum(ctx, engine, solver.Options{Start: s.Basis})
	if err != nil || s.Stop != solver.StopOptimal {
		return s, c, err
	}
	a.Safety.Price = max(0, s.Objective-nominal)
	for i := range a.Safety.Limits {
		l := &a.Safety.Limits[i]
		for k := range b.guards {
			if g := &b.guards[k]; g.term == l.Limit {
				row, _ := b.guardRow(g)
				l.PricePerDeviation += math.Abs(s.RowDual[row]) * s.X[g.column]
			}
		}
		if l.Price, err = b.priceOf(ctx, engine, l.Limit, s.Objective); err != nil {
			return nil, c, err
		}
	}
	return s, c, nil
}

// priceOf is what is saved when one limit holds by nominal values only.
func (b *built) priceOf(ctx context.Context, engine solver.Engine, limit int, cost float64) (float64, error) {
	b.guard(limit, false)
	s, _, err := b.optimum(ctx, engine, solver.Options{})
	b.guard(limit, true)
	if err != nil || s.Stop != solver.StopOptimal {
		return 0, unlessNumerical(err)
	}
	return max(0, cost-s.Objective), nil
}

// guard turns the guards of a limit on or off and makes the model anew.
func (b *built) guard(limit int, on bool) {
	for i := range b.guards {
		if g := &b.guards[i]; g.term == limit {
			g.off = !on
		}
	}
	b.makeModel()
}

// highest finds, when nominal values alone would do, how much safety there can be.
func (b *built) highest(ctx context.Context, engine solver.Engine, out *Safety) error {
	most := 0.0
	for i := range out.Limits {
		most = max(most, b.p.Limits[out.Limits[i].Limit].Confidence)
	}
	var err error
	if most > 0 {
		out.Confidence, err = b.bisect(ctx, engine, 0.5, most, func(at float64) {
			for i := range out.Limits {
				if l := b.p.Limits[out.Limits[i].Limit]; l.Confidence > 0 {
					b.ask(out.Limits[i].Limit, min(at, l.Confidence))
				}
			}
		})
	}
	for i := 0; err == nil && i < len(out.Limits); i++ {
		l := &out.Limits[i]
		of := &b.p.Limits[l.Limit]
		from, to := 0.5, of.Confidence
		if of.Budget > 0 {
			from, to = 0, of.Budget
		}
		l.Highest, err = b.bisect(ctx, engine, from, to, func(at float64) { b.ask(l.Limit, at) })
		b.ask(l.Limit, to)
	}
	return err
}

// ask sets the confidence or the budget of the guards of a limit.
func (b *built) ask(limit int, at float64) {
	l := b.p.Limits[limit]
	if l.Budget > 0 {
		l.Budget = at // 0 for none: the nominal value
	} else {
		l.Confidence = at
	}
	for i := range b.guards {
		if g := &b.guards[i]; g.term == limit {
			if g.off = l.Budget == 0 && l.Confidence <= 0.5; !g.off {
				g.factor, g.budget = l.factor(), l.Budget
			}
		}
	}
}

// bisect is the largest place from low up to high at which there is a formula, to
// one part in 10,000 of the way, rounded down; 0 when there is none at low.
func (b *built) bisect(ctx context.Context, engine solver.Engine, low, high float64, set func(float64)) (float64, error) {
	asked := high
	defer func() { set(asked) }()
	possible := func(at float64) (bool, error) {
		set(at)
		b.forget()
		b.makeModel()
		s, _, err := b.optimum(ctx, engine, solver.Options{})
		return err == nil && s.Stop == solver.StopOptimal, unlessNumerical(err)
	}
	if ok, err := possible(low); err != nil || !ok {
		return 0, err
	}
	for from := high - low; high-low > 1e-4*from && ctx.Err() == nil; {
		middle := (low + high) / 2
		ok, err := possible(middle)
		if err != nil {
			return 0, err
		}
		if ok {
			low = middle
		} else {
			high = middle
		}
	}
	return low, nil
}

// forget drops all directions: those of a larger budget would ask for more than a
// smaller one does, and most are of no use elsewhere.
func (b *built) forget() {
	for i := range b.guards {
		b.guards[i].directions = nil
	}
}
