package match_test

import (
	"math/rand/v2"
	"testing"

	"millbase/inventory/property"
	"millbase/solver/formulation"
	"millbase/solver/match"
	"millbase/solver/match/matchtest"
)

// TestNoDearerThanTheGrid holds the cheapest mixture of three bases to the cheapest
// of a fine grid, with limits wide open and with limits that bind.
func TestNoDearerThanTheGrid(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	worst, least, binding := 0.0, 2.0, 0
	for i := range 6 {
		of := append(r.Perm(11)[:3], 11)
		bases := matchtest.Pick(of...)
		target, shares := matchtest.Target(r, bases, matchtest.Paper())
		p := matchtest.Problem(bases, matchtest.Paper(), target)
		p.Tolerance = []float64{0.5, 1, 2, 3}[i%4]
		if i%2 == 1 { // so that the cheapest mixture gives way to the limit
			loose, err := match.Match(t.Context(), engine, p, match.Want{Kinds: []match.Kind{match.Cheapest}})
			if err != nil {
				t.Fatal(err)
			}
			m := masses(p, loose.Offers[0])
			tack, exact := 0.0, 0.0
			for j, c := range p.Blend.Candidates {
				tack += m[j].Kilograms() / 100 * c.Properties[property.TackUnits]
			}
			rest := 1 - shares[0] - shares[1] - shares[2]
			for j, x := range []float64{shares[0], shares[1], shares[2], rest} {
				exact += x * p.Blend.Candidates[j].Properties[property.TackUnits]
			}
			between := (tack + exact) / 2
			if between > tack {
				p.Blend.Limits[0].Lower = &between
			} else {
				p.Blend.Limits[0].Upper = &between
			}
		}
		got, err := match.Match(t.Context(), engine, p, match.Want{Kinds: []match.Kind{match.Cheapest}})
		if err != nil {
			t.Fatalf("%v: %v", of, err)
		}
		cost, on, ok := matchtest.CheapestOnGrid(p)
		if got.Outcome != match.Matched || !ok {
			t.Fatalf("%v %v: outcome %d, on the grid %t", of, shares, got.Outcome, ok)
		}
		for _, l := range got.Offers[0].Answer.Limits {
			if l.Binding != formulation.NotBinding {
				binding++
			}
		}
		over := got.Offers[0].Answer.CostPerKg / cost
		worst, least = max(worst, over), min(least, over)
		if over > 1.0005 {
			t.Errorf("%v: costs %v, on the grid %v with %v", of, got.Offers[0].Answer.CostPerKg, cost, on)
		}
	}
	t.Logf("from %.6f to %.6f of the grid's cheapest; %d limits bind", least, worst, binding)
	if least < 0.995 {
		t.Errorf("%v of the grid's cheapest: the grid is too coarse to be a measure", least)
	}
	if binding < 2 {
		t.Errorf("only %d limits bind", binding)
	}
}
