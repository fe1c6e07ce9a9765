package formulation_test

import (
	"math"
	"slices"
	"testing"

	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

// The ends of the interval in which the basis stays optimal, for every kind of
// limit on random inks: solved afresh just inside an end, the basis is the same
// and the price is as the interval says; just outside it is another.
func TestPriceHoldsToItsEnds(t *testing.T) {
	seen, quotients := map[string]int{}, 0
	for seed := range uint64(60) {
		p := formulationtest.Problem(seed, 15+int(seed%25), 4+int(seed%13))
		a := optimal(t, p)
		for _, r := range a.Limits {
			if r.Binding != formulation.AtLower && r.Binding != formulation.AtUpper || r.ShadowPrice == 0 {
				continue
			}
			h, id, at := r.PriceHolds, p.Limits[r.Limit].ID, limitSize(p, r)
			if h == nil || !(h.Lower <= at*(1+1e-9) && at*(1-1e-9) <= h.Upper) {
				t.Fatalf("seed %d: %s at %g has the interval %v", seed, id, at, h)
			}
			for _, end := range []float64{h.Lower, h.Upper} {
				near, ok := step(p, r, end, at, 1e-4)
				if !ok {
					continue
				}
				if in := moveTo(t, p, r, near); !sameBasis(a, in) {
					t.Errorf("seed %d: %s: another basis at %g, inside the end %g from %g", seed, id, near, end, at)
				}
				if far, ok := step(p, r, end, at, -1e-4); !ok {
					continue
				} else if sameBasis(a, moveTo(t, p, r, far)) {
					t.Errorf("seed %d: %s: the same basis at %g, outside the end %g from %g", seed, id, far, end, at)
				}
				seen[id]++
				if k := p.Limits[r.Limit].Kind; k == formulation.VOCContent || k == formulation.MetalOnBinder || k == formulation.WettingDemand {
					quotients++
				}
			}
		}
	}
	t.Logf("ends by limit: %v", seen)
	for _, id := range []string{"pigment", "voc", "cobalt", "tack", "viscosity", "wax", "manganese", "density"} {
		if seen[id] == 0 {
			t.Errorf("no end of %s was checked", id)
		}
	}
	if quotients < 50 {
		t.Errorf("%d ends of quotients checked, want at least 50", quotients)
	}
}

// step is a bound a part of the limit's size inside an end (outside, when part is
// negative); ok is false when the end is none, or not that far from the bound, or
// only the limit's other bound.
func step(p *formulation.Problem, r formulation.LimitReport, end, at, part float64) (v float64, ok bool) {
	by := part * limitSize(p, r)
	if end > at {
		by = -by
	}
	l := p.Limits[r.Limit]
	other := l.Lower
	if r.Binding == formulation.AtLower {
		other = l.Upper
	}
	return end + by, !math.IsInf(end, 0) && end+by > 0.01*limitSize(p, r) && math.Abs(end-at) > 2*math.Abs(by) && (other == nil || math.Abs(end-*other) > 2*math.Abs(by))
}

func moveTo(t *testing.T, p *formulation.Problem, r formulation.LimitReport, bound float64) *formulation.Answer {
	t.Helper()
	return optimise(t, apply(p, formulation.Movement{Limit: r.Limit, Candidate: -1, Side: r.Binding, To: bound}, 1))
}

func sameBasis(a, b *formulation.Answer) bool {
	return b.Outcome == formulation.Optimal && slices.Equal(a.Solution.Basis.Variables, b.Solution.Basis.Variables) &&
		slices.Equal(a.Solution.Basis.Rows, b.Solution.Basis.Rows)
}
