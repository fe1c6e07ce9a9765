package formulation_test

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
	"pgregory.net/rapid"

	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
	"millbase/solver/solvertest"
)

// aim is a goal on a property that blends linearly.
func aim(key string, lower, upper *float64, below, above float64, rank int) formulation.Goal {
	return formulation.Goal{Limit: formulation.Limit{ID: key, Kind: formulation.Blended, Property: key, Lower: lower, Upper: upper},
		Below: below, Above: above, Rank: rank}
}

// A soft varnish of tack 10 at 1.00 and a hard one of tack 20 at 3.00 per kg: a unit
// of tack costs 0.20. A target of 15 is worth it when a unit is worth more than that.
func TestGoalByHand(t *testing.T) {
	p := &formulation.Problem{Quantity: 100 * mass.Kilogram, Catalogue: property.BuiltIn(), Candidates: []formulation.Candidate{
		{ID: "soft", CostPerKg: 1, Available: -1, Properties: property.Set{property.TackUnits: 10}},
		{ID: "hard", CostPerKg: 3, Available: -1, Properties: property.Set{property.TackUnits: 20}}},
		Goals: []formulation.Goal{aim(property.TackUnits, to(15), to(15), 0.1, 0.1, 0)}}
	a := optimal(t, p)
	g := a.Goals[0]
	near(t, "cost when it is not worth it", a.CostPerKg, 1, 1e-6)
	near(t, "tack", g.Value, 10, 1e-5)
	near(t, "below", g.Below, 5, 1e-5)
	near(t, "nearer", g.Nearer, 0.2, 1e-6)
	near(t, "further", g.Further, 0, 1e-6)
	near(t, "best", g.Best, 0, 1e-5)
	near(t, "cost at best", g.CostAtBest, 2, 1e-5)

	p.Goals[0].Below = 0.3
	a = optimal(t, p)
	g = a.Goals[0]
	near(t, "cost when it is worth it", a.CostPerKg, 2, 1e-6)
	near(t, "tack", g.Value, 15, 1e-5)
	near(t, "nearer", g.Nearer, 0, 1e-6)
	near(t, "further", g.Further, 0.2, 1e-6)
	if len(a.PayOff) != 2 || a.PayOff[0].Goal != -1 {
		t.Fatalf("%+v", a.PayOff)
	}
	near(t, "cheapest", a.PayOff[0].CostPerKg, 1, 1e-6)
	near(t, "its tack", a.PayOff[0].Values[0], 10, 1e-5)
	near(t, "best tack", a.PayOff[1].CostPerKg, 2, 1e-5)

	p.Goals[0] = aim(property.TackUnits, to(25), nil, 0, 0, 1) // out of reach, at any cost
	a = optimal(t, p)
	near(t, "cost at the highest tack", a.CostPerKg, 3, 1e-6)
	near(t, "best", a.Goals[0].Best, 5, 1e-5)
	if !math.IsInf(a.Goals[0].Nearer, 1) {
		t.Errorf("it can't come nearer: %+v", a.Goals[0])
	}
	p.CostRank, p.CostTolerance, p.Goals[0].Rank = 1, 0.5, 2 // half as dear again as the cheapest, and no more
	a = optimal(t, p)
	near(t, "cost that may be spent", a.CostPerKg, 1.5, 1e-5)
	near(t, "tack for it", a.Goals[0].Value, 12.5, 1e-4)
	p.CostRank, p.CostTolerance, p.GoalTolerance, p.Goals[0].Rank = 0, 0, 0.1, 1 // 2.5 units off the best may be
	a = optimal(t, p)
	near(t, "tack within the tolerance", a.Goals[0].Value, 17.5, 1e-4)
}

// Winston, Operations Research, goal programming, the advertising agency with
// penalties of 200, 100 and 50 per unit short of 40, 60 and 35 (from memory): 6
// units of the first medium and none of the second, 250. The budget of 600 is the
// blend: a share of 1 of the first is 6 units at 100, of the second 10 units at 60.
func TestGoalsOfWinston(t *testing.T) {
	catalogue, err := property.NewCatalogue(part("him_units"), part("lip_units"), part("hiw_units"))
	if err != nil {
		t.Fatal(err)
	}
	p := &formulation.Problem{Quantity: 100 * mass.Kilogram, Catalogue: catalogue, Candidates: []formulation.Candidate{
		{ID: "football", Available: -1, Properties: property.Set{"him_units": 42, "lip_units": 60, "hiw_units": 30}},
		{ID: "soap", Available: -1, Properties: property.Set{"him_units": 30, "lip_units": 50, "hiw_units": 40}},
		{ID: "nothing", Available: -1}},
		Goals: []formulation.Goal{aim("him_units", to(40), nil, 200, 0, 0), aim("lip_units", to(60), nil, 100, 0, 0), aim("hiw_units", to(35), nil, 50, 0, 0)}}
	a := optimal(t, p)
	near(t, "first medium", a.Components[0].Share, 1, 1e-6)
	near(t, "short of the third", a.Goals[2].Below, 5, 1e-4)
	penalty := 200*a.Goals[0].Below + 100*a.Goals[1].Below + 50*a.Goals[2].Below
	near(t, "penalty", penalty, 250, 0.01)
	for i := range p.Goals { // with priorities in the same order: the same
		p.Goals[i].Rank = i + 1
	}
	near(t, "by priorities", optimal(t, p).Goals[2].Below, 5, 1e-4)
	p.Goals[0].Rank, p.Goals[2].Rank = 3, 1 // the third first: 35 of it, then as much as can be of the second
	a = optimal(t, p)
	near(t, "third first", a.Goals[2].Below, 0, 1e-4)
	near(t, "then the second", a.Goals[1].Below, 5, 1e-4) // half and half: 55
}

// Ranks against solves one after the other by hand: the best of each goal is found
// by making it the cost, and then held as a limit.
func TestRanksAgainstSolvesInTurn(t *testing.T) {
	moved := 0
	for seed := range uint64(30) {
		p := formulationtest.Problem(seed, 14+int(seed), 3+int(seed%9))
		values := map[string]float64{property.TackUnits: 30, property.VolatileFraction: 0.01}
		byHand := clone(p)
		for _, step := range []struct {
			key  string
			sign float64
		}{{property.TackUnits, -1}, {property.VolatileFraction, 1}} {
			q := clone(byHand)
			for j := range q.Candidates {
				q.Candidates[j].CostPerKg = step.sign * q.Candidates[j].Properties[step.key]
			}
			best := step.sign * optimal(t, q).CostPerKg
			l := formulation.Limit{ID: "held " + step.key, Kind: formulation.Blended, Property: step.key}
			if step.sign < 0 {
				l.Lower = to(min(best, values[step.key]) * (1 - 1e-7))
			} else {
				l.Upper = to(max(best, values[step.key]) * (1 + 1e-7))
			}
			byHand.Limits = append(byHand.Limits, l)
		}
		want := optimal(t, byHand)
		p.Goals = []formulation.Goal{aim(property.TackUnits, to(30), nil, 1, 0, 1), aim(property.VolatileFraction, nil, to(0.01), 0, 1, 2)}
		got := optimal(t, p)
		near(t, "cost", got.CostPerKg, want.CostPerKg, 5e-4*want.CostPerKg) // dear near the best
		for i := range p.Goals {
			near(t, p.Goals[i].ID, got.Goals[i].Value, want.Limits[len(p.Limits)+i].Value, 2e-5*want.Limits[len(p.Limits)+i].Value)
		}
		if got.PayOff[0].CostPerKg < got.CostPerKg-1e-3 {
			moved++
		}
		for i := range p.Goals { // weights of next to nothing: the cheapest
			p.Goals[i].Rank, p.Goals[i].Below, p.Goals[i].Above = 0, 1e-9*p.Goals[i].Below, 1e-9*p.Goals[i].Above
		}
		near(t, "cheapest", optimal(t, p).CostPerKg, got.PayOff[0].CostPerKg, 1e-6*got.CostPerKg)
	}
	if moved < 10 {
		t.Errorf("goals changed the formula in %d cases", moved)
	}
}

// Weighted goals with an interval against gonum's simplex on cost plus penalties.
func TestWeightedGoalsAgainstGonum(t *testing.T) {
	solved := 0
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.IntRange(3, 8).Draw(r, "n")
		p := &formulation.Problem{Quantity: 100 * mass.Kilogram, Catalogue: property.BuiltIn()}
		keys := []string{property.TackUnits, property.VolatileFraction}
		for j := range n {
			id := string(rune('a' + j))
			p.Candidates = append(p.Candidates, formulation.Candidate{ID: id, Available: -1, CostPerKg: figure(r, id+"cost", 1, 9),
				Properties: property.Set{keys[0]: figure(r, id+"tack", 1, 30), keys[1]: figure(r, id+"volatile", 0, 0.9)}})
		}
		scale := []float64{1, 0.02}
		cols := n
		type side struct{ row, column int }
		var sides []side
		for i, key := range keys {
			low := figure(r, key+"low", 5, 15) * scale[i]
			g := aim(key, to(low), to(low+figure(r, key+"width", 0, 6)*scale[i]), figure(r, key+"below", 0.01, 1)/scale[i], figure(r, key+"above", 0.01, 1)/scale[i], 0)
			p.Goals = append(p.Goals, g)
			sides = append(sides, side{2 * i, cols}, side{2*i + 1, cols + 2})
			cols += 4
		}
		a := mat.NewDense(5, cols, nil)
		b, c := make([]float64, 5), make([]float64, cols)
		b[4] = 1
		for j, of := range p.Candidates {
			a.Set(4, j, 1)
			c[j] = of.CostPerKg
		}
		for k, s := range sides { // value + off - slack = low; value - off + slack = high
			g := p.Goals[k/2]
			sign, target, weight := 1.0, *g.Lower, g.Below
			if k%2 == 1 {
				sign, target, weight = -1, *g.Upper, g.Above
			}
			for j, of := range p.Candidates {
				a.Set(s.row, j, of.Properties[keys[k/2]])
			}
			a.Set(s.row, s.column, sign)
			a.Set(s.row, s.column+1, -sign)
			b[s.row], c[s.column] = target, weight
		}
		want, err := solvertest.Gonum(c, a, b)
		if err != nil {
			if errors.Is(err, lp.ErrInfeasible) {
				r.Fatal("goals can always be missed")
			}
			return
		}
		got := optimal(r, p)
		total := got.CostPerKg
		for i, g := range got.Goals {
			total += g.Below*p.Goals[i].Below + g.Above*p.Goals[i].Above
		}
		near(r, "cost and penalties", total, want, 1e-5*want)
		solved++
	})
	if solved < 20 {
		t.Errorf("%d solved", solved)
	}
}

// On random inks, for goals of every kind with a denominator: what coming nearer
// costs, against the cost when the goal is a limit a little nearer.
func TestPriceOfComingNearer(t *testing.T) {
	checked := map[string]int{}
	for seed := range uint64(60) {
		p := formulationtest.Problem(seed, 14+int(seed%20), 12)
		k := int(seed % 12)
		g := formulation.Goal{Limit: p.Limits[k], Rank: 0}
		g.MoveWeight, g.Hard = 0, false
		p.Limits = append(p.Limits[:k:k], p.Limits[k+1:]...)
		if g.Upper == nil && *g.Lower == 0 || g.Upper != nil && *g.Upper == 0 {
			continue
		}
		cheapest := optimal(t, p)
		if g.Upper == nil {
			g.Lower, g.Below = to(*g.Lower*1.5), 0.01*cheapest.CostPerKg/(*g.Lower*0.02)
		} else {
			g.Upper, g.Lower, g.Above = to(*g.Upper*0.6), nil, 0.01*cheapest.CostPerKg/(*g.Upper*0.02)
		}
		p.Goals = []formulation.Goal{g}
		a := optimal(t, p)
		r := a.Goals[0]
		off, size := r.Below+r.Above, math.Abs(r.Value)
		if off == 0 || off < 1e-3*size || math.IsInf(r.Nearer, 0) {
			continue
		}
		nearer := func(part float64) float64 {
			q := clone(p)
			l := g.Limit
			if g.Upper == nil {
				l.Lower = to(r.Value + part*size)
			} else {
				l.Upper = to(r.Value - part*size)
			}
			q.Goals, q.Limits = nil, append(q.Limits, l)
			return optimal(t, q).CostPerKg
		}
		const h = 1e-4
		near(t, g.ID+" as a limit", nearer(0), a.CostPerKg, 2e-4*a.CostPerKg)
		first, second := (nearer(h)-nearer(0))/(h*size), (nearer(2*h)-nearer(h))/(h*size)
		if math.Abs(first-second) > 0.02*math.Abs(second) {
			continue // a kink in between
		}
		checked[g.ID]++
		near(t, g.ID+" nearer", r.Nearer, second, 0.03*math.Abs(second)+1e-6*a.CostPerKg/size)
	}
	t.Logf("checked %v", checked)
	if len(checked) < 4 {
		t.Errorf("checked %v only", checked)
	}
}

// Goals, premiums and safe limits together: the formula keeps its safety, and goals
// never make the cheapest one cheaper.
func TestGoalsBetweenSafeLimits(t *testing.T) {
	for seed := range uint64(20) {
		p := formulationtest.Problem(seed, 16+int(seed), 6)
		formulationtest.Uncertain(seed, p)
		formulationtest.Confident(seed, p, seed%2 == 0)
		base := optimise(t, p)
		if base.Outcome != formulation.Optimal {
			continue
		}
		p.Goals = []formulation.Goal{aim(property.TackUnits, to(30), nil, 1, 0, 1), aim(property.DensityKgPerL, nil, to(0.9), 0, 1, 2)}
		p.Candidates[0].UsePremium = 0.1
		a := optimal(t, p)
		if a.CostPerKg < base.CostPerKg-1e-6 {
			t.Errorf("seed %d: %g with goals, %g without", seed, a.CostPerKg, base.CostPerKg)
		}
		if a.UseUp == nil || len(a.PayOff) != 3 {
			t.Errorf("seed %d: %+v", seed, a.PayOff)
		}
		for i, r := range a.Limits {
			if c := p.Limits[i].Confidence; !r.Met || r.Confidence < c-1e-4 {
				t.Errorf("seed %d: %s at %g", seed, p.Limits[i].ID, r.Confidence)
			}
		}
		for i := range p.Goals {
			if a.Goals[i].Best > a.Goals[i].Below+a.Goals[i].Above+1e-3*a.Goals[i].Value {
				t.Errorf("seed %d: %s is nearer than its best: %+v", seed, p.Goals[i].ID, a.Goals[i])
			}
		}
	}
}
