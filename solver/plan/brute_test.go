package plan_test

import (
	"context"
	"math"
	"testing"

	"pgregory.net/rapid"

	"millbase/inventory/property"
	"millbase/solver/engines"
	"millbase/solver/plan"
)

// tiny is one material, bought in packs, for a batch in every period.
type tiny struct {
	lot                                       float64
	need, price                               []float64
	pack, minimum, charge, storage, unmade    float64
	breakFrom, breakFactor, salvage, lotPrice float64
	lead                                      int
}

func (p *tiny) problem() *plan.Problem {
	out := &plan.Problem{Catalogue: property.BuiltIn(), Currency: "EUR", Gap: 0.002,
		Materials: []plan.Material{{ID: "varnish", StorageCost: p.storage, StorageMost: -1}},
		Supplies:  []plan.Supply{{ID: "lot", Kg: p.lot, CostPerKg: p.lotPrice, Until: 99, Batch: -1}}}
	for t, kg := range p.need {
		out.Periods = append(out.Periods, plan.Period{Name: string(rune('a' + t)), Budget: -1})
		out.Batches = append(out.Batches, plan.Batch{ID: string(rune('a' + t)), Kg: kg, Earliest: t, Due: t, UnmadePerKg: p.unmade})
	}
	out.Offers = []plan.Offer{{ID: "offer", Price: p.price, Pack: p.pack, MinimumOrder: p.minimum, PerOrder: p.charge, MostPerPeriod: -1, Lead: p.lead,
		SalvagePerKg: p.salvage, Breaks: []plan.Break{{Factor: 1}, {From: p.breakFrom, Factor: p.breakFactor}}}}
	return out
}

// cost is that of the best plan with the orders as they are. Every kilogram is worth
// the same to every batch, so each takes what it can get.
func (p *tiny) cost(packs []int) float64 {
	cost, lot, bought := 0.0, p.lot, 0.0
	for t, need := range p.need {
		if order := float64(packs[t]) * p.pack; order > 0 {
			price := p.price[t]
			if order >= p.breakFrom {
				price *= p.breakFactor
			}
			cost += order*price + p.charge
		}
		if t >= p.lead {
			bought += float64(packs[t-p.lead]) * p.pack
		}
		fromLot := math.Min(lot, need)
		fromOrders := math.Min(bought, need-fromLot)
		lot, bought = lot-fromLot, bought-fromOrders
		cost += fromLot*p.lotPrice + p.unmade*(need-fromLot-fromOrders) + p.storage*(lot+bought)
	}
	return cost - p.salvage*bought
}

// best tries every number of packs in every period.
func (p *tiny) best() float64 {
	best := math.Inf(1)
	packs := make([]int, len(p.need))
	total := 0.0
	for _, kg := range p.need {
		total += kg
	}
	most := int(math.Ceil(math.Max(total, math.Max(p.minimum, p.breakFrom))/p.pack)) + 1
	var walk func(t int)
	walk = func(t int) {
		if t == len(packs) {
			best = math.Min(best, p.cost(packs))
			return
		}
		for n := range most + 1 {
			if kg := float64(n) * p.pack; n > 0 && (kg < p.minimum || t+p.lead >= len(packs)) {
				continue
			}
			packs[t] = n
			walk(t + 1)
		}
		packs[t] = 0
	}
	walk(0)
	return best
}

// Orders in packs, with minimum, charge and break, against trying them all.
func TestOrdersByBruteForce(t *testing.T) {
	engine := engines.New()
	rapid.Check(t, func(r *rapid.T) {
		figure := func(what string, from, to, unit int) float64 {
			return float64(rapid.IntRange(from, to).Draw(r, what)) / float64(unit)
		}
		p := &tiny{lot: figure("lot", 0, 60, 1), pack: figure("pack", 5, 30, 1), minimum: figure("minimum", 0, 60, 1), charge: figure("charge", 0, 30, 1),
			storage: figure("storage", 0, 20, 100), unmade: figure("unmade", 2, 40, 1), breakFrom: figure("break from", 40, 100, 1), breakFactor: figure("break", 7, 10, 10),
			lotPrice: 0, lead: rapid.IntRange(0, 1).Draw(r, "lead")}
		cheapest := math.Inf(1)
		for range rapid.IntRange(2, 3).Draw(r, "periods") {
			p.need = append(p.need, figure("need", 5, 50, 1))
			p.price = append(p.price, figure("price", 10, 50, 10))
			cheapest = math.Min(cheapest, p.price[len(p.price)-1]*p.breakFactor)
		}
		p.salvage = cheapest * figure("salvage", 0, 9, 10)
		want := p.best()
		got, err := plan.Make(context.Background(), engine, engine, p.problem())
		if err != nil {
			r.Fatal(err)
		}
		slack := 1e-6 * (1 + math.Abs(want))
		if got.Cost < want-slack || got.Bound > want+slack || got.Cost-want > got.Gap*math.Abs(got.Cost)+slack {
			r.Fatalf("cost %g, bound %g, gap %g; the best of all is %g", got.Cost, got.Bound, got.Gap, want)
		}
		if got.Gap > 0.05 {
			r.Errorf("a gap of %g where everything could be tried", got.Gap)
		}
	})
}
