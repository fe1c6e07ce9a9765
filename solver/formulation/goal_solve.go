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
	s := cheapest
	var c certify.Certificate
	for round := 0; round < maxRounds && (b.aimAt(s.X) || round == 0); round++ {
		b.makeModel()
		var held []int
		for _, l := range b.levels() {
			var err error
			b.minimise(l)
			if s, c, err = b.optimum(ctx, engine, solver.Options{}); err != nil || s.Stop != solver.StopOptimal {
				return notImpossible(s, c, err)
			}
			held = append(held, b.hold(l, s))
		}
		for _, row := range held {
			r := &b.model.Rows[row]
			r.Lower, r.Upper = -solver.Inf, solver.Inf
		}
	}
	all := level{aims: b.everyAim()}
	b.holdAims(all, s.X)
	if err := b.goalPrices(ctx, engine, a); err != nil {
		return nil, c, err
	}
	held := slices.Clone(b.terms)
	if err := b.payOff(ctx, engine, a); err != nil {
		return nil, c, err
	}
	copy(b.terms, held)
	b.only(all)
	return notImpossible(b.optimum(ctx, engine, solver.Options{Ranging: true}))
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
// reached: rows that keep limits safe may still be added.
func (b *built) give() float64 {
	if len(b.guards) > 0 {
		return 5e-6
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
// missed at shares x moved to where it is; the cost is minimised, and all other
// goals are free.
func (b *built) holdAims(l level, x []float64) {
	for _, a := range l.aims {
		t := b.aimTerm(a)
		r, den := b.ratio(len(b.p.Limits)+a.goal, x)
		if !(den > 0) {
			continue
		}
		slack := b.give() * math.Abs(r)
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

// goalPrices says for each goal what coming nearer costs and what being further
// off saves: the shadow price of its target, held as a limit a millionth to that
// side, so that at a kink of the cost it is that side's.
func (b *built) goalPrices(ctx context.Context, engine solver.Engine, a *Answer) error {
	a.Goals = make([]GoalReport, len(b.aims))
	for i := range b.aims {
		m, r := &b.aims[i], &a.Goals[i]
		r.Goal = m.goal
		for side, k := range m.columns {
			if k < 0 || m.weights[side] == 0 {
				continue
			}
			t := b.aimTerm(m)
			low := (side == 0) == t.def.Increasing()
			was, target := t.bound(low), t.def.Forward(*[...]*float64{t.limit.Lower, t.limit.Upper}[side])
			outward := 1e-6 * max(math.Abs(was), 1e-9)
			if low {
				outward = -outward
			}
			if math.Abs(was-target) > 2*math.Abs(outward) {
				price, possible, err := b.targetPrice(ctx, engine, m, low, was-outward)
				if err != nil {
					return err
				}
				if r.Nearer = max(r.Nearer, price); !possible {
					r.Nearer = math.Inf(1)
				}
			}
			price, _, err := b.targetPrice(ctx, engine, m, low, was+outward)
			if err != nil {
				return err
			}
			r.Further = max(r.Further, price)
			t.setBound(low, was)
		}
	}
	return nil
}

// targetPrice is what one unit of a goal's target costs when it is a limit at a
// given ratio.
func (b *built) targetPrice(ctx context.Context, engine solver.Engine, m *aimed, low bool, at float64) (price float64, possible bool, err error) {
	t, i := b.aimTerm(m), len(b.p.Limits)+m.goal
	t.setBound(low, at)
	b.only(level{aims: b.everyAim()})
	s, _, err := b.optimum(ctx, engine, solver.Options{})
	if err != nil || s.Stop != solver.StopOptimal {
		return 0, false, unlessNumerical(err)
	}
	row, scale, den := b.rows[i].upper, b.rows[i].upperScale, 1.0
	if low {
		row, scale = b.rows[i].lower, b.rows[i].lowerScale
	}
	y := min(0, s.RowDual[row])
	if low {
		y = max(0, s.RowDual[row])
	}
	if !t.ofInk {
		_, den = b.ratio(i, s.X)
	}
	return math.Abs(y * scale * t.def.Slope(t.value(at)) * den), true, nil
}

// payOff makes the pay-off table, and says how near each goal can come.
func (b *built) payOff(ctx context.Context, engine solver.Engine, a *Answer) error {
	for i := -1; i < len(b.aims); i++ {
		for k := range b.aims { // back at their targets
			t := b.aimTerm(&b.aims[k])
			t.lower, t.upper = t.ratios(t.limit.Lower, t.limit.Upper)
		}
		b.only(level{})
		if i >= 0 {
			best := level{aims: []*aimed{&b.aims[i]}}
			b.minimise(best)
			s, _, err := b.optimum(ctx, engine, solver.Options{})
			if err != nil || s.Stop != solver.StopOptimal {
				return unlessNumerical(err)
			}
			b.holdAims(best, s.X)
		}
		s, _, err := b.optimum(ctx, engine, solver.Options{})
		if err != nil || s.Stop != solver.StopOptimal {
			return unlessNumerical(err)
		}
		row := PayOff{Goal: i, CostPerKg: b.realCost(s.X)}
		for k := range b.aims {
			r, _ := b.ratio(len(b.p.Limits)+k, s.X)
			row.Values = append(row.Values, b.aimTerm(&b.aims[k]).value(r))
		}
		a.PayOff = append(a.PayOff, row)
		if i >= 0 {
			g := &b.p.Goals[i]
			a.Goals[i].Best, a.Goals[i].CostAtBest = g.distance(row.Values[i]), row.CostPerKg
		}
	}
	return nil
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
