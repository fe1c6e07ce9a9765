package match_test

import (
	"math/rand/v2"
	"testing"

	"millbase/inventory/mass"
	"millbase/solver/formulation"
	"millbase/solver/match"
	"millbase/solver/match/matchtest"
)

// TestWeighableMatches: on scales the masses are whole divisions, the difference is
// kept by those very masses, and rules cost little.
func TestWeighableMatches(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 2))
	const gram = mass.Kilogram / 1000
	for i := range 4 {
		target, shares := matchtest.Target(r, matchtest.Bases, matchtest.Paper())
		p := matchtest.Problem(matchtest.Bases, matchtest.Paper(), target)
		p.Blend.Quantity = 20 * mass.Kilogram
		p.Tolerance = []float64{1, 2}[i%2]
		free, err := match.Match(t.Context(), engine, p, match.Want{Kinds: []match.Kind{match.Cheapest}})
		if err != nil {
			t.Fatal(err)
		}
		p.Blend.Weighing = &formulation.Weighing{Balances: []formulation.Balance{{Name: "bench", Division: gram, Capacity: 3 * mass.Kilogram}, {Name: "floor", Division: 20 * gram}},
			Least: 5 * gram, AtMost: 6, Gap: 1e-4}
		got, err := match.Match(t.Context(), engine, p, match.Want{Kinds: []match.Kind{match.Cheapest, match.Closest}})
		if err != nil {
			t.Fatalf("%v: %v", shares, err)
		}
		if got.Outcome != match.Matched || len(got.Offers) != 2 {
			t.Fatalf("%v: %+v", shares, got)
		}
		for _, o := range got.Offers {
			if len(o.Answer.Components) == 0 || len(o.Answer.Components) > 6 {
				t.Fatalf("%v %s: %d components, %s", shares, o.Kind, len(o.Answer.Components), o.Answer.Outcome)
			}
			for _, c := range o.Answer.Components {
				division := gram
				if c.Mass > 3*mass.Kilogram {
					division = 20 * gram
				}
				if c.Mass < 5*gram || c.Mass%division != 0 {
					t.Errorf("%v %s: %v of %s can't be weighed", shares, o.Kind, c.Mass, p.Blend.Candidates[c.Candidate].ID)
				}
			}
			if again := p.Predict(masses(p, o)); o.DE00 != again.DE00 || o.DE00 > p.Tolerance+1e-4 {
				t.Errorf("%v %s: %v away, worked out again %v, allowed %v", shares, o.Kind, o.DE00, again.DE00, p.Tolerance)
			}
		}
		cheap, near := got.Offers[0].Answer.CostPerKg, got.Offers[1].Answer.CostPerKg
		if best := free.Offers[0].Answer.CostPerKg; cheap < best*(1-1e-4) || cheap > best*1.02 || cheap > near*(1+1e-3) {
			t.Errorf("%v: costs %v weighable, %v without scales, the closest %v", shares, cheap, best, near)
		}
	}
}
