package formulation_test

import (
	"testing"

	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
)

// A component of which no formula takes as much as the coarse balance begins at is
// held to what the fine one can weigh.
func TestBetweenTwoBalances(t *testing.T) {
	loses := property.Set{property.WaxSolidsFraction: .15, property.RetainedFraction: .5}
	p := &formulation.Problem{Catalogue: property.BuiltIn(), Quantity: 4 * mass.Kilogram,
		Limits: []formulation.Limit{{ID: "wax", Kind: formulation.WaxSolids, Lower: to(.25)}},
		Candidates: []formulation.Candidate{
			{ID: "a", Material: "A", CostPerKg: .25, Available: -1, Properties: loses},
			{ID: "b", Material: "B", CostPerKg: .25, Available: -1, Properties: property.Set{property.WaxSolidsFraction: .2}},
		},
		Weighing: &formulation.Weighing{Balances: []formulation.Balance{{Division: mass.Kilogram, From: 3500 * mass.Gram},
			{Division: 500 * mass.Gram, Capacity: 500 * mass.Gram}}}}
	a := weigh(t, p)
	want, ok := enumerated(p, a.Weighed.FreeCostPerKg)
	if a.Outcome != formulation.Optimal || !ok {
		t.Fatalf("%s %+v %+v", a.Outcome, a.Weighed, a.Components)
	}
	near(t, "cost", a.CostPerKg, want, 1e-9)
}
