package formulation_test

import (
	"math"
	"testing"

	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

// Shadow prices per unit of the limit against central finite differences of the
// optimal cost, for every kind of limit, on random inks. At a kink of the cost the
// two sides differ and the price must lie between them (the price of a vertex is a
// subgradient). Steps too small to see over rounding are left out by their size.
func TestShadowPricesAgainstFiniteDifferences(t *testing.T) {
	seen := map[string]int{}
	for seed := range uint64(60) {
		p := formulationtest.Problem(seed, 15+int(seed%25), 4+int(seed%13))
		a := optimal(t, p)
		for _, r := range a.Limits {
			if r.Binding == formulation.NotBinding {
				if r.ShadowPrice != 0 {
					t.Errorf("seed %d: %s does not bind and has a price", seed, p.Limits[r.Limit].ID)
				}
				continue
			}
			down, up, ok := slopes(t, p, r, a.CostPerKg)
			if !ok {
				continue
			}
			tol := 1e-3*math.Max(math.Abs(down), math.Abs(up)) + 1e-6*a.CostPerKg/limitSize(p, r)
			if r.ShadowPrice < math.Min(down, up)-tol || r.ShadowPrice > math.Max(down, up)+tol {
				t.Errorf("seed %d: %s (%s): price %g, differences %g and %g", seed, p.Limits[r.Limit].ID, r.Binding, r.ShadowPrice, down, up)
			}
			if r.ShadowPrice != 0 && math.Abs(up-down) <= tol {
				seen[p.Limits[r.Limit].ID]++
			}
			if r.ShadowPrice != 0 && r.Binding == formulation.AtUpper && r.ShadowPrice > 0 || r.Binding == formulation.AtLower && r.ShadowPrice < 0 {
				t.Errorf("seed %d: %s at its %s bound has price %g", seed, p.Limits[r.Limit].ID, r.Binding, r.ShadowPrice)
			}
		}
	}
	t.Logf("differentiable cases by limit: %v", seen)
	for _, id := range []string{"pigment", "voc", "cobalt", "tack", "viscosity", "wax", "manganese", "density"} {
		if seen[id] == 0 {
			t.Errorf("no case of %s with a price was checked", id)
		}
	}
}

func limitSize(p *formulation.Problem, r formulation.LimitReport) float64 {
	l := p.Limits[r.Limit]
	if r.Binding == formulation.AtLower {
		return math.Abs(*l.Lower)
	}
	return math.Abs(*l.Upper)
}

// slopes are the one-sided differences of the cost in the binding bound.
func slopes(t *testing.T, p *formulation.Problem, r formulation.LimitReport, cost float64) (down, up float64, ok bool) {
	const part = 1e-5
	at := func(factor float64) (float64, bool) {
		m := formulation.Movement{Limit: r.Limit, Candidate: -1, Side: r.Binding}
		if m.From = limitSize(p, r); m.From == 0 {
			return 0, false
		}
		m.To = m.From * factor
		b := optimise(t, apply(p, m, 1))
		return b.CostPerKg, b.Outcome == formulation.Optimal
	}
	h := part * limitSize(p, r)
	low, ok1 := at(1 - part)
	high, ok2 := at(1 + part)
	return (cost - low) / h, (high - cost) / h, ok1 && ok2
}
