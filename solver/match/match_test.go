package match_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"millbase/solver/engines"
	"millbase/solver/match"
	"millbase/solver/match/matchtest"
)

// TestTargetsInTheGamut: whatever can be mixed is matched, and paying for less
// difference is never cheaper.
func TestTargetsInTheGamut(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	engine := engines.New()
	var closest, saving []float64
	solves := 0
	for i := range 16 {
		target, shares := matchtest.Target(r, matchtest.Bases, matchtest.Paper())
		p := matchtest.Problem(matchtest.Bases, matchtest.Paper(), target)
		got, err := match.Match(t.Context(), engine, p, match.Want{Kinds: match.Kinds})
		if err != nil {
			t.Fatalf("target %d %v: %v", i, shares, err)
		}
		if got.Outcome != match.Matched {
			t.Errorf("target %d %v: %s", i, shares, got.Reach.Sentence(p))
			continue
		}
		solves += got.Solves
		by := map[match.Kind]match.Offer{}
		for _, o := range got.Offers {
			by[o.Kind] = o
			if o.DE00 > p.Tolerance+1e-3 {
				t.Errorf("target %d: the %s offer is %.4f away", i, o.Kind, o.DE00)
			}
		}
		cheap, near := by[match.Cheapest], by[match.Closest]
		if cheap.Answer.CostPerKg > near.Answer.CostPerKg*(1+1e-9) {
			t.Errorf("target %d: the cheapest costs %v, the closest %v", i, cheap.Answer.CostPerKg, near.Answer.CostPerKg)
		}
		if few := by[match.FewestBases]; few.Bases > cheap.Bases || few.Bases > near.Bases {
			t.Errorf("target %d: fewest bases has %d, the others %d and %d", i, few.Bases, cheap.Bases, near.Bases)
		}
		if low := by[match.LeastMetameric]; low.Second00 > cheap.Second00+0.03 || low.Second00 > near.Second00+0.03 {
			t.Errorf("target %d: the least metameric is %.3f away under the second light, the others %.3f and %.3f", i, low.Second00, cheap.Second00, near.Second00)
		}
		closest = append(closest, near.DE00)
		saving = append(saving, 1-cheap.Answer.CostPerKg/near.Answer.CostPerKg)
	}
	slices.Sort(closest)
	mean := 0.0
	for _, s := range saving {
		mean += s / float64(len(saving))
	}
	t.Logf("closest: median %.4f, worst %.4f; the cheapest saves %.2f %%; %d programs a target", closest[len(closest)/2], closest[len(closest)-1], 100*mean, solves/16)
	if closest[len(closest)-1] > 0.1 || math.IsNaN(mean) || mean <= 0 {
		t.Errorf("closest up to %v, saving %v", closest[len(closest)-1], mean)
	}
}

func BenchmarkCheapest(b *testing.B) {
	r := rand.New(rand.NewPCG(4, 4))
	problems := make([]*match.Problem, 40)
	for i := range problems {
		target, _ := matchtest.Target(r, matchtest.Bases, matchtest.Paper())
		problems[i] = matchtest.Problem(matchtest.Bases, matchtest.Paper(), target)
	}
	engine := engines.New()
	solves, n := 0, 0
	for b.Loop() {
		got, err := match.Match(b.Context(), engine, problems[n%len(problems)], match.Want{Kinds: []match.Kind{match.Cheapest}})
		if err != nil {
			b.Fatal(err)
		}
		solves += got.Solves
		n++
	}
	b.ReportMetric(float64(solves)/float64(n), "solves/op")
}
