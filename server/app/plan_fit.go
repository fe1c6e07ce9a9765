package app

import (
	"fmt"
	"slices"
	"strings"

	"millbase/costing/money"
	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
	"millbase/solver/plan"
)

func (j *jointPlanning) perKgIn(field string, m *money.PerKg) (float64, error) {
	return j.inPlantCurrency(field, (*money.Money)(m))
}

// restrict says for each batch which supplies and offers may go in: by formula, of
// its materials and the lots that it names; by specification, all that are no
// finished ink, are not made from what it makes, and have the values that its limits
// ask for.
func (j *jointPlanning) restrict() error {
	known := map[string]map[int]bool{}
	for k := range j.p.Batches {
		lacks, err := j.lacking(known, k)
		if err != nil {
			return err
		}
		b, of := &j.p.Batches[k], j.batches[k]
		b.Supplies, b.Offers = []int{}, []int{}
		may := j.mayUse(of)
		without := map[string]bool{}
		for _, m := range j.supply.without(of.of.Material) {
			without[m] = true
		}
		for i, s := range j.p.Supplies {
			m := j.p.Materials[s.Material]
			if only := j.supplies[i].only; only != "" && only != of.name {
				continue
			}
			if s.Batch != k && !without[m.ID] && may(m, j.supplies[i].lot) && !lacks[i] {
				b.Supplies = append(b.Supplies, i)
			}
		}
		for i, o := range j.p.Offers {
			m := j.p.Materials[o.Material]
			if !without[m.ID] && may(m, "") && !lacks[len(j.p.Supplies)+i] {
				b.Offers = append(b.Offers, i)
			}
		}
	}
	return nil
}

// mayUse is the choice of materials and lots of a batch.
func (j *jointPlanning) mayUse(of planBatch) func(m plan.Material, lot string) bool {
	if !of.fixed {
		return func(m plan.Material, _ string) bool { return m.Class != inventory.Ink }
	}
	named := map[string][]string{} // lots by material; an empty one: any
	for _, in := range of.formula.Ingredients {
		named[in.Material] = append(named[in.Material], in.Lot)
	}
	return func(m plan.Material, lot string) bool {
		lots, is := named[m.ID]
		return is && (slices.Contains(lots, "") || lot != "" && slices.Contains(lots, lot))
	}
}

// lacking are the supplies and the offers without a value that the limits of a batch
// ask for, by their number; offers are numbered after all supplies. The answer is
// kept by specification.
func (j *jointPlanning) lacking(known map[string]map[int]bool, k int) (map[int]bool, error) {
	if j.batches[k].fixed {
		return nil, nil
	}
	key := j.specOf(k)
	if out, seen := known[key]; seen {
		return out, nil
	}
	p := &formulation.Problem{Quantity: mass.Kilogram, Limits: j.p.Batches[k].Limits, Catalogue: j.p.Catalogue, Settings: j.p.Settings}
	add := func(id, title string, material int, values property.Set) {
		m := j.p.Materials[material]
		p.Candidates = append(p.Candidates, formulation.Candidate{ID: id, Title: title, Material: m.ID, Class: m.Class, ColourIndex: m.ColourIndex,
			Properties: values, Available: -1})
	}
	for i, s := range j.p.Supplies {
		add(s.ID, j.supplies[i].title, s.Material, s.Properties)
	}
	for _, o := range j.p.Offers {
		add(o.ID, o.Title, o.Material, o.Properties)
	}
	program, err := formulation.NewProgram(p)
	if err != nil {
		return nil, planFault(err)
	}
	out := map[int]bool{}
	for _, l := range program.LeftOut {
		out[l.Candidate] = true
		if c := &p.Candidates[l.Candidate]; c.Class != inventory.Ink {
			j.leave(strings.TrimSuffix(c.ID, madeMark), c.Title, "not for %s: %s", key, l.Why)
		}
	}
	known[key] = out
	return out, nil
}

// madeMark ends the id of a supply that a batch of the plan makes.
const madeMark = "#made"

func (j *jointPlanning) specOf(k int) string {
	of := j.batches[k]
	if of.of.Formula == "" || of.formula == nil {
		return "specifications/" + of.of.Specification
	}
	return "specifications/" + of.formula.Specification
}

// tidy drops the materials, offers and made batches that no batch can use and that
// no safety stock asks for, so that they are neither solved nor shown.
func (j *jointPlanning) tidy() {
	supplies, offers := map[int]bool{}, map[int]bool{}
	for again := true; again; {
		again = false
		for k := range j.p.Batches {
			if j.batches[k].toPlan && !j.wanted(k, supplies) {
				continue
			}
			for _, i := range j.p.Batches[k].Supplies {
				again = again || !supplies[i]
				supplies[i] = true
			}
			for _, i := range j.p.Batches[k].Offers {
				offers[i] = true
			}
		}
	}
	drop := map[int]bool{}
	for k := range j.p.Batches {
		drop[k] = j.batches[k].toPlan && !j.wanted(k, supplies)
	}
	used := map[int]bool{}
	for i, s := range j.p.Supplies {
		used[s.Material] = used[s.Material] || supplies[i]
	}
	for i, o := range j.p.Offers {
		used[o.Material] = used[o.Material] || offers[i]
	}
	for i := range j.p.Materials {
		used[i] = used[i] || j.p.Materials[i].SafetyStock > 0
	}
	j.keep(used, drop)
}

// wanted reports whether something may use what a batch makes.
func (j *jointPlanning) wanted(k int, supplies map[int]bool) bool {
	for i, s := range j.p.Supplies {
		if s.Batch == k && supplies[i] {
			return true
		}
	}
	return false
}

// keep renumbers the problem without what was dropped.
func (j *jointPlanning) keep(materials, drop map[int]bool) {
	p := *j.p
	was := *j
	p.Materials, p.Supplies, p.Offers, p.Batches = nil, nil, nil, nil
	j.supplies, j.offers, j.batches = nil, nil, nil
	material, supply, offer, made := map[int]int{}, map[int]int{}, map[int]int{}, map[int]int{}
	for i, m := range was.p.Materials {
		if materials[i] {
			material[i] = len(p.Materials)
			p.Materials = append(p.Materials, m)
		}
	}
	for k, b := range was.p.Batches {
		if !drop[k] {
			made[k] = len(p.Batches)
			p.Batches, j.batches = append(p.Batches, b), append(j.batches, was.batches[k])
		}
	}
	for i, s := range was.p.Supplies {
		if !materials[s.Material] || s.Batch >= 0 && drop[s.Batch] {
			continue
		}
		supply[i] = len(p.Supplies)
		s.Material = material[s.Material]
		if s.Batch >= 0 {
			s.Batch = made[s.Batch]
		}
		p.Supplies, j.supplies = append(p.Supplies, s), append(j.supplies, was.supplies[i])
	}
	for i, o := range was.p.Offers {
		if materials[o.Material] {
			offer[i] = len(p.Offers)
			o.Material = material[o.Material]
			p.Offers, j.offers = append(p.Offers, o), append(j.offers, was.offers[i])
		}
	}
	for k := range p.Batches {
		p.Batches[k].Supplies = renumbered(p.Batches[k].Supplies, supply)
		p.Batches[k].Offers = renumbered(p.Batches[k].Offers, offer)
	}
	j.p = &p
}

func renumbered(in []int, to map[int]int) []int {
	out := make([]int, 0, len(in))
	for _, i := range in {
		if n, ok := to[i]; ok {
			out = append(out, n)
		}
	}
	return out
}

// assume says what was taken for granted about the book.
func (j *jointPlanning) assume() {
	j.say("Periods of %d days from %s on; what is ordered, delivered or begun in one counts on its first day.", j.periodDays, dayOf(j.today))
	j.say("Stock counts as it stands now, less what is reserved, %s.", basisOf(j.req.Book.Basis))
	j.say("Offers are landed (freight, duty, exchange rate), in whole packs, at the break that an order reaches.")
	if !j.req.Book.KeepFormulas {
		j.say("A batch may take any blend that meets the specification of its formula; a changed one wants the laboratory's eye before it is made.")
	}
	var drafts []string
	for _, d := range j.drafts {
		drafts = append(drafts, d.Value.ID)
	}
	if len(drafts) > 0 {
		slices.Sort(drafts)
		j.say("Drafts are not counted as on order: %s.", strings.Join(drafts, ", "))
	}
	if j.req.Book.Leftover > 0 {
		j.say("What is bought and left over counts as %s of its lowest price.", percentOf(j.req.Book.Leftover))
	}
}

func percentOf(v float64) string { return fmt.Sprintf("%g %%", v*100) }
