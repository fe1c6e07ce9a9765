package plan_test

import (
	"math"
	"testing"

	"millbase/inventory/property"
	"millbase/solver/formulation"
	"millbase/solver/plan"
)

// A plan for which the search over whole numbers claims an optimum of -15, while one
// at -19 can be carried out (so does glpsol find): the better plan stands, and what
// the search claimed to have proved does not count.
func TestWrongSearchDoesNotCount(t *testing.T) {
	hardness := func(v float64) property.Set { return property.Set{"hardness_units": v} }
	limit := func(lower, upper *float64) formulation.Limit {
		return formulation.Limit{ID: "hardness", Kind: formulation.Blended, Property: "hardness_units", Lower: lower, Upper: upper}
	}
	halved := hardness(5)
	halved[property.RetainedFraction] = 0.5
	p := &plan.Problem{Catalogue: hard(), Currency: "EUR",
		Periods: []plan.Period{{Name: "week 0", Budget: -1}, {Name: "week 1", Budget: 40}, {Name: "week 2", Budget: -1}},
		Materials: []plan.Material{{ID: "m0", StorageMost: -1, SafetyStock: 8}, {ID: "m1", StorageMost: -1, SafetyPenalty: 0.5},
			{ID: "m2", StorageMost: -1, SafetyStock: 15}},
		Supplies: []plan.Supply{{ID: "lot0", Material: 1, Properties: halved, CostPerKg: 2, Until: 1, Batch: -1},
			{ID: "lot1", Material: 1, Properties: hardness(2), Kg: 35, CostPerKg: 1, From: 3, Until: 2, Batch: -1},
			{ID: "lot2", Material: 2, Properties: hardness(5), Kg: 20, CostPerKg: 2, Until: 2, Batch: -1},
			{ID: "lot3", Properties: hardness(2), CostPerKg: 1, From: 3, Until: 4, Batch: -1}},
		Offers: []plan.Offer{{ID: "offer0", Material: 2, Properties: hardness(2), Price: []float64{3, 1, 4}, Pack: 8, MostPerPeriod: -1, PerOrder: 20, ShelfLife: 1}},
		Batches: []plan.Batch{{ID: "b0", Kg: 25, MostLate: 2, UnmadePerKg: 5, Limits: []formulation.Limit{limit(to(3), to(6))}},
			{ID: "b1", Kg: 30, Worth: 8, Earliest: 1, Due: 1, LatePerKg: 0.5, UnmadePerKg: 20},
			{ID: "b2", Kg: 10, Most: 30, Earliest: 1, Due: 1, MostLate: 1, UnmadePerKg: 5,
				Limits: []formulation.Limit{{ID: "m0", Kind: formulation.Share, Materials: []string{"m0"}, Upper: to(0.5)}, limit(nil, to(5))}}}}
	got := made(t, p)
	if math.Abs(got.Cost+19) > 1e-6 || got.Bound > -19+1e-6 {
		t.Errorf("cost %g, bound %g, the optimum is -19", got.Cost, got.Bound)
	}
}
