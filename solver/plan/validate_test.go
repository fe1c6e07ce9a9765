package plan_test

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"millbase/inventory/property"
	"millbase/solver/engines"
	"millbase/solver/formulation"
	"millbase/solver/plan"
)

// sound is a problem of one of each.
func sound() *plan.Problem {
	set := property.Set{"hardness_units": 4}
	return &plan.Problem{Catalogue: hard(), Currency: "EUR",
		Periods:   []plan.Period{{Name: "week 1", Budget: -1}, {Name: "week 2", Budget: 500}},
		Materials: []plan.Material{{ID: "m0", StorageCost: 0.1, StorageMost: 200, SafetyStock: 5, SafetyPenalty: 1, ClosingLeast: 2}},
		Supplies: []plan.Supply{{ID: "lot", Properties: set, Kg: 20, CostPerKg: 1, Until: 2, Batch: -1},
			{ID: "brought", Properties: set, Kg: 8, From: 1, Until: 2, Batch: 0}},
		Offers: []plan.Offer{{ID: "offer", Properties: set, Price: []float64{2, 3}, Breaks: []plan.Break{{Factor: 1}, {From: 50, Factor: 0.9}}, Pack: 5, MinimumOrder: 10, MostPerPeriod: 100, PerOrder: 4, ShelfLife: 2, SalvagePerKg: 1}},
		Batches: []plan.Batch{{ID: "b0", Kg: 10, UnmadePerKg: 9, Supplies: []int{0}}, {ID: "b1", Kg: 30, Due: 1, UnmadePerKg: 9, LatePerKg: 1,
			Limits: []formulation.Limit{{ID: "hardness", Kind: formulation.Blended, Property: "hardness_units", Lower: to(3)}}}},
		Uses: []plan.Use{{ID: "mill", Materials: []int{0}, Most: []float64{-1, 60}}}}
}

var nan, inf = math.NaN(), math.Inf(1)

var badProblems = []struct {
	field string
	spoil func(p *plan.Problem)
}{
	{"catalogue", func(p *plan.Problem) { p.Catalogue = nil }},
	{"gap", func(p *plan.Problem) { p.Gap = -0.1 }},
	{"gap", func(p *plan.Problem) { p.Gap = 1 }},
	{"gap", func(p *plan.Problem) { p.Gap = nan }},
	{"periods", func(p *plan.Problem) { p.Periods = nil }},
	{"periods", func(p *plan.Problem) { p.Periods = make([]plan.Period, 121) }},
	{"materials", func(p *plan.Problem) { p.Materials = nil }},
	{"batches", func(p *plan.Problem) { p.Batches = nil }},
	{"batches", func(p *plan.Problem) { p.Batches = make([]plan.Batch, 5001) }},
	{"supplies", func(p *plan.Problem) { p.Supplies = make([]plan.Supply, 20_001) }},
	{"offers", func(p *plan.Problem) { p.Offers = make([]plan.Offer, 20_001) }},
	{"periods[1].budget", func(p *plan.Problem) { p.Periods[1].Budget = nan }},
	{"periods[0].budget", func(p *plan.Problem) { p.Periods[0].Budget = inf }},
	{"materials[0].storage_cost", func(p *plan.Problem) { p.Materials[0].StorageCost = -1 }},
	{"materials[0].storage_most", func(p *plan.Problem) { p.Materials[0].StorageMost = nan }},
	{"materials[0].closing_least", func(p *plan.Problem) { p.Materials[0].ClosingLeast = nan }},
	{"materials[0].closing_least", func(p *plan.Problem) { p.Materials[0].ClosingLeast = 201 }},
	{"materials[0].safety_stock", func(p *plan.Problem) { p.Materials[0].SafetyStock = -1 }},
	{"materials[0].safety_penalty", func(p *plan.Problem) { p.Materials[0].SafetyPenalty = inf }},
	{"supplies[0].id", func(p *plan.Problem) { p.Supplies[0].ID = "" }},
	{"supplies[1].id", func(p *plan.Problem) { p.Supplies[1].ID = "lot" }},
	{"offers[0].id", func(p *plan.Problem) { p.Offers[0].ID = "lot" }},
	{"supplies[0].material", func(p *plan.Problem) { p.Supplies[0].Material = 1 }},
	{"supplies[0].kg", func(p *plan.Problem) { p.Supplies[0].Kg = -1 }},
	{"supplies[0].cost_per_kg", func(p *plan.Problem) { p.Supplies[0].CostPerKg = nan }},
	{"supplies[0].scrap_cost", func(p *plan.Problem) { p.Supplies[0].ScrapCost = -1 }},
	{"supplies[0].from", func(p *plan.Problem) { p.Supplies[0].From = math.MaxInt }},
	{"supplies[1].from", func(p *plan.Problem) { p.Supplies[1].From = -1 }},
	{"supplies[1].batch", func(p *plan.Problem) { p.Supplies[1].Batch = 2 }},
	{"supplies[1].batch", func(p *plan.Problem) { p.Batches[0].Kg = 0 }},
	{"batches[0].supplies", func(p *plan.Problem) { p.Supplies[1].From, p.Batches[0].Supplies = 0, nil }},
	{"offers[0].material", func(p *plan.Problem) { p.Offers[0].Material = -1 }},
	{"offers[0].price", func(p *plan.Problem) { p.Offers[0].Price = []float64{1} }},
	{"offers[0].price[1]", func(p *plan.Problem) { p.Offers[0].Price[1] = -1 }},
	{"offers[0].breaks[1].from", func(p *plan.Problem) { p.Offers[0].Breaks[1].From = 0 }},
	{"offers[0].breaks[0].from", func(p *plan.Problem) { p.Offers[0].Breaks[0].From = nan }},
	{"offers[0].breaks[1].factor", func(p *plan.Problem) { p.Offers[0].Breaks[1].Factor = 0 }},
	{"offers[0].breaks[1].factor", func(p *plan.Problem) { p.Offers[0].Breaks[1].Factor = nan }},
	{"offers[0].minimum_order", func(p *plan.Problem) { p.Offers[0].MinimumOrder = -1 }},
	{"offers[0].pack", func(p *plan.Problem) { p.Offers[0].Pack = nan }},
	{"offers[0].most_per_period", func(p *plan.Problem) { p.Offers[0].MostPerPeriod = nan }},
	{"offers[0].per_order", func(p *plan.Problem) { p.Offers[0].PerOrder = -1 }},
	{"offers[0].lead", func(p *plan.Problem) { p.Offers[0].Lead = -1 }},
	{"offers[0].lead", func(p *plan.Problem) { p.Offers[0].Lead = math.MaxInt }},
	{"offers[0].shelf_life", func(p *plan.Problem) { p.Offers[0].ShelfLife = -1 }},
	{"offers[0].shelf_life", func(p *plan.Problem) { p.Offers[0].ShelfLife = math.MaxInt }},
	{"offers[0].salvage_per_kg", func(p *plan.Problem) { p.Offers[0].SalvagePerKg = 1.81 }},
	{"batches[0].kg", func(p *plan.Problem) { p.Batches[0].Kg = nan }},
	{"batches[0].most", func(p *plan.Problem) { p.Batches[0].Most = -1 }},
	{"batches[0].worth", func(p *plan.Problem) { p.Batches[0].Worth = inf }},
	{"batches[0].late_per_kg", func(p *plan.Problem) { p.Batches[0].LatePerKg = -1 }},
	{"batches[0].unmade_per_kg", func(p *plan.Problem) { p.Batches[0].UnmadePerKg = nan }},
	{"batches[1].due", func(p *plan.Problem) { p.Batches[1].Earliest = 2 }},
	{"batches[1].due", func(p *plan.Problem) { p.Batches[1].Due = 2 }},
	{"batches[1].due", func(p *plan.Problem) { p.Batches[1].MostLate = -1 }},
	{"batches[1].due", func(p *plan.Problem) { p.Batches[1].MostLate = math.MaxInt }},
	{"batches[1].due", func(p *plan.Problem) { p.Batches[1].Earliest = -1 }},
	{"batches[0].supplies[0]", func(p *plan.Problem) { p.Batches[0].Supplies[0] = 2 }},
	{"batches[1].offers[0]", func(p *plan.Problem) { p.Batches[1].Offers = []int{-1} }},
	{"uses[0].most", func(p *plan.Problem) { p.Uses[0].Most = nil }},
	{"uses[0].most[1]", func(p *plan.Problem) { p.Uses[0].Most[1] = nan }},
	{"uses[0].materials[0]", func(p *plan.Problem) { p.Uses[0].Materials[0] = 1 }},
}

// Every field that a figure can be wrong in is named in what is said of it.
func TestBadProblems(t *testing.T) {
	engine := engines.New()
	if _, err := plan.Make(context.Background(), engine, engine, sound()); err != nil {
		t.Fatalf("the sound one: %v", err)
	}
	for _, c := range badProblems {
		p := sound()
		c.spoil(p)
		_, err := plan.Make(context.Background(), engine, engine, p)
		var bad formulation.FieldErrors
		if !errors.As(err, &bad) {
			t.Errorf("%s: %v", c.field, err)
			continue
		}
		named := false
		for _, e := range bad {
			named = named || e.Field == c.field && strings.TrimSpace(e.Problem) != ""
		}
		if !named {
			t.Errorf("%s is not named: %v", c.field, err)
		}
	}
}
