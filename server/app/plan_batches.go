package app

import (
	"fmt"
	"math"
	"slices"
	"time"

	"millbase/inventory"
	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
	"millbase/solver/plan"
)

// earlyWeeks is how long before it has to be begun a batch may be made: lots that
// expire can be used up by then.
const earlyWeeks = 1

// lateWeeks is how late a batch may be made; beyond it counts as not made.
const lateWeeks = 4

// weeks are so many weeks in periods, rounded up.
func (j *jointPlanning) weeks(n int) int { return (7*n + j.periodDays - 1) / j.periodDays }

// addBatches adds the planned batches that have to be begun within the plan, and
// what they and the reserved ones bring.
func (j *jointPlanning) addBatches() error {
	asked := map[string]bool{}
	for _, id := range j.req.Book.Batches {
		asked[id] = true
	}
	for i := range j.supply.batches {
		b := &j.supply.batches[i]
		name := "batches/" + b.ID
		if j.excluded[name] || len(asked) > 0 && !asked[b.ID] {
			continue
		}
		title := fmt.Sprintf("%s, %s", j.supply.title(b.Material), b.ID)
		if b.State == batch.Reserved {
			j.addReserved(b, name, title)
			continue
		}
		of := planBatch{name: name, title: title, of: b, beginBy: j.supply.workingDays(b.DueDate, -j.supply.plant.QualityReleaseDays)}
		f, known := j.supply.formulas.of(*b)
		if known {
			of.beginBy = j.supply.startBy(f, b.Quantity, b.DueDate)
			of.formula = &f
		}
		if j.period(of.beginBy) >= len(j.p.Periods) {
			continue // after the plan
		}
		limits, why := j.limitsOf(&of)
		if why != "" {
			j.leave(name, title, "%s", why)
			continue
		}
		if err := j.addAside(b, name); err != nil {
			return err
		}
		asked := plan.Batch{ID: name, Title: title, Kg: b.Quantity.Kilograms() * of.charge, Due: j.period(of.beginBy), Limits: limits}
		asked.Earliest = max(0, asked.Due-j.weeks(earlyWeeks))
		asked.MostLate = min(len(j.p.Periods)-1-asked.Due, j.weeks(lateWeeks))
		j.addBatch(asked, of, b.Quantity.Kilograms())
	}
	return nil
}

// addBatch adds a batch and, where something is made from it, what it brings.
func (j *jointPlanning) addBatch(asked plan.Batch, of planBatch, finished float64) {
	if asked.Most < asked.Kg {
		asked.Most = asked.Kg
	}
	k := len(j.p.Batches)
	j.p.Batches, j.batches = append(j.p.Batches, asked), append(j.batches, of)
	m := j.supply.materials[of.of.Material]
	at, is := j.at[m.ID]
	if !is || m.Class == inventory.Ink && !j.isIngredient(m.ID) {
		return
	}
	j.addSupply(plan.Supply{ID: of.name + madeMark, Material: at, Properties: j.madeOf(m, of.formula), Kg: finished, From: j.making(of),
		Until: len(j.p.Periods), Batch: k}, planSupply{name: of.name, title: of.title})
}

// addReserved makes a supply of what a batch brings whose lots are set aside.
func (j *jointPlanning) addReserved(b *batch.Batch, name, title string) {
	m := j.supply.materials[b.Material]
	at, is := j.at[m.ID]
	from := j.periodFrom(b.DueDate)
	if !is || m.Class == inventory.Ink && !j.isIngredient(m.ID) || from >= len(j.p.Periods) {
		return
	}
	var f *formula.Formula
	if known, ok := j.supply.formulas.of(*b); ok {
		f = &known
	}
	j.addSupply(plan.Supply{ID: name, Material: at, Properties: j.madeOf(m, f), Kg: b.Quantity.Kilograms(), From: from,
		Until: j.untilOf(m.ID, b.DueDate), Batch: -1}, planSupply{name: name, title: title})
}

// isIngredient reports whether something is made from the material.
func (j *jointPlanning) isIngredient(material string) bool {
	for _, f := range j.supply.formulas.released {
		if slices.ContainsFunc(f.Ingredients, func(in formula.Ingredient) bool { return in.Material == material }) {
			return true
		}
	}
	return false
}

// making is how many periods pass between beginning a batch and using what it
// makes.
func (j *jointPlanning) making(of planBatch) int {
	if of.formula == nil {
		return 0
	}
	far := j.today.AddDate(1, 0, 0)
	days := int(far.Sub(j.supply.startBy(*of.formula, max(of.of.Quantity, mass.Kilogram), far)) / (24 * time.Hour))
	return (2*days + j.periodDays) / (2 * j.periodDays)
}

// madeOf is what is known of a material that is made here: what lots of it showed,
// and where there was none yet, what its ingredients come to.
func (j *jointPlanning) madeOf(m BookMaterial, f *formula.Formula) property.Set {
	known := j.supply.typical(m)
	if f == nil {
		return known
	}
	sets, kg := make([]property.Set, len(f.Ingredients)), make([]float64, len(f.Ingredients))
	for i, in := range f.Ingredients {
		sets[i], kg[i] = j.supply.typical(j.supply.materials[in.Material]), float64(in.PartsPerMillion)
	}
	return batch.Properties(j.room.catalogue, sets, kg).Merge(known)
}

// limitsOf is what a batch has to meet: the specification, or its formula as limits
// on shares. why is set when there is neither.
func (j *jointPlanning) limitsOf(of *planBatch) (limits []formulation.Limit, why string) {
	of.charge = 1
	b, f := of.of, of.formula
	spec := b.Specification
	if b.Formula != "" {
		if f == nil {
			return nil, fmt.Sprintf("formulas/%s is not in the book", revisionID(b.Formula, b.FormulaRevision))
		}
		spec = f.Specification
		// Spot colours are matched to base inks as they are.
		if j.req.Book.KeepFormulas || j.supply.materials[b.Material].Class == inventory.BaseInk {
			spec = ""
		}
	}
	if s, ok := j.specs[spec]; ok && !s.Archived {
		return s.Limits, ""
	}
	if f == nil {
		return nil, fmt.Sprintf("there is no formula and no specifications/%s for it", b.Specification)
	}
	of.fixed, of.charge = true, float64(formula.Whole)/float64(f.Yield())
	return fixed(f), ""
}

// fixed is a formula as limits on the shares of its materials.
func fixed(f *formula.Formula) []formulation.Limit {
	share := map[string]float64{}
	for _, in := range f.Ingredients {
		share[in.Material] += float64(in.PartsPerMillion) / float64(formula.Whole)
	}
	var out []formulation.Limit
	for _, m := range sortedKeys(share) {
		v := share[m]
		out = append(out, formulation.Limit{ID: "share-" + m, Title: "share of " + m, Kind: formulation.Share, Materials: []string{m}, Lower: &v, Upper: &v})
	}
	return out
}

// addMade adds, for every base ink or varnish that is made here, a batch of any
// size: the plan says how much of it is lacking.
func (j *jointPlanning) addMade() error {
	total := 0.0
	for _, b := range j.p.Batches {
		total += b.Most
	}
	for _, id := range sortedKeys(j.supply.formulas.byMaterial) {
		f, m := j.supply.formulas.byMaterial[id], j.supply.materials[id]
		if m.Archived || m.Class == inventory.WorkOff || m.Class == inventory.Packaging || !j.isIngredient(id) || j.excluded["materials/"+id] || total == 0 {
			continue
		}
		made := &batch.Batch{Formula: f.ID, FormulaRevision: f.Revision, Material: id, State: batch.Planned}
		of := planBatch{name: "new batch of " + id, title: m.Title, of: made, formula: &f, fixed: true, toPlan: true,
			charge: float64(formula.Whole) / float64(f.Yield())}
		last := len(j.p.Periods) - 1
		j.addBatch(plan.Batch{ID: of.name, Title: m.Title, Most: total * of.charge, Due: last, Limits: fixed(&f)}, of, total)
	}
	return nil
}

// penalties are what being late, unmade, in store or below the safety stock costs.
func (j *jointPlanning) penalties() error {
	usual := dearest(j.p)
	q := j.req.Book
	late, unmade := usual*lateTimes, usual*unmadeTimes
	var err error
	if q.Late != nil {
		if late, err = j.perKgIn("book.late_per_kg", q.Late); err != nil {
			return err
		}
	}
	if q.Unmade != nil {
		if unmade, err = j.perKgIn("book.unmade_per_kg", q.Unmade); err != nil {
			return err
		}
	}
	storage, err := j.perKgIn("book.storage_cost_per_kg", q.Storage)
	if err != nil {
		return err
	}
	below, err := j.perKgIn("book.below_safety_per_kg", q.BelowSafety)
	if err != nil {
		return err
	}
	for i := range j.p.Batches {
		if b := &j.p.Batches[i]; b.Kg > 0 {
			b.LatePerKg, b.UnmadePerKg = late, unmade
		}
	}
	for i := range j.p.Materials {
		m := &j.p.Materials[i]
		m.StorageCost = storage
		if m.SafetyStock = j.supply.materials[m.ID].SafetyStock.Kilograms(); m.SafetyStock > 0 {
			// Where nobody offers it nothing can be done about it.
			if m.SafetyPenalty = below; q.BelowSafety == nil {
				if m.SafetyPenalty = j.cheapest(i); math.IsInf(m.SafetyPenalty, 1) {
					m.SafetyPenalty = 0
				}
			}
		}
	}
	j.say("A kilogram of ink costs %.2f %s for each period that it is late, up to %d weeks, and %.2f %s when it is not made.", late, j.supply.plant.Currency,
		lateWeeks, unmade, j.supply.plant.Currency)
	return nil
}

// cheapest is the lowest price that a material can be bought at, at the best break;
// +Inf where nobody offers it.
func (j *jointPlanning) cheapest(material int) float64 {
	low := math.Inf(1)
	for _, o := range j.p.Offers {
		if o.Material != material {
			continue
		}
		for _, price := range o.Price {
			for _, b := range append([]plan.Break{{Factor: 1}}, o.Breaks...) {
				if price*b.Factor < low {
					low = price * b.Factor
				}
			}
		}
	}
	return low
}
