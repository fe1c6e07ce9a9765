package app

import (
	"cmp"
	"math"
	"slices"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/purchase"
	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/solver/plan"
)

// planSupply is what stands behind a supply of the problem.
type planSupply struct {
	name, title string
	lot         string // in stock; empty for what is still to come
	only        string // the one batch that it is set aside for
}

// planOffer is what stands behind an offer of the problem.
type planOffer struct {
	name, title string
	of          *purchase.Offer // nil: there is no book
	ladder      []rung          // landed, as it stands today
	days        int             // lead time
}

// planBatch is what stands behind a batch of the problem.
type planBatch struct {
	name, title string
	of          *batch.Batch // nil: there is no book
	formula     *formula.Formula
	fixed       bool // keeps to its formula
	toPlan      bool // not in the book
	beginBy     time.Time
	charge      float64 // kg put in per kg of the batch that is finished
}

// amount is money out of the solver, to the cent.
func amount(v float64) decimal.Decimal { return decimal.NewFromFloat(v).Round(2) }

func perKg(v float64) decimal.Decimal { return decimal.NewFromFloat(v).Round(pricePlaces) }

// answer puts a plan into words.
func (j *jointPlanning) answer(made, inTurn *plan.Plan) *JointPlan {
	out := &JointPlan{State: PlanProposed, Outcome: made.Outcome, Currency: j.p.Currency, Date: j.today, Gap: made.Gap, Size: made.Size,
		Certified: made.Proof.OK, Bound: amount(made.Bound), LeftOut: j.leftOut}
	c := made.Parts
	out.Cost = PlanCost{amount(made.Cost), amount(c.Lots), amount(c.Orders), amount(c.Charges), amount(c.Storage), amount(c.Scrap),
		amount(c.Late), amount(c.Unmade), amount(c.Safety), amount(c.Worth), amount(c.Salvage)}
	for t, period := range j.p.Periods {
		p := PlanPeriod{Title: period.Name, First: j.firstDay(t)}
		if period.Budget >= 0 {
			v := amount(period.Budget)
			p.Budget = &v
		}
		if t < len(made.BudgetPrice) {
			p.Worth = made.BudgetPrice[t]
		}
		out.Periods = append(out.Periods, p)
	}
	for _, b := range made.Batches {
		if planned, some := j.batch(b); some {
			out.Batches = append(out.Batches, planned)
		}
	}
	for _, o := range made.Orders {
		order := j.order(o)
		out.Periods[o.Period].Spent = out.Periods[o.Period].Spent.Add(order.Landed)
		out.Orders = append(out.Orders, order)
	}
	slices.SortStableFunc(out.Orders, func(a, b PlannedOrder) int {
		return cmp.Or(a.OrderBy.Compare(b.OrderBy), cmp.Compare(a.Period, b.Period), cmp.Compare(a.Offer, b.Offer))
	})
	for _, s := range made.Worth {
		out.Scarce = append(out.Scarce, j.scarce(s))
	}
	slices.SortStableFunc(out.Scarce, func(a, b ScarceSupply) int { return b.Worth.Cmp(a.Worth) })
	out.Stock = j.stock(made.Stock)
	out.InTurn = amount(inTurn.Cost)
	short := func(p *plan.Plan) (kg float64) {
		for _, b := range p.Batches {
			kg += b.Unmade
		}
		return kg
	}
	if more := milligramsOf(short(inTurn) - short(made)); more > 0 {
		j.say("In due order %s more would not be made, which is counted in what the plan saves.", more)
	}
	out.Assumptions = append(slices.Clone(j.said), made.Assumed...)
	return out
}

// firstDay is that of a period; zero where there is no calendar.
func (j *jointPlanning) firstDay(t int) time.Time {
	if j.today.IsZero() {
		return time.Time{}
	}
	return j.today.AddDate(0, 0, t*j.periodDays)
}

// batch is one batch in words; one that needs not be made and is not is left out.
func (j *jointPlanning) batch(b plan.BatchPlan) (PlannedBatch, bool) {
	of, asked := j.batches[b.Batch], j.p.Batches[b.Batch]
	factor := 1.0
	if of.charge > 0 {
		factor = of.charge
	}
	out := PlannedBatch{Batch: of.name, Title: of.title, Quantity: milligramsOf(asked.Kg / factor), BeginBy: of.beginBy, ToPlan: of.toPlan,
		Unmade: milligramsOf(b.Unmade / factor), Why: b.Why, CostPerKg: perKg(finite(b.CostPerKg * factor)), MarginalPerKg: perKg(finite(b.Marginal * factor))}
	if of.of != nil {
		out.Material, out.Specification, out.Due = of.of.Material, of.of.Specification, of.of.DueDate
	}
	if of.formula != nil {
		out.Formula = revisionID(of.formula.ID, of.formula.Revision)
	}
	total := mass.Mass(0)
	for _, r := range b.Runs {
		run := PlannedRun{Period: r.Period, Begin: j.firstDay(r.Period), Mass: milligramsOf(r.Kg / factor)}
		if run.Mass == 0 {
			continue
		}
		run.Components = j.components(r)
		out.Late = out.Late || r.Period > asked.Due
		total += run.Mass
		out.Runs = append(out.Runs, run)
	}
	if asked.Kg == 0 {
		out.Quantity = total
	}
	if len(out.Runs) == 0 && out.Unmade == 0 {
		return out, false
	}
	if of.formula != nil && !of.fixed && len(out.Runs) > 0 {
		out.Changes = j.changes(of.formula, out.Runs)
	}
	out.FromStock = j.fromStock(b, out)
	return out, true
}

func finite(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}

func milligramsOf(kg float64) mass.Mass { return mass.RoundKilograms(max(0, kg), mass.RoundHalfEven) }

// fromStock reports whether one run makes all of a batch of the book out of lots
// that are there.
func (j *jointPlanning) fromStock(b plan.BatchPlan, out PlannedBatch) bool {
	if of := j.batches[b.Batch]; of.of == nil || of.toPlan || out.Unmade > 0 || len(out.Runs) != 1 {
		return false
	}
	for _, r := range b.Runs {
		for _, c := range r.Components {
			if c.Supply < 0 || j.supplies[c.Supply].lot == "" {
				return false
			}
		}
	}
	return true
}

// components are the masses that go into a run, to the milligram, which together are
// what the run takes. Accepting the plan puts them on the scale.
func (j *jointPlanning) components(r plan.Run) []PlannedComponent {
	var out []PlannedComponent
	var kg []float64
	sum := 0.0
	for _, c := range r.Components {
		if c.Kg <= 0 {
			continue
		}
		of := PlannedComponent{Share: c.Kg / r.Kg}
		if c.Supply >= 0 {
			of.Candidate, of.Title, of.Material = j.supplies[c.Supply].name, j.supplies[c.Supply].title, j.p.Materials[j.p.Supplies[c.Supply].Material].ID
		} else {
			of.Candidate, of.Title, of.Material = j.offers[c.Offer].name, j.offers[c.Offer].title, j.p.Materials[j.p.Offers[c.Offer].Material].ID
		}
		sum += c.Kg
		if at := slices.IndexFunc(out, func(o PlannedComponent) bool { return o.Candidate == of.Candidate }); at >= 0 {
			out[at].Share += of.Share
			kg[at] += c.Kg
			continue
		}
		out, kg = append(out, of), append(kg, c.Kg)
	}
	for i, m := range shared(milligramsOf(sum), kg, mass.Milligram) {
		out[i].Mass = m
	}
	out = slices.DeleteFunc(out, func(c PlannedComponent) bool { return c.Mass == 0 })
	slices.SortStableFunc(out, func(a, b PlannedComponent) int { return cmp.Compare(b.Mass, a.Mass) })
	return out
}

// shared splits a total in proportion to kg, each part in whole units, by largest
// remainders; what of the total is no whole unit goes to the largest part.
func shared(total mass.Mass, kg []float64, unit mass.Mass) []mass.Mass {
	out := make([]mass.Mass, len(kg))
	if len(kg) == 0 {
		return out
	}
	rest := make([]float64, len(kg))
	order := make([]int, len(kg))
	left := total
	for i, v := range kg {
		units := math.Floor(v/unit.Kilograms() + 1e-9)
		out[i] = mass.Mass(units) * unit
		rest[i] = v/unit.Kilograms() - units
		left -= out[i]
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(rest[b], rest[a]) })
	for _, i := range order {
		if left < unit {
			break
		}
		out[i] += unit
		left -= unit
	}
	largest := 0
	for i := range kg {
		if kg[i] > kg[largest] {
			largest = i
		}
	}
	out[largest] += left
	return out
}

// changes is what of the formula's shares is other in the plan, the largest first.
func (j *jointPlanning) changes(f *formula.Formula, runs []PlannedRun) []ShareChange {
	now, then, titles := map[string]float64{}, map[string]float64{}, map[string]string{}
	for _, in := range f.Ingredients {
		now[in.Material] += float64(in.PartsPerMillion) / 1e6
	}
	total := mass.Mass(0)
	for _, r := range runs {
		total += r.Mass
	}
	for _, r := range runs {
		for _, c := range r.Components {
			then[c.Material] += c.Share * r.Mass.Kilograms() / total.Kilograms()
		}
	}
	var out []ShareChange
	for _, m := range j.p.Materials {
		titles[m.ID] = m.Title
	}
	for _, id := range sortedKeys(titles) {
		if math.Abs(now[id]-then[id]) > sameShare {
			out = append(out, ShareChange{id, titles[id], now[id], then[id]})
		}
	}
	slices.SortStableFunc(out, func(a, b ShareChange) int {
		return cmp.Compare(math.Abs(b.Cheapest-b.Now), math.Abs(a.Cheapest-a.Now))
	})
	return out
}

// sameShare is how far a share may be from the formula's and still be called the
// same: a tenth of a per cent.
const sameShare = 0.001

func (j *jointPlanning) scarce(s plan.Scarce) ScarceSupply {
	out := ScarceSupply{Worth: perKg(s.PerKg)}
	if s.Supply >= 0 {
		out.Candidate, out.Title, out.Material = j.supplies[s.Supply].name, j.supplies[s.Supply].title, j.p.Materials[j.p.Supplies[s.Supply].Material].ID
		return out
	}
	out.Candidate, out.Title, out.Material = j.offers[s.Offer].name, j.offers[s.Offer].title, j.p.Materials[j.p.Offers[s.Offer].Material].ID
	return out
}

func (j *jointPlanning) stock(kg [][]float64) []PlannedStock {
	var out []PlannedStock
	for i, periods := range kg {
		m := j.p.Materials[i]
		s := PlannedStock{Material: m.ID, Title: cmp.Or(m.Title, m.ID)}
		any := false
		for _, v := range periods {
			s.Mass = append(s.Mass, milligramsOf(v))
			any = any || s.Mass[len(s.Mass)-1] > 0
		}
		if any {
			out = append(out, s)
		}
	}
	return out
}

// order is a suggested purchase: whole packs, at the supplier's own price for the
// quantity, and what it costs at the plant's door.
func (j *jointPlanning) order(o plan.Order) PlannedOrder {
	of, asked := j.offers[o.Offer], j.p.Offers[o.Offer]
	out := PlannedOrder{Offer: of.name, Title: of.title, Material: j.p.Materials[asked.Material].ID, Quantity: milligramsOf(o.Kg),
		PricePerKg: money.PerKg{Currency: j.p.Currency, Amount: perKg(o.PricePerKg)}, Landed: amount(o.Kg * o.PricePerKg),
		Period: o.Period, Arrival: o.Arrival}
	for _, b := range o.For {
		out.Batches = append(out.Batches, j.batches[b].name)
	}
	pack := milligramsOf(asked.Pack)
	if pack > 0 {
		out.Quantity = out.Quantity.RoundTo(pack, mass.RoundHalfEven)
		out.Packs = int64(out.Quantity / pack)
	}
	if of.of != nil {
		j.atTheDoor(&out, of, o)
	}
	return out
}
