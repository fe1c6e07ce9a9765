package formulation_test

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
)

func evaluate(t *testing.T, p *formulation.Problem, kg ...float64) []formulation.LimitReport {
	t.Helper()
	r, err := formulation.Evaluate(p, kg)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

const gramsPerLitre = 119.83 // 1 lb/gal in g/L (40 CFR 59.104)

// Paints and Coatings Resource Center, March 2004: 8.52 lb/gal, 20.8 % solids and
// 53.0 % water by mass, water 8.33 lb/gal: 4.87 lb/gal less water (223.2/45.79).
func TestVOCContentLessWater(t *testing.T) {
	p := &formulation.Problem{Quantity: mass.Kilogram, Catalogue: property.BuiltIn(),
		Settings: formulation.Settings{WaterDensityKgPerL: 8.33 * gramsPerLitre / 1000},
		Limits:   []formulation.Limit{{ID: "voc", Kind: formulation.VOCContent, Upper: to(300)}},
		Candidates: []formulation.Candidate{{ID: "paint", Available: -1, Properties: property.Set{
			property.DensityKgPerL: 8.52 * gramsPerLitre / 1000, property.VolatileFraction: 1 - .208, property.WaterFraction: .530}}}}
	r := evaluate(t, p, 1)[0]
	near(t, "lb/gal less water", r.Value/gramsPerLitre, 4.87, 0.01)
	if r.Met || r.Slack > 0 {
		t.Errorf("%+v", r)
	}
}

// A coating maker's FAQ: 33.2 lb of solvent in 100 gal with 62.4 gal of water and
// 33.06 gal of solids: .883 lb/gal less water. The 37.6 gal that are not water
// hold the solvent; the density of the solids cancels, so any will do.
func TestVOCContentOfComponents(t *testing.T) {
	const solvent = 33.2 / (100 - 62.4 - 33.06) // lb/gal
	density := func(lbPerGal float64) float64 { return lbPerGal * gramsPerLitre / 1000 }
	p := &formulation.Problem{Quantity: mass.Kilogram, Catalogue: property.BuiltIn(),
		Settings: formulation.Settings{WaterDensityKgPerL: density(8.33)},
		Limits:   []formulation.Limit{{ID: "voc", Kind: formulation.VOCContent, Upper: to(300)}},
		Candidates: []formulation.Candidate{
			{ID: "solvent", Properties: property.Set{property.DensityKgPerL: density(solvent), property.VolatileFraction: 1}},
			{ID: "water", Properties: property.Set{property.DensityKgPerL: density(8.33), property.VolatileFraction: 1, property.WaterFraction: 1}},
			{ID: "solids", Properties: property.Set{property.DensityKgPerL: density(11)}},
		}}
	r := evaluate(t, p, 33.2, 62.4*8.33, 33.06*11)[0]
	near(t, "lb/gal less water", r.Value/gramsPerLitre, .883, .0005)
}

// Drier mass: 45 kg of binder solids at 0.05 % cobalt with a 10 % drier take
// 0.225 kg (binder solids x target / metal of the drier, common practice).
func TestDrierMass(t *testing.T) {
	p := &formulation.Problem{Quantity: 45225 * mass.Gram, Catalogue: property.BuiltIn(),
		Limits: []formulation.Limit{{ID: "cobalt", Kind: formulation.MetalOnBinder, Metal: "cobalt", Lower: to(0.05)}},
		Candidates: []formulation.Candidate{
			{ID: "varnish", Class: inventory.Varnish, CostPerKg: 3, Available: -1, Properties: property.Set{property.BinderSolidsFraction: 1}},
			{ID: "drier", Class: inventory.Drier, CostPerKg: 9, Available: -1, Properties: property.Set{property.MetalFraction + "/cobalt": 0.1}},
		}}
	a := optimal(t, p)
	if len(a.Components) != 2 || a.Components[1].Mass != 225*mass.Gram {
		t.Fatalf("%+v", a.Components)
	}
	// By hand: with d of the ink drier, cost = 3 + 6 d and v = 10 d/(1-d) %, so
	// d cost/d v = 6 (1-d)^2/10.
	d := 0.225 / 45.225
	near(t, "price of cobalt", a.Limits[0].ShadowPrice, 6*(1-d)*(1-d)/10, 1e-9)
	// Both are used from no cobalt at all to all drier, which has no binder.
	if h := a.Limits[0].PriceHolds; a.Limits[0].Binding != formulation.AtLower || h == nil || math.Abs(h.Lower) > 1e-12 || !math.IsInf(h.Upper, 1) {
		t.Errorf("%+v %v", a.Limits[0], h)
	}
}

// The interval of a price on the finished mass, by hand: two oils of tack 5 and 15
// at 1 and 2 a kg. Tack at least 9 costs 0.1 per unit from 5 to 15.
func TestPriceHolds(t *testing.T) {
	p := &formulation.Problem{Quantity: mass.Kilogram, Catalogue: property.BuiltIn(),
		Limits: []formulation.Limit{{ID: "tack", Kind: formulation.Blended, Property: property.TackUnits, Lower: to(9)}},
		Candidates: []formulation.Candidate{
			{ID: "soft", CostPerKg: 1, Available: -1, Properties: property.Set{property.TackUnits: 5}},
			{ID: "hard", CostPerKg: 2, Available: -1, Properties: property.Set{property.TackUnits: 15}},
			{ID: "unknown", CostPerKg: 0, Available: -1},
		}}
	a := optimal(t, p)
	l := a.Limits[0]
	near(t, "price", l.ShadowPrice, 0.1, 1e-9)
	if l.PriceHolds == nil {
		t.Fatal("no interval")
	}
	near(t, "from", l.PriceHolds.Lower, 5, 1e-6)
	near(t, "to", l.PriceHolds.Upper, 15, 1e-6)
	if len(a.LeftOut) != 1 || a.LeftOut[0].Candidate != 2 || !strings.Contains(a.LeftOut[0].Why, "tack_units") {
		t.Errorf("left out: %+v", a.LeftOut)
	}
	if unit := p.Limits[0].Unit(p.Catalogue); unit != "tack units" {
		t.Errorf("unit %q", unit)
	}
}

// User-defined properties on other bases: by volume, and by another property.
// Prices against finite differences.
func TestOwnBases(t *testing.T) {
	solids := part("resin_fraction")
	solids.Max = 1
	gloss := property.Definition{Name: "gloss_units", Title: "Gloss", Unit: "units", Index: property.Power, Exponent: 1.0 / 3, Basis: property.BasisVolume, Min: 1, Max: 200}
	acid := property.Definition{Name: "acid_mg_per_g", Title: "Acid value", Unit: "mg/g", Index: property.Reciprocal, Basis: "resin_fraction", Min: 1, Max: 200}
	for _, l := range []formulation.Limit{limitOn("gloss_units", to(60), nil), limitOn("acid_mg_per_g", nil, to(20))} {
		p := &formulation.Problem{Quantity: 10 * mass.Kilogram, Catalogue: catalogue(t, solids, gloss, acid), Limits: []formulation.Limit{l}}
		for k, of := range [][5]float64{{1, 1.0, .5, 40, 30}, {3, 1.3, .7, 80, 12}, {5, .8, .6, 90, 8}} {
			p.Candidates = append(p.Candidates, formulation.Candidate{ID: string(rune('a' + k)), CostPerKg: of[0], Available: -1, Properties: property.Set{
				property.DensityKgPerL: of[1], "resin_fraction": of[2], "gloss_units": of[3], "acid_mg_per_g": of[4]}})
		}
		a := optimal(t, p)
		r := a.Limits[0]
		if r.Binding == formulation.NotBinding {
			t.Fatalf("%s does not bind", l.ID)
		}
		down, up, ok := slopes(t, p, r, a.CostPerKg)
		if !ok {
			t.Fatal("no differences")
		}
		near(t, l.ID, r.ShadowPrice, (down+up)/2, 1e-4*math.Abs(up))
	}
}

// Where there is nothing to relate to, a limit does nothing if what it limits is
// absent, and can't be met if it is there.
func TestNothingToRelateTo(t *testing.T) {
	p := &formulation.Problem{Quantity: mass.Kilogram, Catalogue: property.BuiltIn(),
		Limits: []formulation.Limit{{ID: "cobalt", Kind: formulation.MetalOnBinder, Metal: "cobalt", Upper: to(0.05)}},
		Candidates: []formulation.Candidate{
			{ID: "oil", CostPerKg: 2, Available: -1},
			{ID: "drier", CostPerKg: 1, Available: -1, Properties: property.Set{property.MetalFraction + "/cobalt": 0.1}},
		}}
	a := optimal(t, p)
	l := a.Limits[0]
	if len(a.Components) != 1 || a.Components[0].Candidate != 0 || !l.Met || l.Why == "" || l.ShadowPrice != 0 || l.Binding != formulation.NotBinding {
		t.Fatalf("%+v %+v", a.Components, l)
	}
	if r := evaluate(t, p, 1, 1)[0]; r.Met || !math.IsInf(r.Value, 1) || r.Why == "" {
		t.Errorf("%+v", r)
	}
}

func TestAssumed(t *testing.T) {
	p := &formulation.Problem{Quantity: mass.Kilogram, Catalogue: property.BuiltIn(),
		Limits: []formulation.Limit{{ID: "pigment", Kind: formulation.PigmentLoading, ColourIndex: "PBk7", ByStrength: true, Lower: to(0.2)},
			{ID: "voc", Kind: formulation.VOCMass, Upper: to(0.3)}},
		Candidates: []formulation.Candidate{
			{ID: "lots/b", Title: "Black lot 7", Class: inventory.Pigment, ColourIndex: "PBk7", CostPerKg: 9, Available: -1, Properties: property.Set{property.PigmentFraction: 1}},
			{ID: "lots/v", Title: "Varnish lot 3", Class: inventory.Varnish, CostPerKg: 3, Available: -1},
		}}
	got := strings.Join(optimal(t, p).Assumed, "\n")
	for _, want := range []string{"Tint strength of Black lot 7 taken as 100 %: no certificate value.", "Volatile of Varnish lot 3 taken as 0"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is missing from %q", want, got)
		}
	}
}

func TestOtherOutcomes(t *testing.T) {
	p := &formulation.Problem{Quantity: mass.Kilogram, Catalogue: property.BuiltIn(),
		Candidates: []formulation.Candidate{{ID: "a", CostPerKg: 1, Available: -1},
			{ID: "burnt off", CostPerKg: -1, Available: -1, Properties: property.Set{property.RetainedFraction: 0}}}}
	if a := optimise(t, p); a.Outcome != formulation.Unbounded {
		t.Errorf("being paid to burn something off: %s", a.Outcome)
	}
	p.Candidates = []formulation.Candidate{{ID: "none"}}
	if a := optimise(t, p); a.Outcome != formulation.Infeasible || len(a.LeftOut) != 1 || len(a.Assumed) == 0 {
		t.Errorf("nothing available: %+v", a)
	}
	p.Candidates = []formulation.Candidate{{ID: "a", CostPerKg: 1, Available: -1}}
	ctx, cancel := context.WithDeadline(context.Background(), time.Unix(0, 0))
	defer cancel()
	if a, err := formulation.Optimise(ctx, engine, p); err != nil || a.Outcome != formulation.Unfinished {
		t.Errorf("past its deadline: %+v %v", a, err)
	}
}

func TestBadFields(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for field, spoil := range map[string]func(*formulation.Problem){
		"quantity_kg":                                func(p *formulation.Problem) { p.Quantity = 0 },
		"catalogue":                                  func(p *formulation.Problem) { p.Catalogue = nil },
		"candidates":                                 func(p *formulation.Problem) { p.Candidates = nil },
		"candidates[1].id":                           func(p *formulation.Problem) { p.Candidates[1].ID = "a" },
		"candidates[0].cost_per_kg":                  func(p *formulation.Problem) { p.Candidates[0].CostPerKg = nan },
		"candidates[1].cost_per_kg":                  func(p *formulation.Problem) { p.Candidates[1].CostPerKg = 1e300 },
		"candidates[0].at_least_kg":                  func(p *formulation.Problem) { p.Candidates[0].AtLeast, p.Candidates[0].Available = 2, 1 },
		"candidates[0].properties[tack_units]":       func(p *formulation.Problem) { p.Candidates[0].Properties[property.TackUnits] = inf },
		"candidates[0].properties[density_kg_per_l]": func(p *formulation.Problem) { p.Candidates[0].Properties[property.DensityKgPerL] = 1500 },
		"candidates[0].properties[colour_units]":     func(p *formulation.Problem) { p.Candidates[0].Properties["colour_units"] = 1 },
		"candidates[0].properties[metal_fraction]":   func(p *formulation.Problem) { p.Candidates[0].Properties[property.MetalFraction] = 0.1 },
		"candidates[1].properties[tack_units]": func(p *formulation.Problem) {
			delete(p.Candidates[1].Properties, property.TackUnits)
			p.Candidates[1].AtLeast = 1
		},
		"limits[0].lower":                 func(p *formulation.Problem) { p.Limits[0].Lower, p.Limits[0].Upper = nil, nil },
		"limits[0].upper":                 func(p *formulation.Problem) { p.Limits[0].Upper = &nan },
		"limits[1].lower":                 func(p *formulation.Problem) { p.Limits[1].Lower = to(0.5) },
		"limits[1].id":                    func(p *formulation.Problem) { p.Limits[1].ID = p.Limits[0].ID },
		"limits[0].property":              func(p *formulation.Problem) { p.Limits[0].Property = "colour_units" },
		"limits[1].kind":                  func(p *formulation.Problem) { p.Limits[1].Kind = "beauty" },
		"limits[1].metal":                 func(p *formulation.Problem) { p.Limits[1].Kind = formulation.MetalOnBinder },
		"limits[1].materials":             func(p *formulation.Problem) { p.Limits[1].Materials = nil },
		"limits[1].classes[0]":            func(p *formulation.Problem) { p.Limits[1].Classes = []inventory.Class{"paint"} },
		"limits[0].move_weight":           func(p *formulation.Problem) { p.Limits[0].MoveWeight = -1 },
		"settings.water_density_kg_per_l": func(p *formulation.Problem) { p.Settings.WaterDensityKgPerL = 8.33 },
	} {
		p := &formulation.Problem{Quantity: mass.Kilogram, Catalogue: property.BuiltIn(),
			Limits: []formulation.Limit{{ID: "tack", Kind: formulation.Blended, Property: property.TackUnits, Upper: to(9)},
				{ID: "b", Kind: formulation.Share, Materials: []string{"b"}, Upper: to(0.4)}},
			Candidates: []formulation.Candidate{
				{ID: "a", Material: "a", CostPerKg: 1, Available: -1, Properties: property.Set{property.TackUnits: 5}},
				{ID: "b", Material: "b", CostPerKg: 2, Available: -1, Properties: property.Set{property.TackUnits: 15}}}}
		optimal(t, p)
		spoil(p)
		_, err := formulation.Optimise(context.Background(), engine, p)
		var fields formulation.FieldErrors
		if !errors.As(err, &fields) || fields[0].Field != field || fields[0].Problem == "" {
			t.Errorf("%s: got %v", field, err)
		}
	}
}
