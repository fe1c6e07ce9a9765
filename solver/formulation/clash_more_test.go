package formulation_test

import (
	"slices"
	"testing"

	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
)

// 40 and 30 kg must be used in 60 kg of ink: 10 kg less of either.
func TestClashOfWhatMustBeUsed(t *testing.T) {
	p := &formulation.Problem{Quantity: 60 * mass.Kilogram, Catalogue: property.BuiltIn(),
		Candidates: []formulation.Candidate{
			{ID: "a", CostPerKg: 1, Available: 50 * mass.Kilogram, AtLeast: 40 * mass.Kilogram},
			{ID: "b", CostPerKg: 2, Available: -1, AtLeast: 30 * mass.Kilogram},
		}}
	a := optimise(t, p)
	if a.Outcome != formulation.Infeasible || !slices.Equal(a.Clash.Stock, []int{0, 1}) || len(a.Clash.Single) != 2 || !a.Clash.Proved {
		t.Fatalf("%s %+v", a.Outcome, a.Clash)
	}
	for _, m := range a.Clash.Single {
		near(t, "less", m.From-m.To, 10, 1e-4)
		if m.Side != formulation.AtLower {
			t.Errorf("%+v", m)
		}
	}
}

// Equations clash on the side that can't be reached: of 0.5 and 0.9 kg/L nothing
// makes 1, and no blend of 2 and 4 % cobalt on binder has 5 %.
func TestClashOfEquations(t *testing.T) {
	p := &formulation.Problem{Quantity: 60 * mass.Kilogram, Catalogue: property.BuiltIn(),
		Candidates: []formulation.Candidate{
			{ID: "a", CostPerKg: 1, Available: -1, Properties: property.Set{property.DensityKgPerL: 0.5, property.BinderSolidsFraction: 0.5, "metal_fraction/cobalt": 0.01}},
			{ID: "b", CostPerKg: 2, Available: -1, Properties: property.Set{property.DensityKgPerL: 0.9, property.BinderSolidsFraction: 0.5, "metal_fraction/cobalt": 0.02}},
		},
		Limits: []formulation.Limit{{ID: "density", Kind: formulation.Blended, Property: property.DensityKgPerL, Lower: to(1), Upper: to(1)}}}
	for _, c := range []struct {
		limit formulation.Limit
		to    float64
		side  formulation.Side
	}{
		{p.Limits[0], 0.9, formulation.AtLower},
		{formulation.Limit{ID: "cobalt", Kind: formulation.MetalOnBinder, Metal: "cobalt", Lower: to(5), Upper: to(5)}, 4, formulation.AtLower},
		{formulation.Limit{ID: "cobalt", Kind: formulation.MetalOnBinder, Metal: "cobalt", Lower: to(1), Upper: to(1)}, 2, formulation.AtUpper},
	} {
		p.Limits[0] = c.limit
		a := optimise(t, p)
		if a.Outcome != formulation.Infeasible || len(a.Clash.Movements) != 1 || !a.Clash.Proved || len(a.Clash.Single) != 1 {
			t.Fatalf("%s %+v", a.Outcome, a.Clash)
		}
		m := a.Clash.Movements[0]
		near(t, c.limit.ID, m.To, c.to, 1e-5)
		if m.Side != c.side {
			t.Errorf("%+v", m)
		}
	}
	// Where both sides price the same equation.
	p.Limits = []formulation.Limit{{ID: "cobalt", Kind: formulation.MetalOnBinder, Metal: "cobalt", Lower: to(3), Upper: to(3)}}
	a := optimal(t, p)
	near(t, "cost", a.CostPerKg, 1.5, 1e-9)
	near(t, "price", a.Limits[0].ShadowPrice, 0.5, 1e-9)
	if a.Limits[0].Binding != formulation.AtBoth {
		t.Errorf("%+v", a.Limits[0])
	}
}
