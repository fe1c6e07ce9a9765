package match_test

import (
	"math/bits"
	"math/rand/v2"
	"testing"

	"millbase/solver/match"
	"millbase/solver/match/matchtest"
)

// TestFewestAreFewest tries every smaller set of bases, and every set as large for
// its cost.
func TestFewestAreFewest(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 9))
	fewer := 0
	for i := range 6 {
		of := append(r.Perm(11)[:6], 11)
		bases := matchtest.Pick(of...)
		target, shares := matchtest.Target(r, bases, matchtest.Paper())
		p := matchtest.Problem(bases, matchtest.Paper(), target)
		p.Tolerance = []float64{1, 3}[i%2]
		got, err := match.Match(t.Context(), engine, p, match.Want{Kinds: []match.Kind{match.FewestBases, match.Cheapest}})
		if err != nil {
			t.Fatal(err)
		}
		few := got.Offers[1]
		if few.Kind != match.FewestBases {
			t.Fatalf("%v: %+v", shares, got.Offers)
		}
		if few.Bases < got.Offers[0].Bases {
			fewer++
		}
		for set := range 1 << 6 {
			if n := bits.OnesCount(uint(set)); n == 0 || n > few.Bases {
				continue
			}
			with := []int{6}
			for j := range 6 {
				if set>>j&1 == 1 {
					with = append(with, j)
				}
			}
			one, err := match.Match(t.Context(), engine, some(p, with), match.Want{Kinds: []match.Kind{match.Cheapest}})
			if err != nil {
				t.Fatal(err)
			}
			switch {
			case one.Outcome != match.Matched:
			case len(with)-1 < few.Bases:
				t.Errorf("%v: %d bases, but %v come within %v", shares, few.Bases, with, one.Offers[0].DE00)
			case one.Offers[0].Answer.CostPerKg < few.Answer.CostPerKg*(1-1e-4):
				t.Errorf("%v: costs %v, but %v cost %v", shares, few.Answer.CostPerKg, with, one.Offers[0].Answer.CostPerKg)
			}
		}
		p.MaxBases = few.Bases
		same, err := match.Match(t.Context(), engine, p, match.Want{Kinds: []match.Kind{match.Cheapest}})
		if err != nil {
			t.Fatal(err)
		}
		if same.Outcome != match.Matched || same.Offers[0].Bases > few.Bases || same.Offers[0].Answer.CostPerKg > few.Answer.CostPerKg*(1+1e-4) {
			t.Errorf("%v: of at most %d bases: %+v for %v", shares, few.Bases, same.Offers, few.Answer.CostPerKg)
		}
		if p.MaxBases--; p.MaxBases > 0 {
			if none, err := match.Match(t.Context(), engine, p, match.Want{Kinds: []match.Kind{match.Cheapest}}); err != nil || none.Outcome != match.OutOfReach || none.Offers[0].Bases > p.MaxBases {
				t.Errorf("%v: of at most %d bases: %+v, %v", shares, p.MaxBases, none, err)
			}
		}
	}
	if fewer < 2 {
		t.Errorf("only %d targets take fewer bases than the cheapest", fewer)
	}
}
