package plan

import (
	"errors"
	"fmt"
	"math"

	"millbase/solver/formulation"
)

const (
	maxPeriods = 120
	maxBatches = 5000
	maxSources = 20_000 // supplies, and offers
	largest    = 1e12   // of any figure
	farthest   = 10_000 // periods from the first one
)

// Validate returns FieldErrors that name what is wrong, or nil.
func (p *Problem) Validate() error {
	v := &validator{p: p}
	v.size("periods", len(p.Periods), 1, maxPeriods)
	v.size("materials", len(p.Materials), 1, maxSources)
	v.size("supplies", len(p.Supplies), 0, maxSources)
	v.size("offers", len(p.Offers), 0, maxSources)
	v.size("batches", len(p.Batches), 1, maxBatches)
	if p.Catalogue == nil {
		v.add("catalogue", "give the catalogue of properties")
	}
	if !(p.Gap >= 0 && p.Gap < 1) {
		v.add("gap", "give a part of the cost from 0 to below 1")
	}
	if len(v.errs) > 0 {
		return v.errs
	}
	for t := range p.Periods {
		v.most(fmt.Sprintf("periods[%d].budget", t), p.Periods[t].Budget)
	}
	v.materials()
	v.supplies()
	v.offers()
	v.batches()
	v.uses()
	v.ids()
	if len(v.errs) == 0 {
		v.circles()
	}
	if len(v.errs) > 0 {
		return v.errs
	}
	return nil
}

type validator struct {
	p    *Problem
	errs formulation.FieldErrors
}

func (v *validator) add(field, problem string, args ...any) {
	if len(v.errs) < 100 {
		v.errs = append(v.errs, formulation.FieldError{Field: field, Problem: fmt.Sprintf(problem, args...)})
	}
}

func (v *validator) size(field string, n, least, most int) {
	if n < least || n > most {
		v.add(field, "give from %d to %d of them, not %d", least, most, n)
	}
}

// amount is a figure from 0 on.
func (v *validator) amount(field string, x float64) {
	if !(x >= 0 && x <= largest) {
		v.add(field, "give a figure from 0 to %g", largest)
	}
}

// money is any figure that is not out of all proportion.
func (v *validator) money(field string, x float64) {
	if !(math.Abs(x) <= largest) {
		v.add(field, "give a figure from %g to %g", -largest, largest)
	}
}

// most is an upper limit, below 0 for none.
func (v *validator) most(field string, x float64) {
	if math.IsNaN(x) || x > largest {
		v.add(field, "give a figure up to %g, or one below 0 for no limit", largest)
	}
}

func (v *validator) index(field string, i, n int) {
	if i < 0 || i >= n {
		v.add(field, "there is no number %d, there are %d", i, n)
	}
}

func (v *validator) materials() {
	for i := range v.p.Materials {
		m, at := &v.p.Materials[i], fmt.Sprintf("materials[%d].", i)
		v.amount(at+"storage_cost", m.StorageCost)
		v.most(at+"storage_most", m.StorageMost)
		v.amount(at+"closing_least", m.ClosingLeast)
		if m.StorageMost >= 0 && m.ClosingLeast > m.StorageMost {
			v.add(at+"closing_least", "%g kg are to be in store at the end, at most %g may be: lower the one or raise the other", m.ClosingLeast, m.StorageMost)
		}
		v.amount(at+"safety_stock", m.SafetyStock)
		v.amount(at+"safety_penalty", m.SafetyPenalty)
	}
}

func (v *validator) supplies() {
	for i := range v.p.Supplies {
		s, at := &v.p.Supplies[i], fmt.Sprintf("supplies[%d].", i)
		v.index(at+"material", s.Material, len(v.p.Materials))
		v.amount(at+"kg", s.Kg)
		v.money(at+"cost_per_kg", s.CostPerKg)
		v.amount(at+"scrap_cost", s.ScrapCost)
		if s.Batch >= 0 {
			v.index(at+"batch", s.Batch, len(v.p.Batches))
			if s.Batch < len(v.p.Batches) && v.p.Batches[s.Batch].whole() <= 0 {
				v.add(at+"batch", "a batch of no quantity brings no supply")
			}
		}
		if s.From > farthest {
			v.add(at+"from", "give a period up to %d", farthest)
		}
		if s.Batch >= 0 && s.From < 0 {
			v.add(at+"from", "what a batch brings can't be used before it is made")
		}
	}
}

func (v *validator) offers() {
	for i := range v.p.Offers {
		o, at := &v.p.Offers[i], fmt.Sprintf("offers[%d].", i)
		v.index(at+"material", o.Material, len(v.p.Materials))
		if len(o.Price) != len(v.p.Periods) {
			v.add(at+"price", "give one price for each of the %d periods", len(v.p.Periods))
			continue
		}
		cheapest := math.Inf(1)
		for t, price := range o.Price {
			if !math.IsNaN(price) {
				v.amount(fmt.Sprintf("%sprice[%d]", at, t), price)
				cheapest = math.Min(cheapest, price)
			}
		}
		last := -1.0
		for k, b := range o.Breaks {
			if !(b.From > last && b.From <= largest) {
				v.add(fmt.Sprintf("%sbreaks[%d].from", at, k), "breaks begin at rising quantities")
			}
			if !(b.Factor > 0 && b.Factor <= 10) {
				v.add(fmt.Sprintf("%sbreaks[%d].factor", at, k), "give a part of the price above 0, up to 10")
			}
			cheapest, last = math.Min(cheapest, cheapest*b.Factor), b.From
		}
		v.amount(at+"minimum_order", o.MinimumOrder)
		v.amount(at+"pack", o.Pack)
		v.amount(at+"per_order", o.PerOrder)
		v.most(at+"most_per_period", o.MostPerPeriod)
		if o.Lead < 0 || o.Lead > farthest {
			v.add(at+"lead", "give a number of periods from 0 to %d", farthest)
		}
		if o.ShelfLife < 0 || o.ShelfLife > farthest {
			v.add(at+"shelf_life", "give a number of periods from 0 to %d, 0 for no end", farthest)
		}
		if !(o.SalvagePerKg >= 0 && o.SalvagePerKg <= cheapest) {
			v.add(at+"salvage_per_kg", "what is left counts from nothing to the lowest price")
		}
	}
}

func (v *validator) batches() {
	for i := range v.p.Batches {
		b, at := &v.p.Batches[i], fmt.Sprintf("batches[%d].", i)
		v.amount(at+"kg", b.Kg)
		v.amount(at+"most", b.Most)
		v.money(at+"worth", b.Worth)
		v.amount(at+"late_per_kg", b.LatePerKg)
		v.amount(at+"unmade_per_kg", b.UnmadePerKg)
		if b.Earliest < 0 || b.Due < b.Earliest || b.Due >= len(v.p.Periods) || b.MostLate < 0 || b.MostLate > farthest {
			v.add(at+"due", "periods go from earliest on, %d, to due, below %d; most late is 0 or more", b.Earliest, len(v.p.Periods))
		}
		for k, s := range b.Supplies {
			v.index(fmt.Sprintf("%ssupplies[%d]", at, k), s, len(v.p.Supplies))
		}
		for k, o := range b.Offers {
			v.index(fmt.Sprintf("%soffers[%d]", at, k), o, len(v.p.Offers))
		}
	}
}

func (v *validator) uses() {
	for i := range v.p.Uses {
		u, at := &v.p.Uses[i], fmt.Sprintf("uses[%d].", i)
		if len(u.Most) != len(v.p.Periods) {
			v.add(at+"most", "give one figure for each of the %d periods", len(v.p.Periods))
		}
		for t, x := range u.Most {
			v.most(fmt.Sprintf("%smost[%d]", at, t), x)
		}
		for k, m := range u.Materials {
			v.index(fmt.Sprintf("%smaterials[%d]", at, k), m, len(v.p.Materials))
		}
	}
}

// inBatch names the batch whose limits can't be used.
func inBatch(err error, i int) error {
	var faults formulation.FieldErrors
	if !errors.As(err, &faults) {
		return err
	}
	out := make(formulation.FieldErrors, len(faults))
	for k, f := range faults {
		out[k] = formulation.FieldError{Field: fmt.Sprintf("batches[%d].%s", i, f.Field), Problem: f.Problem}
	}
	return out
}
