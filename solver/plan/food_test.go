package plan_test

import (
	"context"
	"math"
	"testing"

	"millbase/inventory/property"
	"millbase/solver/engines"
	"millbase/solver/formulation"
	"millbase/solver/plan"
)

// Food manufacture 1 of H.P. Williams, Model Building in Mathematical Programming
// (5th edition, sec. 12.1): five oils, bought over six months, stored, refined and
// blended. Prices in pounds per ton; the product sells at 150; a ton in store costs 5
// a month; 500 t of each oil are in store before and after; at most 1,000 t of each
// can be stored; 200 t of vegetable and 250 t of other oil can be refined a month;
// the hardness of the product is from 3 to 6.
var (
	foodPrices = [][]float64{ // per oil, by month from January on
		{110, 130, 110, 120, 100, 90},
		{120, 130, 140, 110, 120, 100},
		{130, 110, 130, 120, 150, 140},
		{110, 90, 100, 120, 110, 80},
		{115, 115, 95, 125, 105, 135},
	}
	foodHardness = []float64{8.8, 6.1, 2.0, 4.2, 5.0}
	foodOils     = []string{"VEG 1", "VEG 2", "OIL 1", "OIL 2", "OIL 3"}
)

func to(v float64) *float64 { return &v }

func food(t testing.TB) *plan.Problem {
	catalogue, err := property.NewCatalogue(property.Definition{Name: "hardness_units", Title: "Hardness", Unit: "units", Index: property.Linear, Basis: property.BasisMass, Max: 100})
	if err != nil {
		t.Fatal(err)
	}
	p := &plan.Problem{Catalogue: catalogue, Currency: "GBP"}
	limits := []formulation.Limit{{ID: "hardness", Kind: formulation.Blended, Property: "hardness_units", Lower: to(3), Upper: to(6)}}
	for i, month := range []string{"January", "February", "March", "April", "May", "June"} {
		p.Periods = append(p.Periods, plan.Period{Name: month, Budget: -1})
		p.Batches = append(p.Batches, plan.Batch{ID: month, Most: 450, Worth: 150, Earliest: i, Due: i, Limits: limits})
	}
	same := func(v float64) []float64 { return []float64{v, v, v, v, v, v} }
	p.Uses = []plan.Use{{ID: "vegetable", Materials: []int{0, 1}, Most: same(200)}, {ID: "other", Materials: []int{2, 3, 4}, Most: same(250)}}
	for i, oil := range foodOils {
		set := property.Set{"hardness_units": foodHardness[i]}
		p.Materials = append(p.Materials, plan.Material{ID: oil, StorageCost: 5, StorageMost: 1000, ClosingLeast: 500})
		p.Supplies = append(p.Supplies, plan.Supply{ID: "opening " + oil, Material: i, Properties: set, Kg: 500, Until: 6, Batch: -1})
		p.Offers = append(p.Offers, plan.Offer{ID: oil, Material: i, Properties: set, Price: foodPrices[i], MostPerPeriod: -1})
	}
	return p
}

// The published profit is 107,843 pounds.
func TestFoodManufacture(t *testing.T) {
	engine := engines.New()
	got, err := plan.Make(context.Background(), engine, engine, food(t))
	if err != nil {
		t.Fatal(err)
	}
	if profit := -got.Cost; math.Abs(profit-107842.5926) > 1e-3 || got.Outcome != plan.Optimal || got.Gap > 1e-9 {
		t.Errorf("a profit of %.4f (%s, gap %g), published: 107,843", profit, got.Outcome, got.Gap)
	}
}
