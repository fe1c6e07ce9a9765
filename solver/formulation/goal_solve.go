package formulation

import (
	"context"
	"math"
	"slices"

	"millbase/solver"
	"millbase/solver/certify"
)

// GoalReport is one goal at the answer, in its own unit.
type GoalReport struct {
	Goal         int // index into Problem.Goals
	Value        float64
	Why          string  // set when there is no Value to give
	Below, Above float64 // how far off the target; 0 when reached
	// Nearer is what coming nearer by one unit would cost per kg of ink, with the
	// other goals no further off than they are; +Inf when it can't come nearer,
	// 0 when it is reached.
	Nearer float64
	// Further is what would be saved per kg of ink by being one unit further off.
	Further float64
	// Best is how far off it is when it alone comes first, and CostAtBest the cost of the cheapest formula then.
	Best       float64
	CostAtBest float64
}

// PayOff is a row of the pay-off table: the cheapest formula that is best in one
// goal alone, or the cheapest of all.
type PayOff struct {
	Goal      int // index into Problem.Goals; -1 for the cost
	CostPerKg float64
	Values    []float64 // of each goal, in the order of the problem
}

// level is what one step of the lexicographic order minimises.
type level struct {
	aims  []*aimed
	money bool
}

// maxRounds ends the search for the denominators of the aims, which are those of
// the formula that they lead to.
const maxRounds = 5

// levels puts the goals and the cost in their order.
func (b *built) levels() []level {
	ranks := make([]level, MaxRank+2) // the last one is the cost's when it has no rank
	cost := len(ranks) - 1
	if b.p.CostRank > 0 {
		cost = b.p.CostRank
	}
	ranks[cost].money = true
	for i := range b.aims {
		rank := b.p.Goals[b.aims[i].goal].Rank
		if rank == 0 {
			rank = cost
		}
		ranks[rank].aims = append(ranks[rank].aims, &b.aims[i])
	}
	return slices.DeleteFunc(ranks, func(l level) bool { return len(l.aims) == 0 && !l.money })
}

// minimise gives every column its cost for one level.
func (b *built) minimise(l level) {
	v := b.model.Variables
	for k := range v {
		v[k].Cost = 0
	}
	if l.money {
		for k, j := range b.active {
			c := &b.p.Candidates[j]
			v[k].Cost = c.CostPerKg - c.UsePremium
		}
	}
	for _, a := range l.aims {
		for side, k := range a.columns {
			if k >= 0 {
				v[k].Cost = a.weights[side]
			}
		}
	}
}

// pursue solves level after level, each with the earlier ones held, and at last
// for the cheapest formula that is no further off any target: its prices are in
// money, whatever came first. cheapest is the optimum without regard to goals.
func (b *built) pursue(ctx context.Context, engine solver.Engine, a *Answer, cheapest *solver.Solution) (*solver.Solution, certify.Certificate, error) {
	b.rough = true
	s := cheapest
	var c certify.Certificate
	for round := 0; round < maxRounds && (b.aimAt(s.X) || round == 0); round++ {
		b.makeModel()
		var held []int
		for _, l := range b.levels() {
			var err error
			if s, c, err = b.pursueOne(ctx, engine, l, held); err != nil || s.Stop != solver.StopOptimal {
				return notImpossible(s, c, err)
			}
			held = append(held, b.hold(l, s))
		}
		for _, row := range held {
			r := &b.model.Rows[row]
			r.Lower, r.Upper = -solver.Inf, solver.Inf
		}
	}
	all, reached := level{aims: b.everyAim()}, s.X
	b.holdAims(all, reached, 1)
	if err := b.goalPrices(ctx, engine, a); err != nil {
		return nil, c, err
	}
	if err := b.payOff(ctx, engine, a); err != nil {
		return nil, c, err
	}
	b.rough = false
	return notImpossible(b.cheapest(ctx, engine, all, reached, solver.Options{Ranging: true}))
}

// pursueOne solves one level. Rows that keep limits safe may have been added since
// the earlier ones were reached; they give way by a little more when they must.
func (b *built) pursueOne(ctx context.Context, engine solver.Engine, l level, held []int) (s *solver.Solution, c certify.Certificate, err error) {
	for _, more := range gives {
		if s, c, err = b.nearest(ctx, engine, l); err != nil || s.Stop != solver.StopInfeasible {
			break
		}
		for _, row := range held {
			r := &b.model.Rows[row]
			r.Upper += 10 * more * b.give() * max(1, math.Abs(r.Upper))
		}
	}
	return s, c, err
}

// cheapest is the cheapest formula with the goals of a level no further off than at
// shares x, from their targets.
func (b *built) cheapest(ctx context.Context, engine solver.Engine, l level, x []float64, o solver.Options) (s *solver.Solution, c certify.Certificate, err error) {
	for _, more := range gives {
		b.atTargets()
		b.holdAims(l, x, more)
		s, c, err = b.optimum(ctx, engine, o)
		if err == nil && s.Stop != solver.StopInfeasible || err != nil && !isNumerical(err) {
			break
		}
	}
	return s, c, err
}

// nearest is the optimum of a level. Where a goal can be reached in many ways the
// rows that hold guards up would be found one corner after the other; of all those
// ways it takes the cheapest (on the face where the level is optimal, by
// complementary slackness), and looks for broken guards there.
func (b *built) nearest(ctx context.Context, engine solver.Engine, l level) (*solver.Solution, certify.Certificate, error) {
	b.minimise(l)
	if l.money || len(b.guards) == 0 {
		return b.optimum(ctx, engine, solver.Options{})
	}
	var start *solver.Basis
	for round := 0; ; round++ {
		s, c, err := solve(ctx, engine, &b.model, solver.Options{Start: extended(start, len(b.model.Rows))})
		if err != nil || s.Stop != solver.StopOptimal {
			return s, c, err
		}
		start = s.Basis
		face, _, err := solve(ctx, engine, b.face(s), solver.Options{})
		if err == nil && face.Stop == solver.StopOptimal {
			s.X = face.X
		} else if err = unlessNumerical(err); err != nil {
			return nil, c, err
		}
		if round == roughCuts || b.cut(s.X) == 0 {
			return s, c, nil
		}
	}
}

// face is the model on the face of its optima, with the cost in money.
func (b *built) face(s *solver.Solution) *solver.Model {
	const priced = 1e-7
	m := b.model.Variant()
	for k := range m.Variables {
		v := &m.Variables[k]
		switch d := s.ReducedCost[k]; {
		case d > priced:
			v.Upper = v.Lower
		case d < -priced && !math.IsInf(v.Upper, 1):
			v.Lower = v.Upper
		}
		v.Cost = 0
		if k < len(b.active) {
			c := &b.p.Candidates[b.active[k]]
			v.Cost = c.CostPerKg - c.UsePremium
		}
	}
	for i := range m.Rows {
		r := &m.Rows[i]
		switch y := s.RowDual[i]; {
		case y > priced && !math.IsInf(r.Lower, -1):
			r.Upper = r.Lower
		case y < -priced && !math.IsInf(r.Upper, 1):
			r.Lower = r.Upper
		}
	}
	return m
}

// gives are how many times give is tried.
var gives = [...]float64{1, 10, 100}

// atTargets puts the bounds of the goals back at their targets.
func (b *built) atTargets() {
	for k := range b.aims {
		t := b.aimTerm(&b.aims[k])
		t.lower, t.upper = t.ratios(t.limit.Lower, t.limit.Upper)
	}
}

// notImpossible turns an answer that nothing is possible, when something was a step
// before, into the error that it is.
func notImpossible(s *solver.Solution, c certify.Certificate, err error) (*solver.Solution, certify.Certificate, error) {
	if err == nil && s.Stop == solver.StopInfeasible {
		return nil, c, ErrNumerical
	}
	return s, c, err
}

// give is the part by which what was reached is held less tightly than it was
// reached: rows that keep limits safe may still be added, and between safe limits
// what is held to the last digit is found slowly.
func (b *built) give() float64 {
	if len(b.guards) > 0 {
		return 1e-4
	}
	return 1e-9
}

func (b *built) everyAim() []*aimed {
	out := make([]*aimed, len(b.aims))
	for i := range out {
		out[i] = &b.aims[i]
	}
	return out
}

// holdAims makes limits of the goals of a level, each with the targets that it has
// missed at shares x moved to where it is, and by more times give further; the cost is minimised, and all other
// goals are free.
func (b *built) holdAims(l level, x []float64, more float64) {
	for _, a := range l.aims {
		t := b.aimTerm(a)
		r, den := b.ratio(len(b.p.Limits)+a.goal, x)
		if !(den > 0) {
			continue
		}
		slack := more * b.give() * math.Abs(r)
		t.lower, t.upper = min(t.lower, r-slack), max(t.upper, r+slack)
	}
	b.only(l)
}

// only makes the model with the targets of one level as limits, those that are
// worth something, and for the least cost.
func (b *built) only(l level) {
	b.makeModel()
	b.minimise(level{money: true})
	for _, a := range l.aims {
		for side, k := range a.columns {
			if k >= 0 && a.weights[side] > 0 {
				b.model.Variables[k].Upper = 0
			}
		}
	}
}

// hold adds the row that keeps a level at its optimum, but for its tolerance.
func (b *built) hold(l level, s *solver.Solution) (row int) {
	var columns []int32
	var values []float64
	slack, size := 0.0, 0.0
	for k := range b.model.Variables {
		if v := b.model.Variables[k].Cost; v != 0 {
			columns, values = append(columns, int32(k)), append(values, v)
			size = max(size, math.Abs(v))
		}
	}
	for _, a := range l.aims {
		slack += b.p.GoalTolerance * max(a.weights[0], a.weights[1])
	}
	if l.money {
		slack += b.p.CostTolerance * math.Abs(s.Objective)
	}
	if size == 0 {
		size = 1
	}
	for i := range values {
		values[i] /= size
	}
	most := (s.Objective + slack) / size
	return b.model.InsertRow(solver.Row{Name: "held", Lower: -solver.Inf, Upper: most + b.give()*max(1, math.Abs(most))}, columns, values)
}

// follow takes over from a solved model of the same problem what keeps limits safe,
// and what its goals came to: whole divisions can't be held to that, so being
// further off costs. Of rank 0 it is the weight; of a rank so much that a part of
// the target is worth strongRank times that part of the cost.
//
// It reports whether there was anything to take over.
func (b *built) follow(from *built) bool {
	if len(from.guards) == 0 && !from.goals {
		return false
	}
	n := len(b.p.Limits)
	for i := range b.aims {
		t := &b.terms[n+i]
		if b.p.Goals[i].Rank == 0 {
			t.lower, t.upper = t.ratios(t.limit.Lower, t.limit.Upper)
		} else {
			t.lower, t.upper = from.terms[n+i].lower, from.terms[n+i].upper
		}
		b.aims[i].den = from.aims[i].den
	}
	b.takeDirections(from)
	cost := 0.0
	for _, v := range b.model.Variables[:len(b.active)] {
		cost = max(cost, math.Abs(v.Cost))
	}
	for i := range b.aims {
		a := &b.aims[i]
		for side, k := range a.columns {
			if k < 0 || a.weights[side] == 0 {
				continue
			}
			v := &b.model.Variables[k]
			if v.Cost = a.weights[side]; b.p.Goals[i].Rank > 0 {
				v.Cost = strongRank * cost
			}
		}
	}
	return true
}

// strongRank is what a ranked goal is worth in a weighable formula: see follow.
const strongRank = 20
