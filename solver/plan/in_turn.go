package plan

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"millbase/solver"
)

// InTurn plans as is done without a joint plan: batch by batch in the order of their
// due dates, each the cheapest way that what the ones before it left allows, with
// orders of its own; what is left of an order serves those that follow. What must be
// in store plays no part. It is what a joint plan is held against; Bound is the
// cost itself.
func InTurn(ctx context.Context, lp, mip solver.Engine, p *Problem) (*Plan, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	t := &inTurn{p: p, left: make([]float64, len(p.Supplies)), out: &Plan{Outcome: Feasible, Batches: make([]BatchPlan, len(p.Batches))}}
	for i := range p.Supplies {
		t.left[i] = p.Supplies[i].Kg
	}
	for _, period := range p.Periods {
		t.budget = append(t.budget, period.Budget)
	}
	for i := range p.Uses {
		t.uses = append(t.uses, slices.Clone(p.Uses[i].Most))
	}
	order := make([]int, len(p.Batches))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p.Batches[a].Due, p.Batches[b].Due) })
	for _, i := range order {
		if err := t.next(ctx, lp, mip, i); err != nil {
			return nil, err
		}
	}
	p.addUp(t.out)
	t.out.Bound = t.out.Cost
	return t.out, nil
}

type inTurn struct {
	p      *Problem
	left   []float64 // kg, per supply
	budget []float64 // per period
	uses   [][]float64
	rest   []rest // of orders
	out    *Plan
}

// rest is what is left of an order.
type rest struct {
	order int // index into out.Orders
	kg    float64
}

// next plans one batch.
func (t *inTurn) next(ctx context.Context, lp, mip solver.Engine, i int) error {
	q, fromRest := t.alone(i)
	got, err := Make(ctx, lp, mip, q)
	if err != nil {
		return err
	}
	for _, o := range got.Orders {
		t.budget[o.Period] = max(0, t.budget[o.Period]-o.PricePerKg*o.Kg-t.p.Offers[o.Offer].PerOrder)
		if t.p.Periods[o.Period].Budget < 0 {
			t.budget[o.Period] = -1
		}
		k := slices.IndexFunc(t.out.Orders, func(x Order) bool { return x.Offer == o.Offer && x.Period == o.Period })
		if k < 0 {
			k = len(t.out.Orders)
			t.out.Orders = append(t.out.Orders, Order{Offer: o.Offer, Period: o.Period, Arrival: o.Arrival})
			t.rest = append(t.rest, rest{order: k})
		}
		t.out.Orders[k].Kg += o.Kg
		t.out.Orders[k].PricePerKg = t.p.Offers[o.Offer].priceAt(o.Period, t.out.Orders[k].Kg)
		t.rest[k].kg += o.Kg
	}
	one := got.Batches[0]
	one.Batch = i
	for r := range one.Runs {
		run := &one.Runs[r]
		for c := range run.Components {
			t.take(&run.Components[c], run.Period, len(t.p.Supplies), fromRest)
		}
		run.Components = together(run.Components)
	}
	t.out.Batches[i] = one
	return nil
}

// together adds up what of a run comes from the same offer: its new order and the
// rests of earlier ones.
func together(components []Component) []Component {
	var out []Component
	for _, c := range components {
		k := slices.IndexFunc(out, func(x Component) bool { return x.Supply == c.Supply && x.Offer == c.Offer })
		if k < 0 {
			out = append(out, c)
			continue
		}
		out[k].Kg += c.Kg
	}
	return out
}

// take books what a run uses, and gives the component its place in the whole plan.
func (t *inTurn) take(c *Component, period, supplies int, fromRest []int) {
	material := 0
	switch {
	case c.Supply >= supplies: // the rest of an order
		k := fromRest[c.Supply-supplies]
		t.rest[k].kg -= c.Kg
		*c = Component{Supply: -1, Offer: t.out.Orders[k].Offer, Kg: c.Kg}
		material = t.p.Offers[c.Offer].Material
	case c.Supply >= 0:
		t.left[c.Supply] -= c.Kg // below 0 where a batch brings more than its usual quantity
		material = t.p.Supplies[c.Supply].Material
	default:
		need := c.Kg
		for k := range t.rest { // the first to arrive first
			if o := t.out.Orders[t.rest[k].order]; o.Offer == c.Offer && o.Arrival <= period {
				taken := min(need, t.rest[k].kg)
				t.rest[k].kg -= taken
				need -= taken
			}
		}
		material = t.p.Offers[c.Offer].Material
	}
	for u := range t.uses {
		if slices.Contains(t.p.Uses[u].Materials, material) && t.uses[u][period] >= 0 {
			t.uses[u][period] = max(0, t.uses[u][period]-c.Kg)
		}
	}
}

// offers are those that are left: what can be ordered in a period is what batches
// before have not, and no more than that in any other period either.
func (t *inTurn) offers() []Offer {
	out := slices.Clone(t.p.Offers)
	for i := range t.out.Orders {
		was := &t.out.Orders[i]
		o := &out[was.Offer]
		most := t.p.Offers[was.Offer].MostPerPeriod
		if most < 0 {
			continue
		}
		if left := most - was.Kg; left > math.Max(o.MinimumOrder-1e-6, 1e-6) {
			o.MostPerPeriod = math.Min(o.MostPerPeriod, left)
			continue
		}
		o.Price = slices.Clone(o.Price)
		o.Price[was.Period] = math.NaN()
	}
	return out
}

// alone is the problem of one batch with what is left; rests of orders follow the
// supplies, and fromRest says which.
func (t *inTurn) alone(i int) (q *Problem, fromRest []int) {
	q = &Problem{Catalogue: t.p.Catalogue, Settings: t.p.Settings, Currency: t.p.Currency, Offers: t.offers(), Gap: t.p.Gap, TimeLimit: -1}
	q.Batches = []Batch{t.p.Batches[i]}
	for k, period := range t.p.Periods {
		q.Periods = append(q.Periods, Period{period.Name, t.budget[k]})
	}
	for _, m := range t.p.Materials {
		m.StorageMost, m.ClosingLeast, m.SafetyStock, m.SafetyPenalty = -1, 0, 0, 0
		q.Materials = append(q.Materials, m)
	}
	for k := range t.p.Uses {
		u := t.p.Uses[k]
		u.Most = t.uses[k]
		q.Uses = append(q.Uses, u)
	}
	for k := range t.p.Supplies {
		s := t.p.Supplies[k]
		s.Kg = max(0, t.left[k])
		if s.Batch >= 0 {
			s.Kg, s.From = t.brought(&t.p.Supplies[k], t.left[k])
			s.Batch = -1
		}
		q.Supplies = append(q.Supplies, s)
	}
	open := slices.Clone(t.p.Batches[i].Supplies)
	for k, r := range t.rest {
		if r.kg <= 1e-6 {
			continue
		}
		o := &t.out.Orders[r.order]
		of := &t.p.Offers[o.Offer]
		if only := t.p.Batches[i].Offers; only != nil && !slices.Contains(only, o.Offer) {
			continue
		}
		until := len(t.p.Periods)
		if of.ShelfLife > 0 {
			until = o.Arrival + of.ShelfLife - 1
		}
		if open != nil {
			open = append(open, len(q.Supplies))
		}
		q.Supplies = append(q.Supplies, Supply{ID: fmt.Sprintf("%s, rest %d", of.ID, k), Material: of.Material, Properties: of.Properties, Kg: r.kg, CostPerKg: o.PricePerKg, From: o.Arrival, Until: until, Batch: -1})
		fromRest = append(fromRest, k)
	}
	q.Batches[0].Supplies = open
	return q, fromRest
}

// brought is what a batch that was planned before brings: what is left of it, and
// from when.
func (t *inTurn) brought(s *Supply, left float64) (kg float64, from int) {
	of := &t.p.Batches[s.Batch]
	made := 0.0
	for _, r := range t.out.Batches[s.Batch].Runs {
		made += r.Kg
		from = max(from, r.Period+s.From)
	}
	if of.whole() <= 0 || made <= 0 {
		return 0, 0
	}
	return math.Max(0, left-s.Kg*(1-made/of.whole())), from
}
