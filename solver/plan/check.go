package plan

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"unsafe"

	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
)

// checkTolerance is the part by which a figure of a plan may be off, beside a
// tenth of a gram.
const checkTolerance = 1e-6

// Check works a plan out again from its own runs and orders, without the model
// that it came from, and says in words what does not hold: stock that is used twice
// or outside its time, limits that are missed, orders that the supplier would not
// take, money that does not add up. An empty list is a plan that can be carried
// out.
func Check(p *Problem, plan *Plan) []string {
	return check(p, plan, map[string]bool{})
}

// check is Check; blends in seen were evaluated before, with the same properties.
func check(p *Problem, plan *Plan, seen map[string]bool) []string {
	c := &checker{p: p, plan: plan, periods: len(p.Periods), seen: seen}
	if len(plan.Batches) != len(p.Batches) {
		return []string{fmt.Sprintf("%d batches are planned of %d", len(plan.Batches), len(p.Batches))}
	}
	if c.shape(); len(c.wrong) > 0 {
		return c.wrong
	}
	c.all()
	c.uses()
	c.money()
	c.told()
	return c.wrong
}

type checker struct {
	adding  bool            // only adds up: limits are not evaluated
	seen    map[string]bool // blends that were evaluated and meet their limits
	p       *Problem
	plan    *Plan
	periods int
	wrong   []string
	bySup   [][]float64 // kg used of each supply, by period
	byOffer [][]float64 // kg used of each offer, by period
	arrived [][]float64 // kg of each offer that arrive, by period; the last one: after the plan
	made    [][]float64 // kg made of each batch, by period
	stock   [][]float64 // kg in store at the end of a period, by material
	parts   Parts
}

// all works everything out but what is used in all.
func (c *checker) all() {
	c.tally()
	c.batches()
	c.supplies()
	c.offers()
	c.orders()
	c.stores()
}

func (c *checker) say(format string, args ...any) {
	if len(c.wrong) < 50 {
		c.wrong = append(c.wrong, fmt.Sprintf(format, args...))
	}
}

// over reports whether got is more than most.
func over(got, most float64) bool {
	return !(got <= most+checkTolerance*math.Max(math.Abs(got), math.Abs(most))+1e-4)
}

func apart(a, b float64) bool { return over(a, b) || over(b, a) }

func table(rows, columns int) [][]float64 {
	out, flat := make([][]float64, rows), make([]float64, rows*columns)
	for i := range out {
		out[i] = flat[i*columns : (i+1)*columns : (i+1)*columns]
	}
	return out
}

// tally adds up what runs use and orders bring.
func (c *checker) tally() {
	p := c.p
	c.bySup, c.byOffer = table(len(p.Supplies), c.periods), table(len(p.Offers), c.periods)
	c.arrived, c.made = table(len(p.Offers), c.periods+1), table(len(p.Batches), c.periods)
	c.stock = table(len(p.Materials), c.periods)
	for b := range c.plan.Batches {
		for _, r := range c.plan.Batches[b].Runs {
			c.made[b][r.Period] += r.Kg
			for _, x := range r.Components {
				if x.Supply >= 0 {
					c.bySup[x.Supply][r.Period] += x.Kg
				} else {
					c.byOffer[x.Offer][r.Period] += x.Kg
				}
			}
		}
	}
	for _, o := range c.plan.Orders {
		if o.Arrival != o.Period+p.Offers[o.Offer].Lead {
			c.say("an order of %s, placed in period %d, can't be used from %d on", p.Offers[o.Offer].ID, o.Period, o.Arrival)
		}
		c.arrived[o.Offer][min(max(o.Arrival, 0), c.periods)] += o.Kg
	}
}

// batches holds each run to its time, quantity and limits.
func (c *checker) batches() {
	for i := range c.p.Batches {
		b, got := &c.p.Batches[i], &c.plan.Batches[i]
		sum := got.Unmade
		for _, r := range got.Runs {
			sum += r.Kg
			if r.Period < b.Earliest || r.Period > b.Due+b.MostLate {
				c.say("batch %s is made in period %d, allowed are %d to %d", b.ID, r.Period, b.Earliest, b.Due+b.MostLate)
			}
			c.parts.Late += b.LatePerKg * r.Kg * float64(max(0, r.Period-b.Due))
			c.parts.Worth += b.Worth * r.Kg
			c.limits(b, &r)
		}
		if over(b.Kg, sum) || over(sum, max(b.Kg, b.Most)) || got.Unmade < 0 {
			c.say("batch %s: %g kg made and unmade, asked for are %g", b.ID, sum, b.Kg)
		}
		c.parts.Unmade += b.UnmadePerKg * got.Unmade
	}
}

// limits holds a run to what may go into it, its quantity and its limits.
func (c *checker) limits(b *Batch, r *Run) {
	stays := 0.0
	for _, x := range r.Components {
		if (x.Supply >= 0 && b.Supplies != nil && !slices.Contains(b.Supplies, x.Supply)) || (x.Offer >= 0 && b.Offers != nil && !slices.Contains(b.Offers, x.Offer)) {
			c.say("batch %s: component %+v may not go into it", b.ID, x)
		}
		stays += x.Kg * c.p.properties(x).Retained()
	}
	if apart(stays, r.Kg) {
		c.say("batch %s, period %d: the components make %g kg, not %g", b.ID, r.Period, stays, r.Kg)
	}
	if len(b.Limits) == 0 || r.Kg < 1e-4 || c.adding {
		return
	}
	key := blendKey(b, r)
	if c.seen[key] {
		return
	}
	if c.evaluate(b, r) {
		c.seen[key] = true
	}
}

// evaluate works the limits of a run out.
func (c *checker) evaluate(b *Batch, r *Run) bool {
	blend := &formulation.Problem{Quantity: mass.Kilogram, Limits: b.Limits, Catalogue: c.p.Catalogue, Settings: c.p.Settings}
	var kg []float64
	for _, x := range r.Components {
		blend.Candidates, kg = append(blend.Candidates, c.p.candidate(x.Supply, x.Offer)), append(kg, x.Kg)
	}
	reports, err := formulation.Evaluate(blend, kg)
	if err != nil {
		c.say("batch %s: %v", b.ID, err)
		return false
	}
	for i := range reports {
		if !reports[i].Met {
			c.say("batch %s, period %d: %s is %g", b.ID, r.Period, b.Limits[i].Name(), reports[i].Value)
			return false
		}
	}
	return true
}

// properties are those of a component.
func (p *Problem) properties(c Component) property.Set {
	if c.Supply >= 0 {
		return p.Supplies[c.Supply].Properties
	}
	return p.Offers[c.Offer].Properties
}

// blendKey is the same for runs of the same limits and, to a part in 1e9, the same
// proportions: one of them stands for all.
func blendKey(b *Batch, r *Run) string {
	key := make([]byte, 0, 16*len(r.Components)+16)
	key = binary.LittleEndian.AppendUint64(key, uint64(uintptr(unsafe.Pointer(unsafe.SliceData(b.Limits)))))
	key = binary.LittleEndian.AppendUint64(key, uint64(len(b.Limits)))
	for _, x := range r.Components {
		key = binary.LittleEndian.AppendUint32(key, uint32(x.Supply+1))
		key = binary.LittleEndian.AppendUint32(key, uint32(x.Offer+1))
		key = binary.LittleEndian.AppendUint64(key, uint64(math.Round(1e9*x.Kg/r.Kg)))
	}
	return string(key)
}

// candidate is a supply or an offer as something that goes into a pot.
func (p *Problem) candidate(supply, offer int) formulation.Candidate {
	out := formulation.Candidate{Available: -1}
	material := 0
	if supply >= 0 {
		s := &p.Supplies[supply]
		out.ID, out.Properties, out.CostPerKg, out.FromStock, material = s.ID, s.Properties, s.CostPerKg, true, s.Material
	} else {
		o := &p.Offers[offer]
		out.ID, out.Title, out.Properties, material = o.ID, o.Title, o.Properties, o.Material
	}
	m := &p.Materials[material]
	out.Material, out.Class, out.ColourIndex = m.ID, m.Class, m.ColourIndex
	return out
}

// supplies holds what is used of each supply to its amount and time.
func (c *checker) supplies() {
	for i := range c.p.Supplies {
		s := &c.p.Supplies[i]
		there, used := 0.0, 0.0
		for t := range c.periods {
			there += c.comes(s, t)
			used += c.bySup[i][t]
			c.parts.Lots += s.CostPerKg * c.bySup[i][t]
			if over(used, there) || c.bySup[i][t] > 1e-4 && t > s.Until {
				c.say("%s: %g kg used by the end of period %d, %g kg are there by then (until period %d)", s.ID, used, t, there, s.Until)
			}
			if t == s.Until {
				c.parts.Scrap += s.ScrapCost * max(0, there-used)
			}
			if t <= s.Until {
				c.stock[s.Material][t] += there - used
			}
		}
	}
}

// comes is what of a supply becomes usable in a period.
func (c *checker) comes(s *Supply, t int) float64 {
	switch {
	case s.Batch < 0 && t == max(0, s.From):
		return s.Kg
	case s.Batch >= 0 && t-s.From >= 0 && t-s.From < c.periods:
		// As much of the supply as of the batch is made.
		of := c.p.Batches[s.Batch].whole()
		if of <= 0 {
			return 0
		}
		return s.Kg * c.made[s.Batch][t-s.From] / of
	}
	return 0
}

// offers holds what is used of each offer to what was delivered and has not
// expired: what expires first is used first.
func (c *checker) offers() {
	for i := range c.p.Offers {
		o := &c.p.Offers[i]
		left := make([]float64, c.periods) // of what arrived in each period
		for t := range c.periods {
			left[t] += c.arrived[i][t]
			need := c.byOffer[i][t]
			for a := 0; a <= t; a++ {
				if o.ShelfLife > 0 && t >= a+o.ShelfLife {
					left[a] = 0
				}
				take := min(left[a], need)
				left[a] -= take
				need -= take
			}
			if over(need, 0) {
				c.say("%s: %g kg more are used in period %d than were delivered and are in date", o.ID, need, t)
			}
			for a := 0; a <= t; a++ {
				c.stock[o.Material][t] += left[a]
			}
		}
		for a, kg := range left {
			if o.ShelfLife == 0 || c.periods < a+o.ShelfLife {
				c.parts.Salvage += o.SalvagePerKg * kg
			}
		}
		c.parts.Salvage += o.SalvagePerKg * c.arrived[i][c.periods]
	}
}

func (c *checker) uses() {
	for i := range c.p.Uses {
		u := &c.p.Uses[i]
		for t := range c.periods {
			sum := 0.0
			for s := range c.p.Supplies {
				if slices.Contains(u.Materials, c.p.Supplies[s].Material) {
					sum += c.bySup[s][t]
				}
			}
			for o := range c.p.Offers {
				if slices.Contains(u.Materials, c.p.Offers[o].Material) {
					sum += c.byOffer[o][t]
				}
			}
			if u.Most[t] >= 0 && over(sum, u.Most[t]) {
				c.say("%s: %g kg in period %d, at most %g", u.ID, sum, t, u.Most[t])
			}
		}
	}
}

// stores holds what lies in store to its limits.
func (c *checker) stores() {
	for m := range c.p.Materials {
		of := &c.p.Materials[m]
		for t := range c.periods {
			in := c.stock[m][t]
			c.parts.Storage += of.StorageCost * in
			c.parts.Safety += of.SafetyPenalty * max(0, of.SafetyStock-in)
			if of.StorageMost >= 0 && over(in, of.StorageMost) {
				c.say("%s: %g kg in store at the end of period %d, at most %g", of.ID, in, t, of.StorageMost)
			}
			if len(c.plan.Stock) == len(c.p.Materials) && apart(in, c.plan.Stock[m][t]) {
				c.say("%s: %g kg in store at the end of period %d, not %g", of.ID, in, t, c.plan.Stock[m][t])
			}
		}
		if c.periods > 0 && over(of.ClosingLeast, c.stock[m][c.periods-1]) {
			c.say("%s: %g kg in store at the end, at least %g", of.ID, c.stock[m][c.periods-1], of.ClosingLeast)
		}
	}
}

// Sum is what the parts come to, money.
func (a *Parts) Sum() float64 {
	return a.Lots + a.Orders + a.Charges + a.Storage + a.Scrap + a.Late + a.Unmade + a.Safety - a.Worth - a.Salvage
}

// size is what differences are compared with, money.
func (a *Parts) size() float64 {
	size := 1.0
	for _, v := range []float64{a.Lots, a.Orders, a.Storage, a.Unmade, a.Worth, a.Salvage} {
		size = max(size, math.Abs(v))
	}
	return size
}

func (c *checker) money() {
	near := func(a, b float64) bool { return math.Abs(a-b) <= 1e-6*c.parts.size() }
	if sum := c.parts.Sum(); !near(sum, c.plan.Cost) || !near(c.plan.Parts.Sum(), c.plan.Cost) {
		c.say("the plan costs %g (%+v), not %g (%+v)", sum, c.parts, c.plan.Cost, c.plan.Parts)
	}
	for k, part := range c.parts.each() {
		if !near(part, c.plan.Parts.each()[k]) {
			c.say("the parts of the cost are %+v, they are not %+v", c.parts, c.plan.Parts)
			break
		}
	}
	if c.plan.Bound > c.plan.Cost+1e-6*c.parts.size() {
		c.say("the bound %g is above the cost %g", c.plan.Bound, c.plan.Cost)
	}
}
