package plan_test

import (
	"fmt"
	"math"

	"pgregory.net/rapid"

	"millbase/inventory/property"
	"millbase/solver/formulation"
	"millbase/solver/plan"
)

// hard is a catalogue of one property.
func hard() formulation.Catalogue {
	c, err := property.NewCatalogue(property.Definition{Name: "hardness_units", Title: "Hardness", Unit: "units", Index: property.Linear, Basis: property.BasisMass, Max: 100})
	if err != nil {
		panic(err)
	}
	return c
}

// drawer draws problems of a few things with every feature: small enough to be
// solved by anyone, figures coarse enough that lots and batches are alike now and
// then.
type drawer struct {
	*rapid.T
	p     *plan.Problem
	whole bool // orders in packs, with minima, breaks and charges
}

func drawn(t *rapid.T, whole bool) *plan.Problem {
	d := &drawer{T: t, whole: whole, p: &plan.Problem{Catalogue: hard(), Currency: "EUR"}}
	for i := range d.upTo("periods", 1, 4) {
		d.p.Periods = append(d.p.Periods, plan.Period{Name: fmt.Sprintf("week %d", i), Budget: d.seldom("budget", -1, 5, 40, 150)})
	}
	for i := range d.upTo("materials", 1, 3) {
		m := plan.Material{ID: fmt.Sprintf("m%d", i), StorageCost: d.one("storage cost", 0, 0.25, 1), StorageMost: d.seldom("storage most", -1, 0, 20, 45),
			ClosingLeast: d.seldom("closing", 0, 5, 12), SafetyStock: d.seldom("safety", 0, 8, 15), SafetyPenalty: d.one("safety penalty", 0, 0.5, 3)}
		if m.StorageMost >= 0 {
			m.ClosingLeast = min(m.ClosingLeast, m.StorageMost)
		}
		d.p.Materials = append(d.p.Materials, m)
	}
	batches := d.upTo("batches", 1, 4)
	for i := range d.upTo("supplies", 0, 5) {
		d.supply(i)
	}
	for i := range d.upTo("offers", 0, 3) {
		d.offer(i)
	}
	for i := range batches {
		d.batch(i)
	}
	for i := range d.p.Supplies {
		d.broughtBy(i)
	}
	if d.upTo("uses", 0, 3) == 0 {
		u := plan.Use{ID: "mill", Materials: d.subset("use of", len(d.p.Materials))}
		for range d.p.Periods {
			u.Most = append(u.Most, d.one("use most", -1, 0, 10, 25))
		}
		d.p.Uses = append(d.p.Uses, u)
	}
	return d.p
}

func (d *drawer) upTo(what string, from, to int) int {
	return rapid.IntRange(from, to).Draw(d.T, what)
}

func (d *drawer) one(what string, from ...float64) float64 {
	return rapid.SampledFrom(from).Draw(d.T, what)
}

// seldom is the first value but for one time in five.
func (d *drawer) seldom(what string, usual float64, other ...float64) float64 {
	if d.upTo(what+"?", 0, 4) > 0 {
		return usual
	}
	return d.one(what, other...)
}

// subset is some of n numbers, rising; it may be empty, and is never nil.
func (d *drawer) subset(what string, n int) []int {
	out := []int{}
	for i := range n {
		if rapid.Bool().Draw(d.T, what) {
			out = append(out, i)
		}
	}
	return out
}

func (d *drawer) properties() property.Set {
	set := property.Set{"hardness_units": d.one("hardness", 0, 2, 5, 8)}
	if d.upTo("half?", 0, 4) == 0 {
		set[property.RetainedFraction] = 0.5
	}
	return set
}

func (d *drawer) supply(i int) {
	d.p.Supplies = append(d.p.Supplies, plan.Supply{ID: fmt.Sprintf("lot%d", i), Material: d.upTo("material", 0, len(d.p.Materials)-1), Properties: d.properties(),
		Kg: d.one("kg", 0, 10, 20, 35), CostPerKg: d.one("cost", 0, 1, 2), From: d.upTo("from", -1, len(d.p.Periods)), Until: len(d.p.Periods) - d.upTo("until", -1, len(d.p.Periods)),
		ScrapCost: d.seldom("scrap", 0, 0.5, 2), Batch: -1})
}

// broughtBy lets a batch bring a supply, to batches behind it.
func (d *drawer) broughtBy(i int) {
	if d.upTo("brought?", 0, 4) > 0 {
		return
	}
	s := &d.p.Supplies[i]
	s.Batch = d.upTo("batch", 0, len(d.p.Batches)-1)
	s.From = max(0, s.From)
	if b := &d.p.Batches[s.Batch]; b.Kg == 0 && b.Most == 0 {
		b.Kg = 10
	}
	for k := range d.p.Batches {
		if b := &d.p.Batches[k]; k <= s.Batch {
			list := []int{}
			for n := range d.p.Supplies {
				if n != i && (b.Supplies == nil || containsInt(b.Supplies, n)) {
					list = append(list, n)
				}
			}
			b.Supplies = list
		}
	}
}

func containsInt(list []int, n int) bool {
	for _, x := range list {
		if x == n {
			return true
		}
	}
	return false
}

func (d *drawer) offer(i int) {
	o := plan.Offer{ID: fmt.Sprintf("offer%d", i), Material: d.upTo("material", 0, len(d.p.Materials)-1), Properties: d.properties(),
		MostPerPeriod: d.seldom("most per period", -1, 0, 12, 30), Lead: d.upTo("lead", 0, 2), ShelfLife: d.upTo("shelf life", 0, 3)}
	least := math.Inf(1)
	for range d.p.Periods {
		price := d.one("price", 1, 2, 3, 4, math.NaN())
		if price < least {
			least = price
		}
		o.Price = append(o.Price, price)
	}
	if d.whole {
		d.thresholds(&o)
		for _, b := range o.Breaks {
			least *= math.Min(1, b.Factor)
		}
	}
	if !math.IsInf(least, 1) {
		o.SalvagePerKg = least * d.seldom("salvage", 0, 0.5, 0.9)
	}
	d.p.Offers = append(d.p.Offers, o)
}

func (d *drawer) thresholds(o *plan.Offer) {
	o.Pack = d.one("pack", 0, 0, 5, 8)
	o.MinimumOrder = d.one("minimum", 0, 0, 10, 16)
	o.PerOrder = d.one("per order", 0, 0, 6, 20)
	if d.upTo("breaks?", 0, 2) == 0 {
		o.Breaks = []plan.Break{{Factor: 1}, {From: d.one("break", 10, 20), Factor: 0.75}}
		if rapid.Bool().Draw(d.T, "another break") {
			o.Breaks = append(o.Breaks, plan.Break{From: 30, Factor: 0.5})
		}
	}
}

func (d *drawer) batch(i int) {
	last := len(d.p.Periods) - 1
	b := plan.Batch{ID: fmt.Sprintf("b%d", i), Kg: d.one("batch kg", 0, 10, 10, 25, 30), Worth: d.seldom("worth", 0, 3, 8), Due: d.upTo("due", 0, last), MostLate: d.upTo("most late", 0, 2),
		LatePerKg: d.one("late", 0, 0.5, 2), UnmadePerKg: d.one("unmade", 5, 20)}
	b.Earliest = d.upTo("earliest", 0, b.Due)
	if d.upTo("more?", 0, 4) == 0 {
		b.Most = b.Kg + d.one("more", 5, 20)
	}
	switch d.upTo("limits", 0, 4) {
	case 0, 1:
		b.Limits = []formulation.Limit{{ID: "hardness", Kind: formulation.Blended, Property: "hardness_units", Lower: to(3), Upper: to(6)}}
	case 2:
		b.Limits = []formulation.Limit{{ID: "m0", Kind: formulation.Share, Materials: []string{"m0"}, Upper: to(0.5)},
			{ID: "hardness", Kind: formulation.Blended, Property: "hardness_units", Upper: to(5)}}
	}
	switch d.upTo("lists", 0, 5) {
	case 0:
		b.Supplies = d.subset("lots of", len(d.p.Supplies))
	case 1:
		b.Offers = d.subset("offers of", len(d.p.Offers))
	case 2: // as long as the batch before, or a part of its list
		if i > 0 && len(d.p.Batches[i-1].Supplies) > 0 {
			b.Supplies = d.p.Batches[i-1].Supplies[:d.upTo("part", 0, len(d.p.Batches[i-1].Supplies))]
		}
	}
	d.p.Batches = append(d.p.Batches, b)
}
