package formulation

import (
	"fmt"
	"math"

	"millbase/solver"
)

// Goal is an aim beside the cost: a gloss, a set speed, a tack to come near to.
// Lower and Upper of its Limit are the target, one value or an interval; they may
// be missed, at a price. What a Goal is on is written as a limit is.
type Goal struct {
	Limit
	// Below and Above are the weights of one unit below and above the target. For
	// Rank 0 they are money per kg of ink and unit; within a rank only their
	// proportion counts, and both at 0 stand for 1.
	Below, Above float64
	// Rank 1 comes first: each rank is brought as near as the earlier ones allow
	// (lexicographic goal programming). Rank 0 is weighed against the cost.
	Rank int
}

// MaxGoals is the largest number of goals of a Problem, MaxRank the last rank.
const (
	MaxGoals = 50
	MaxRank  = 20
)

// weights are Below and Above, or what they stand for.
func (g *Goal) weights() (below, above float64) {
	if g.Rank > 0 && g.Below == 0 && g.Above == 0 {
		return 1, 1
	}
	return g.Below, g.Above
}

// aimed is a goal in the model: one column for what it is below its target and one
// for what it is above, in parts of the size of the target.
//
// On the finished mass, of a property that blends linearly, a column is the
// deviation itself. Elsewhere the row reads num(x) - f(target) den(x), and the
// column is the deviation to first order: the excess over f'(target) times a
// denominator that is taken from the cheapest formula.
type aimed struct {
	goal    int
	columns [2]int     // below, above; -1 for none
	weights [2]float64 // per part of the target
	size    float64
	den     float64
}

func (b *built) makeAims() {
	b.aims = b.aims[:0]
	if !b.goals {
		return
	}
	for i := range b.p.Goals {
		g := &b.p.Goals[i]
		a := aimed{goal: i, size: g.size(), den: 1}
		a.weights[0], a.weights[1] = g.weights()
		a.weights[0], a.weights[1] = a.weights[0]*a.size, a.weights[1]*a.size
		if t := b.aimTerm(&a); !t.ofInk {
			a.den = b.typical(len(b.p.Limits) + i)
		}
		b.aims = append(b.aims, a)
	}
}

// aimTerm is the term of an aim.
func (b *built) aimTerm(a *aimed) *term { return &b.terms[len(b.p.Limits)+a.goal] }

// addAims adds the columns of the aims to the model.
func (b *built) addAims() {
	for i := range b.aims {
		a := &b.aims[i]
		t, pair := b.aimTerm(a), &b.rows[len(b.p.Limits)+a.goal]
		a.columns = [2]int{-1, -1}
		for side, target := range [...]*float64{t.limit.Lower, t.limit.Upper} {
			low := (side == 0) == t.def.Increasing()
			row, scale, sign := pair.upper, pair.upperScale, -1.0
			if low {
				row, scale, sign = pair.lower, pair.lowerScale, 1
			}
			if target == nil || row < 0 || math.IsInf(t.bound(low), 0) {
				continue
			}
			per := scale * math.Abs(t.def.Slope(*target)) * a.den * a.size
			a.columns[side] = b.model.AddVariable(solver.Variable{Name: t.limit.ID + [...]string{" below", " above"}[side], Upper: solver.Inf},
				solver.Entry{Row: int(row), Value: sign * per})
		}
	}
}

// aimAt sets the denominators of the aims by shares x.
func (b *built) aimAt(x []float64) (changed bool) {
	for i := range b.aims {
		a := &b.aims[i]
		if b.aimTerm(a).ofInk {
			continue
		}
		if _, den := b.ratio(len(b.p.Limits)+a.goal, x); den > 0 && math.Abs(den-a.den) > 1e-4*a.den {
			a.den, changed = den, true
		}
	}
	return changed
}

// distance is how far a value is off the target, on a side that is worth
// something.
func (g *Goal) distance(value float64) float64 {
	below, above := g.weights()
	reached := tolerance * g.size()
	switch {
	case g.Lower != nil && below > 0 && value < *g.Lower-reached:
		return *g.Lower - value
	case g.Upper != nil && above > 0 && value > *g.Upper+reached:
		return value - *g.Upper
	}
	return 0
}

// goalReports fills in the values of the goals from the masses of the formula.
func (b *built) goalReports(a *Answer, portions []portion) {
	if !b.goals {
		return
	}
	pot := b.pot(portions)
	for i := range a.Goals {
		r := &a.Goals[i]
		g, t := &b.p.Goals[r.Goal], &b.terms[len(b.p.Limits)+r.Goal]
		at := pot.value(&g.Limit, b.p, &t.def)
		r.Value, r.Why = at.Value, at.Why
		reached := tolerance * g.size() // as near as a limit has to be met
		if g.Lower != nil && at.Value < *g.Lower-reached {
			r.Below = *g.Lower - at.Value
		}
		if g.Upper != nil && at.Value > *g.Upper+reached {
			r.Above = at.Value - *g.Upper
		}
	}
}

func (v *validator) goals() {
	p := v.p
	if len(p.Goals) > MaxGoals {
		v.add(fmt.Sprintf("%d are too many: give at most %d", len(p.Goals), MaxGoals), "goals")
		return
	}
	for _, t := range [...]struct {
		name string
		at   float64
	}{{"goal_tolerance", p.GoalTolerance}, {"cost_tolerance", p.CostTolerance}} {
		if !(t.at >= 0 && t.at <= 1) {
			v.add("must be a number from 0 to 1", "%s", t.name)
		}
	}
	if p.CostRank < 0 || p.CostRank > MaxRank {
		v.add(fmt.Sprintf("must be from 0 to %d", MaxRank), "cost_rank")
	}
	seen := make(map[string]struct{}, len(p.Goals))
	for i := range p.Goals {
		g := &p.Goals[i]
		if _, twice := seen[g.ID]; twice {
			v.add(fmt.Sprintf("%q is used twice: give each goal its own id", g.ID), "goals[%d].id", i)
		}
		seen[g.ID] = struct{}{}
		if g.ID == "" {
			v.add("give the goal an id", "goals[%d].id", i)
		}
		v.limit("goals", i, &g.Limit)
		if g.guarded() {
			v.add("a goal is aimed at with nominal values: ask for safety on a limit", "goals[%d].confidence", i)
		}
		if !(g.Below >= 0 && g.Below <= MaxCost) || !(g.Above >= 0 && g.Above <= MaxCost) {
			v.add("must be a number from 0 to 1e9", "goals[%d].below", i)
		}
		if below, above := g.weights(); g.Lower == nil && above == 0 || g.Upper == nil && below == 0 || below+above == 0 {
			v.add("say what a unit off the target is worth, on the side that has a target", "goals[%d].below", i)
		}
		if g.Rank < 0 || g.Rank > MaxRank {
			v.add(fmt.Sprintf("must be from 0 to %d", MaxRank), "goals[%d].rank", i)
		}
	}
}
