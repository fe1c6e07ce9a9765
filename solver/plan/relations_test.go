package plan_test

import (
	"context"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"millbase/solver/engines"
	"millbase/solver/plan"
)

// unstored is a drawn problem in which having less is never cheaper: nothing is
// charged for what lies there, or for what is left.
func unstored(r *rapid.T, whole bool) *plan.Problem {
	p := drawn(r, whole)
	for i := range p.Materials {
		p.Materials[i].StorageMost, p.Materials[i].StorageCost = -1, 0
	}
	for i := range p.Supplies {
		p.Supplies[i].ScrapCost = 0
	}
	for i := range p.Offers {
		p.Offers[i].SalvagePerKg = 0
	}
	return p
}

// costs is the cost of a plan; +Inf where there is none.
func costs(r *rapid.T, p *plan.Problem) float64 {
	if got := made(r, p); got != nil {
		return got.Cost
	}
	return math.Inf(1)
}

func same(r *rapid.T, what string, got, want float64) {
	if !(math.Abs(got-want) <= 1e-6*(10+math.Abs(want))) && got != want {
		r.Fatalf("%s: %g, want %g", what, got, want)
	}
}

func TestLessIsNeverCheaper(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		p := unstored(r, false)
		before := costs(r, p)
		if len(p.Supplies) > 0 {
			p.Supplies[rapid.IntRange(0, len(p.Supplies)-1).Draw(r, "lot less")].Kg = 0
			if after := costs(r, p); after < before-1e-6*(1+math.Abs(before)) {
				r.Fatalf("%g with a lot less, %g with it", after, before)
			}
		}
		before = costs(r, p)
		if len(p.Offers) > 0 {
			o := &p.Offers[rapid.IntRange(0, len(p.Offers)-1).Draw(r, "cheaper")]
			o.Price = slices.Clone(o.Price)
			for t := range o.Price {
				o.Price[t] /= 2
			}
			if after := costs(r, p); after > before+1e-6*(1+math.Abs(before)) {
				r.Fatalf("%g at half the price, %g at the whole", after, before)
			}
		}
	})
}

// The unit of money and that of mass change nothing else.
func TestUnitsOfMoneyAndMass(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		p := drawn(r, false)
		before := costs(r, p)
		money, kg := rapid.SampledFrom([]float64{0.25, 1, 8}).Draw(r, "money"), rapid.SampledFrom([]float64{0.5, 1, 16}).Draw(r, "mass")
		per := money / kg
		for i := range p.Periods {
			p.Periods[i].Budget *= money
		}
		for i := range p.Materials {
			m := &p.Materials[i]
			m.StorageCost, m.SafetyPenalty = m.StorageCost*per, m.SafetyPenalty*per
			m.StorageMost, m.ClosingLeast, m.SafetyStock = m.StorageMost*kg, m.ClosingLeast*kg, m.SafetyStock*kg
		}
		for i := range p.Supplies {
			s := &p.Supplies[i]
			s.Kg, s.CostPerKg, s.ScrapCost = s.Kg*kg, s.CostPerKg*per, s.ScrapCost*per
		}
		for i := range p.Offers {
			o := &p.Offers[i]
			for t := range o.Price {
				o.Price[t] *= per
			}
			o.MostPerPeriod, o.SalvagePerKg = o.MostPerPeriod*kg, o.SalvagePerKg*per
		}
		for i := range p.Batches {
			b := &p.Batches[i]
			b.Kg, b.Most, b.Worth, b.LatePerKg, b.UnmadePerKg = b.Kg*kg, b.Most*kg, b.Worth*per, b.LatePerKg*per, b.UnmadePerKg*per
		}
		for i := range p.Uses {
			for t := range p.Uses[i].Most {
				p.Uses[i].Most[t] *= kg
			}
		}
		same(r, "in other units", costs(r, p), before*money)
	})
}

// The order in which things are named, and a lot in two halves, change nothing.
func TestOrderAndHalvesChangeNothing(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		p := drawn(r, false)
		before := costs(r, p)
		back := func(n int, list []int) []int {
			if list == nil {
				return nil
			}
			out := []int{}
			for _, i := range list {
				out = append(out, n-1-i)
			}
			return out
		}
		slices.Reverse(p.Supplies)
		slices.Reverse(p.Offers)
		slices.Reverse(p.Batches)
		for i := range p.Supplies {
			if s := &p.Supplies[i]; s.Batch >= 0 {
				s.Batch = len(p.Batches) - 1 - s.Batch
			}
		}
		for i := range p.Batches {
			b := &p.Batches[i]
			b.Supplies, b.Offers = back(len(p.Supplies), b.Supplies), back(len(p.Offers), b.Offers)
		}
		same(r, "the other way round", costs(r, p), before)
		for i := range len(p.Supplies) {
			s := &p.Supplies[i]
			s.Kg /= 2
			half := *s
			half.ID += " half"
			p.Supplies = append(p.Supplies, half)
			for k := range p.Batches {
				if b := &p.Batches[k]; slices.Contains(b.Supplies, i) {
					b.Supplies = append(b.Supplies, len(p.Supplies)-1)
				}
			}
		}
		same(r, "in halves", costs(r, p), before)
	})
}

// A list that is a part of another's memory is a list of its own.
func TestPartOfAList(t *testing.T) {
	p := sound()
	p.Supplies[1] = p.Supplies[0]
	p.Supplies[1].ID, p.Supplies[1].Kg = "lot 2", 20
	all := []int{0, 1}
	p.Batches[1].Kg = 20
	p.Batches[0].Supplies, p.Batches[1].Supplies = all, all[:1]
	p.Batches[0].Offers, p.Batches[1].Offers = []int{}, []int{}
	got := made(t, p)
	if got.Batches[0].Unmade > 0 || got.Batches[1].Unmade > 0 {
		t.Errorf("%+v", got.Batches)
	}
}

// Plans in turn can be carried out, whatever is drawn; what must be or may be in
// store plays no part in them.
func TestInTurnCanBeCarriedOut(t *testing.T) {
	engine, ctx := engines.New(), context.Background()
	rapid.Check(t, func(r *rapid.T) {
		p := drawn(r, true)
		for i := range p.Materials {
			p.Materials[i].StorageMost, p.Materials[i].ClosingLeast = -1, 0
		}
		got, err := plan.InTurn(ctx, engine, engine, p)
		if err != nil {
			r.Fatal(err)
		}
		if wrong := plan.Check(p, got); len(wrong) > 0 {
			r.Fatal(wrong[0])
		}
	})
}

// Order quantity with price breaks: 5,000 a year, 49 an order, holding 20 % of the
// price, 5.00, 4.80 from 1,000 and 4.75 from 2,000; orders of 1,000 cost 24,725 a
// year, the least. (The figures are those of the usual textbook example, from memory,
// recomputed.) Here the year is 25 periods with 200 used at the beginning of each,
// so that half a period's use lies less in store: 100 x 0.96 less.
func TestOrderQuantityWithPriceBreaks(t *testing.T) {
	p := sound()
	p.Uses, p.Supplies, p.Periods, p.Batches = nil, nil, nil, nil
	p.Gap = 1e-4
	p.Materials = []plan.Material{{ID: "m0", StorageCost: 0.2 * 4.80 / 25, StorageMost: -1}}
	offer := plan.Offer{ID: "offer", Properties: sound().Offers[0].Properties, Breaks: []plan.Break{{Factor: 1}, {From: 1000, Factor: 4.80 / 5}, {From: 2000, Factor: 4.75 / 5}}, PerOrder: 49, MostPerPeriod: -1}
	for i := range 25 {
		p.Periods = append(p.Periods, plan.Period{Name: "fortnight", Budget: -1})
		p.Batches = append(p.Batches, plan.Batch{ID: "b", Kg: 200, Earliest: i, Due: i, UnmadePerKg: 50})
		offer.Price = append(offer.Price, 5)
	}
	p.Offers = []plan.Offer{offer}
	got := made(t, p)
	want := 24725 - 100*0.96
	if math.Abs(got.Cost-want) > 2e-4*want || got.Bound > want+1e-3 {
		t.Errorf("cost %g, bound %g, want %g", got.Cost, got.Bound, want)
	}
	for _, o := range got.Orders {
		if math.Abs(o.Kg-1000) > 1e-6 {
			t.Errorf("an order of %g in period %d", o.Kg, o.Period)
		}
	}
}
