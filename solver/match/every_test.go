package match_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"millbase/solver/match"
	"millbase/solver/match/matchtest"
)

// TestCheapestOfAllBases holds the cheapest mixture of eight bases to the best that
// every set of four of them gives: without limits that bind, four are enough for
// three figures of colour.
func TestCheapestOfAllBases(t *testing.T) {
	r := rand.New(rand.NewPCG(12, 1))
	worst, least := 0.0, 2.0
	for range 3 {
		bases := matchtest.Pick(append(r.Perm(11)[:8], 11)...)
		target, shares := matchtest.Target(r, bases, matchtest.Paper())
		p := matchtest.Problem(bases, matchtest.Paper(), target)
		got, err := match.Match(t.Context(), engine, p, match.Want{Kinds: []match.Kind{match.Cheapest}})
		if err != nil {
			t.Fatal(err)
		}
		best, by := math.Inf(1), []int(nil)
		for set := range 1 << 8 {
			of := []int{8}
			for j := range 8 {
				if set>>j&1 == 1 {
					of = append(of, j)
				}
			}
			if len(of) != 5 {
				continue
			}
			one, err := match.Match(t.Context(), engine, some(p, of), match.Want{Kinds: []match.Kind{match.Cheapest}})
			if err != nil {
				t.Fatal(err)
			}
			if one.Outcome == match.Matched && one.Offers[0].Answer.CostPerKg < best {
				best, by = one.Offers[0].Answer.CostPerKg, of
			}
		}
		over := got.Offers[0].Answer.CostPerKg / best
		worst, least = max(worst, over), min(least, over)
		if over > 1.001 {
			t.Errorf("%v: costs %v, of %v %v", shares, got.Offers[0].Answer.CostPerKg, by, best)
		}
	}
	t.Logf("from %.6f to %.6f of the best of all sets of four", least, worst)
}
