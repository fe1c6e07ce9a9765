package formulation_test

import (
	"testing"
	"time"

	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

// Whole divisions between safe limits and with goals: the weighed formula keeps the
// confidence, costs no less than the exact one, and is hardly further off its goal.
func TestWeighingBetweenSafeLimits(t *testing.T) {
	weighed := 0
	for seed := range uint64(12) {
		p := formulationtest.Problem(seed, 14, 5)
		formulationtest.Uncertain(seed, p)
		formulationtest.Confident(seed, p, seed%3 == 0)
		if seed%2 == 0 {
			p.Goals = []formulation.Goal{aim(property.TackUnits, to(30), nil, 1, 0, int(seed/2)%2)}
		}
		free := optimise(t, p)
		if free.Outcome != formulation.Optimal {
			continue
		}
		p.Weighing = &formulation.Weighing{Balances: []formulation.Balance{{Division: 100 * mass.Gram}}, Tolerance: 100 * mass.Gram,
			AtMost: 10, Gap: 1e-3, TimeLimit: 5 * time.Second}
		a, err := formulation.Optimise(t.Context(), weigher, p)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if a.Weighed == nil {
			continue
		}
		weighed++
		if len(p.Goals) == 0 && a.CostPerKg < free.CostPerKg*(1-1e-4) {
			t.Errorf("seed %d: %g weighed, %g exact", seed, a.CostPerKg, free.CostPerKg)
		}
		for i, r := range a.Limits {
			if c := p.Limits[i].Confidence; !r.Met || r.Confidence < c-1e-4 {
				t.Errorf("seed %d: %s at %g", seed, p.Limits[i].ID, r.Confidence)
			}
		}
		for i, g := range a.Goals {
			if g.Below > free.Goals[i].Below+0.1 {
				t.Errorf("seed %d: %g below, exactly %g", seed, g.Below, free.Goals[i].Below)
			}
		}
		for _, c := range a.Components {
			if c.Mass%(100*mass.Gram) != 0 {
				t.Errorf("seed %d: %s", seed, c.Mass)
			}
		}
	}
	if weighed < 5 {
		t.Errorf("%d weighed", weighed)
	}
}
