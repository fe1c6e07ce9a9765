package formulation_test

import (
	"context"
	"math"
	"strings"
	"testing"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver"
	"millbase/solver/formulation"
)

func correct(t tester, p *formulation.CorrectionProblem) *formulation.Correction {
	t.Helper()
	a, err := formulation.Correct(context.Background(), engine, p)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// stiff is 100 kg of an ink that should have a tack of 12 by what was weighed in,
// with an oil to add.
func stiff() *formulation.CorrectionProblem {
	varnish := formulation.Candidate{ID: "varnish", Class: inventory.Varnish, Properties: property.Set{property.TackUnits: 14, property.ViscosityPaS: 50, property.DensityKgPerL: 1}}
	thin := formulation.Candidate{ID: "thin", Material: "thin", Class: inventory.Varnish, Properties: property.Set{property.TackUnits: 4, property.ViscosityPaS: 5, property.DensityKgPerL: 0.9}}
	return &formulation.CorrectionProblem{
		Pot: formulation.Pot{Components: []formulation.Candidate{varnish, thin}, Masses: []mass.Mass{80 * mass.Kilogram, 20 * mass.Kilogram},
			Tests: map[string]float64{property.TackUnits: 14}},
		Limits: []formulation.Limit{{ID: "tack", Kind: formulation.Blended, Property: property.TackUnits, Upper: to(12)}},
		Candidates: []formulation.Candidate{
			{ID: "oil", Class: inventory.Oil, CostPerKg: 1.5, Available: -1, Properties: property.Set{property.TackUnits: 2}},
		},
		Catalogue: property.BuiltIn(), Capacity: 150 * mass.Kilogram, Currency: "EUR",
	}
}

// By hand: (100 x 14 + 2 x)/(100 + x) = 12 gives x = 20 kg, for 30.00. In a pot of
// 110 kg only k of it can be kept, k (100 + 20) = 110.
func TestTackTooHigh(t *testing.T) {
	p := stiff()
	a := correct(t, p)
	if a.Outcome != formulation.Corrected || len(a.Additions) != 1 || a.Kept != 100*mass.Kilogram || !a.Proof.OK {
		t.Fatalf("got %+v", a)
	}
	near(t, "oil", a.Added.Kilograms(), 20, 2e-6)
	near(t, "cost", a.Cost, 30, 1e-5)
	near(t, "tack before", a.Before[0].Value, 14, 1e-12)
	near(t, "tack after", a.After[0].Value, 12, 1e-6)

	p.Capacity = 110 * mass.Kilogram
	a = correct(t, p)
	if a.Outcome != formulation.InPart || !a.Proof.OK || a.Proof.Claim != solver.StopInfeasible || a.Clash == nil || !a.Clash.Capacity || len(a.Clash.Limits) != 1 {
		t.Fatalf("got %+v, clash %+v", a, a.Clash)
	}
	near(t, "kept", a.Kept.Kilograms(), 100*110.0/120, 1e-3)
	near(t, "kept and added", (a.Kept + a.Added).Kilograms(), 110, 1e-3)

	p.Capacity, p.Candidates[0].Available = 150*mass.Kilogram, 5*mass.Kilogram // room, but only 5 kg of oil
	a = correct(t, p)
	near(t, "kept with little oil", a.Kept.Kilograms(), 25, 1e-3)
	if len(a.Clash.Stock) != 1 || a.Clash.Capacity {
		t.Errorf("clash %+v", a.Clash)
	}

	p.Candidates[0].Properties = property.Set{property.TackUnits: 12.5}
	if a = correct(t, p); a.Outcome != formulation.Impossible || a.Kept != 0 || !a.Proof.OK {
		t.Errorf("got %+v", a)
	}
	p.Candidates = nil
	if a = correct(t, p); a.Outcome != formulation.Impossible {
		t.Errorf("with nothing to add: %+v", a)
	}
}

// What was measured counts, and nothing is added to what is in limits.
func TestMeasuredValuesCount(t *testing.T) {
	p := stiff()
	p.Pot.Tests = nil // 0.8 x 14 + 0.2 x 4 = 12, as it should be
	if a := correct(t, p); a.Outcome != formulation.InLimits || a.Added != 0 || math.Abs(a.Before[0].Value-12) > 1e-12 {
		t.Errorf("got %+v", a)
	}
	p.Pot.Tests = map[string]float64{"tack": 12.6} // by the limit's id
	a := correct(t, p)
	near(t, "tack by the limit", a.Before[0].Value, 12.6, 1e-12)
	near(t, "oil", a.Added.Kilograms(), 6, 2e-6) // 100 (12.6-12)/(12-2)
	if !strings.Contains(strings.Join(a.Assumed, " "), "Measured on the pot, or worked out with what was measured: tack") {
		t.Errorf("assumed: %v", a.Assumed)
	}

	// Viscosity by its index: 50 Pa s measured, at most 40, an oil of 0.1 Pa s:
	// x/(100+x) = ln(50/40)/ln(50/0.1).
	p = stiff()
	p.Limits[0] = formulation.Limit{ID: "viscosity", Kind: formulation.Blended, Property: property.ViscosityPaS, Upper: to(40)}
	p.Pot.Tests = map[string]float64{property.ViscosityPaS: 50}
	p.Candidates[0].Properties = property.Set{property.ViscosityPaS: 0.1}
	share := math.Log(50.0/40) / math.Log(50/0.1)
	near(t, "oil by the index", correct(t, p).Added.Kilograms(), 100*share/(1-share), 1e-3)

	// VOC: 300 g/L measured on an ink of 1.0 kg/L, at most 250; a varnish without
	// volatiles of 1.25 kg/L: 300 x 100/(100+x/1.25) = 250, x = 25.
	p = stiff()
	p.Limits[0] = formulation.Limit{ID: "voc", Kind: formulation.VOCContent, Upper: to(250)}
	p.Pot.Tests = map[string]float64{"voc": 300, property.DensityKgPerL: 1}
	p.Candidates[0].Properties = property.Set{property.DensityKgPerL: 1.25}
	a = correct(t, p)
	near(t, "voc", a.Before[0].Value, 300, 1e-9)
	near(t, "varnish", a.Added.Kilograms(), 25, 1e-3)
	p.Pot.Tests = map[string]float64{property.VolatileFraction: 0.3, property.DensityKgPerL: 1} // the same by the oven
	near(t, "varnish by the oven test", correct(t, p).Added.Kilograms(), 25, 1e-3)

	// Metal on binder: 0.05 % measured of a binder of half the ink, at least 0.08 %;
	// a drier with 6 % cobalt and no binder: 100 (0.025 + 0.06 x)/50 = 0.08.
	p = stiff()
	p.Limits[0] = formulation.Limit{ID: "cobalt", Kind: formulation.MetalOnBinder, Metal: "cobalt", Lower: to(0.08)}
	p.Pot.Tests = map[string]float64{"cobalt": 0.05, property.BinderSolidsFraction: 0.5}
	p.Candidates[0] = formulation.Candidate{ID: "drier", Class: inventory.Drier, CostPerKg: 8, Available: -1, Properties: property.Set{"metal_fraction/cobalt": 0.06}}
	near(t, "drier", correct(t, p).Added.Kilograms(), (0.08*50/100-0.025)/0.06, 1e-5)
	p.Pot.Tests = map[string]float64{property.BinderSolidsFraction: 0.4} // of 0.8 x 0.05 kg/kg cobalt weighed in
	p.Pot.Components[0].Properties["metal_fraction/cobalt"] = 0.0005
	near(t, "cobalt on the measured binder", correct(t, p).Before[0].Value, 100*0.8*0.0005/0.4, 1e-12)
}

// Tint strength scales the strength of the pigment in the pot: 20 % of pigment at
// 0.9 of standard is a loading of 0.18 by strength. At least 0.19 with a pigment of
// strength 1.1: (18 + 1.1 x)/(100 + x) = 0.19.
func TestWeakPot(t *testing.T) {
	p := stiff()
	p.Pot.Components[1] = formulation.Candidate{ID: "pigment", Class: inventory.Pigment, ColourIndex: "PB15:3",
		Properties: property.Set{property.PigmentFraction: 1, property.TintStrengthFraction: 1.02}}
	p.Limits[0] = formulation.Limit{ID: "pigment", Kind: formulation.PigmentLoading, ByStrength: true, ColourIndex: "PB15:3", Lower: to(0.19)}
	p.Candidates[0] = formulation.Candidate{ID: "strong", Class: inventory.Pigment, ColourIndex: "PB15:3", CostPerKg: 9, Available: -1,
		Properties: property.Set{"pigment_fraction/PB15:3": 1, property.TintStrengthFraction: 1.1}}
	for _, tests := range []map[string]float64{{property.TintStrengthFraction: 0.9}, {"pigment": 0.18}} {
		p.Pot.Tests = tests
		a := correct(t, p)
		near(t, "loading before", a.Before[0].Value, 0.18, 1e-12)
		near(t, "pigment", a.Added.Kilograms(), 1/(1.1-0.19), 1e-5)
	}
	p.Limits[0].ByStrength = false // dry pigment, 0.2 of it
	p.Pot.Tests = map[string]float64{property.TintStrengthFraction: 0.9}
	if a := correct(t, p); a.Outcome != formulation.InLimits {
		t.Errorf("strength counts where it should not: %+v", a)
	}
	for _, tests := range []map[string]float64{{"pigment": 0.185}, {property.PigmentFraction: 0.185}, {"pigment_fraction/PB15:3": 0.185}} {
		p.Pot.Tests = tests
		near(t, "measured loading", correct(t, p).Before[0].Value, 0.185, 1e-12)
		total := *p
		total.Limits = []formulation.Limit{{ID: "pigment", Kind: formulation.PigmentLoading, Lower: to(0.19)}}
		near(t, "measured loading in total", correct(t, &total).Before[0].Value, 0.185, 1e-12)
	}
}

// Additions on whole divisions, met and not dearer than need be.
func TestCorrectionOnAScale(t *testing.T) {
	p := stiff()
	p.Weighing = &formulation.Weighing{Balances: []formulation.Balance{{Division: 3 * mass.Kilogram}}}
	a := correct(t, p)
	if a.Outcome != formulation.Corrected || a.Added != 21*mass.Kilogram || !a.After[0].Met {
		t.Errorf("got %+v", a)
	}
	if said := strings.Join(a.Assumed, " "); !strings.Contains(said, "would cost 30 EUR") || !strings.Contains(said, "at most 1.5 EUR above") {
		t.Errorf("assumed: %s", said)
	}
	// 21 kg no longer go in: of 14 + 98 kg, kept with 7 kg steps, 16.33 kg would be needed.
	p.Capacity, p.Weighing.Balances[0].Division = 120*mass.Kilogram, 7*mass.Kilogram
	a = correct(t, p)
	if d := 7 * mass.Kilogram; a.Outcome != formulation.InPart || a.Added%d != 0 || (a.Pot-a.Kept)%d != 0 || a.Kept == 0 || a.Kept+a.Added > p.Capacity || !a.After[0].Met {
		t.Errorf("got %+v", a)
	}
	p.Weighing = &formulation.Weighing{Least: 25 * mass.Kilogram} // more than is needed, and worth weighing
	p.Capacity = 150 * mass.Kilogram
	if a = correct(t, p); a.Added != 25*mass.Kilogram {
		t.Errorf("got %+v", a)
	}
	p.Weighing = &formulation.Weighing{Handling: []formulation.Handling{{Of: formulation.Group{Candidates: []string{"oil"}}, Container: 12 * mass.Kilogram}}}
	if a = correct(t, p); a.Added != 24*mass.Kilogram {
		t.Errorf("got %+v", a)
	}
}

// Faults of a pot are named by their field.
func TestBadPots(t *testing.T) {
	for field, change := range map[string]func(*formulation.CorrectionProblem){
		"pot":         func(p *formulation.CorrectionProblem) { p.Pot.Components, p.Pot.Masses = nil, nil },
		"pot[1].mass": func(p *formulation.CorrectionProblem) { p.Pot.Masses[1] = 0 },
		"pot[0].properties[tack_units]": func(p *formulation.CorrectionProblem) {
			p.Pot.Components[0].Properties = property.Set{property.TackUnits: math.NaN()}
		},
		"capacity_kg":       func(p *formulation.CorrectionProblem) { p.Capacity = 99 * mass.Kilogram },
		"tests[gloss]":      func(p *formulation.CorrectionProblem) { p.Pot.Tests = map[string]float64{"gloss": 1} },
		"tests[tack_units]": func(p *formulation.CorrectionProblem) { p.Pot.Tests = map[string]float64{property.TackUnits: 1e6} },
		"tests[tack]": func(p *formulation.CorrectionProblem) {
			p.Pot.Tests = map[string]float64{property.TackUnits: 12, "tack": 12}
		},
		"tests[tint_strength_fraction]": func(p *formulation.CorrectionProblem) {
			p.Pot.Tests = map[string]float64{property.TintStrengthFraction: 1}
		},
		"tests": func(p *formulation.CorrectionProblem) {
			p.Pot.Tests = nil
			p.Pot.Components[1].Properties = nil
		},
		"limits[0].property":        func(p *formulation.CorrectionProblem) { p.Limits[0].Property = "nothing" },
		"candidates[0].cost_per_kg": func(p *formulation.CorrectionProblem) { p.Candidates[0].CostPerKg = math.Inf(1) },
		"weighing.balances": func(p *formulation.CorrectionProblem) {
			p.Weighing = &formulation.Weighing{Balances: []formulation.Balance{{Division: -1}}}
		},
		"weighing": func(p *formulation.CorrectionProblem) { p.Weighing = &formulation.Weighing{AtMost: 2} },
	} {
		p := stiff()
		change(p)
		_, err := formulation.Correct(t.Context(), engine, p)
		faults, ok := err.(formulation.FieldErrors)
		if !ok || !strings.HasPrefix(faults[0].Field, field) {
			t.Errorf("%s: got %v", field, err)
		}
	}
}

// By hand: ink of tack 14 goes into one of at most 12 made of varnish of tack 10 up
// to a half; as work-off, of which at most a tenth is allowed, up to that.
func TestMostShare(t *testing.T) {
	a := correct(t, stiff())
	p := &formulation.Problem{Quantity: 200 * mass.Kilogram, Catalogue: property.BuiltIn(), Candidates: []formulation.Candidate{
		{ID: "varnish", Class: inventory.Varnish, CostPerKg: 1, Available: -1, Properties: property.Set{property.TackUnits: 10}},
		a.AsWorkOff("pot", "the pot", "ink-cyan", 100*mass.Kilogram),
	}, Limits: stiff().Limits}
	share := func() float64 {
		t.Helper()
		share, ok, why, err := formulation.MostShare(t.Context(), engine, p, 1)
		if err != nil || !ok || why != "" {
			t.Fatal(ok, why, err)
		}
		return share
	}
	near(t, "half", share(), 0.5, 1e-9)
	p.Candidates[1].Available = 30 * mass.Kilogram
	near(t, "what there is of it", share(), 0.15, 1e-9)
	p.Limits = append(p.Limits, formulation.Limit{ID: "work-off", Kind: formulation.Share, Classes: []inventory.Class{inventory.WorkOff}, Upper: to(0.1)})
	near(t, "as work-off", share(), 0.1, 1e-9)
	p.Limits[1] = formulation.Limit{ID: "no thin", Kind: formulation.Share, Materials: []string{"thin"}, Upper: to(0.01)}
	near(t, "as what went into it", share(), 0.05, 1e-9) // a fifth of the pot is of that material
	p.Limits[0].Upper = to(9)
	if _, ok, _, err := formulation.MostShare(t.Context(), engine, p, 1); ok || err != nil {
		t.Error("there is no such ink", ok, err)
	}
	p.Limits[0] = formulation.Limit{ID: "viscosity", Kind: formulation.Blended, Property: property.ViscosityPaS, Upper: to(60)}
	p.Candidates[1].Properties = property.Set{property.TackUnits: 14}
	if _, _, why, _ := formulation.MostShare(t.Context(), engine, p, 1); !strings.Contains(why, "viscosity_pa_s") {
		t.Errorf("why: %q", why)
	}
}
