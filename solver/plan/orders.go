package plan

import (
	"context"
	"math"
	"slices"
	"sort"
	"time"

	"millbase/solver"
)

// whole reports whether orders of an offer are not just any amount at one price.
func (o *Offer) whole() bool {
	return o.Pack > 0 || o.MinimumOrder > 0 || o.PerOrder > 0 || len(o.Breaks) > 0
}

// least is the smallest order that covers kg: whole packs, not below the minimum.
// It is more than MostPerPeriod where there is none.
func (o *Offer) least(kg float64) float64 {
	if kg <= negligibleKg {
		return 0
	}
	kg = math.Max(kg, o.MinimumOrder)
	if o.Pack > 0 {
		kg = math.Ceil(kg/o.Pack-1e-9) * o.Pack
	}
	return kg
}

// cost is what an order comes to, money.
func (o *Offer) cost(t int, kg float64) float64 {
	if kg <= negligibleKg {
		return 0
	}
	return o.priceAt(t, kg)*kg + o.PerOrder
}

// settled is a set of orders that suppliers take, with the plan that is best with
// them.
type settled struct {
	orders [][]float64 // kg, per offer and period
	plan   *proven
	cost   float64 // of the plan, without what is fixed
}

// wholeOrders turns the orders of the linear program into ones that suppliers take:
// rounded up, what is over carried on; then orders are left out, put together or
// moved to a break as long as that saves, each time with everything else planned
// anew. What is still not within the gap is searched for by mip. It is nil where any
// amount can be ordered of everything.
func (b *built) wholeOrders(ctx context.Context, lp, mip solver.Engine, free *proven) (*ordering, error) {
	if !slices.ContainsFunc(b.p.Offers, func(o Offer) bool { return o.whole() }) {
		return nil, nil
	}
	limit := b.p.TimeLimit
	if limit == 0 {
		limit = time.Minute
	}
	w := &ordering{b: b, ctx: ctx, limit: limit, lp: lp, mip: mip, free: free, bound: free.Objective}
	if err := w.work(); err != nil {
		return nil, err
	}
	return w, ctx.Err()
}

// rounded rounds the orders of the linear program up; what is over serves later
// periods.
func (b *built) rounded(x []float64) [][]float64 {
	out := table(len(b.p.Offers), b.periods)
	for o := range b.p.Offers {
		of := &b.p.Offers[o]
		over := 0.0
		for t := range b.periods {
			if b.buy[o][t] < 0 {
				continue
			}
			need := x[b.buy[o][t]]
			if !of.whole() {
				out[o][t] = need
				continue
			}
			if of.ShelfLife == 0 || of.ShelfLife > 2 {
				take := math.Min(over, need)
				over, need = over-take, need-take
			}
			kg := of.least(need)
			if of.MostPerPeriod >= 0 && kg > of.MostPerPeriod {
				kg = b.largest(of)
			}
			out[o][t], over = kg, over+math.Max(0, kg-need)
		}
	}
	return b.withinBudget(out)
}

// largest is the largest order that the supplier takes in a period; 0 where there
// is none.
func (b *built) largest(of *Offer) float64 {
	kg := of.MostPerPeriod
	if of.Pack > 0 {
		kg = math.Floor(kg/of.Pack+1e-9) * of.Pack
	}
	if kg < of.MinimumOrder {
		return 0
	}
	return kg
}

// withinBudget takes packs off the orders of a period, the dearest first, until
// its budget is kept to.
func (b *built) withinBudget(orders [][]float64) [][]float64 {
	for t := range b.periods {
		budget := b.p.Periods[t].Budget
		for budget >= 0 {
			spent, dearest := 0.0, -1
			for o := range orders {
				cost := b.p.Offers[o].cost(t, orders[o][t])
				spent += cost
				if cost > 0 && b.p.Offers[o].whole() && (dearest < 0 || cost > b.p.Offers[dearest].cost(t, orders[dearest][t])) {
					dearest = o
				}
			}
			if spent <= budget || dearest < 0 {
				break
			}
			of := &b.p.Offers[dearest]
			less := orders[dearest][t] - of.Pack
			if of.Pack == 0 || less < of.MinimumOrder || less <= negligibleKg {
				less = 0
			}
			orders[dearest][t] = less
		}
	}
	return orders
}

// settle plans everything else with the orders as they are. Orders of offers that
// take any amount stay free.
func (b *built) settle(ctx context.Context, lp solver.Engine, orders [][]float64, was *proven) (*settled, error) {
	m := b.model.Variant()
	spent := make([]float64, b.periods)
	paid := 0.0
	for o := range b.p.Offers {
		of := &b.p.Offers[o]
		for t := range b.periods {
			j := b.buy[o][t]
			if j < 0 || !of.whole() {
				continue
			}
			m.Variables[j].Lower, m.Variables[j].Upper = orders[o][t], orders[o][t]
			m.Variables[j].Cost = 0
			paid += of.cost(t, orders[o][t])
			spent[t] += of.cost(t, orders[o][t]) - of.lowest(t)*orders[o][t]
		}
	}
	for t, row := range b.budget {
		if row >= 0 { // the row counts orders at their lowest price
			m.Rows[row].Upper -= spent[t]
		}
	}
	s, err := resolve(ctx, lp, m, was)
	if s == nil && err == nil {
		s, err = b.solve(ctx, lp, m, nil)
	}
	if err != nil {
		return nil, err
	}
	out := &settled{orders: table(len(orders), b.periods), plan: s, cost: s.Objective + paid}
	for o := range orders {
		for t := range b.periods {
			if j := b.buy[o][t]; j >= 0 && !b.p.Offers[o].whole() {
				out.orders[o][t] = s.X[j]
			} else {
				out.orders[o][t] = orders[o][t]
			}
		}
	}
	return out, nil
}

// change is a set of orders that differs from the best in few places.
type change struct {
	offer   int
	periods []int
	kg      []float64
	gain    float64 // what it would save if nothing else changed: tried in this order
}

// polish is for how long a plan that is within the gap is made better.
const polish = 3 * time.Second

// improve changes the orders one by one as long as that saves, until the plan is
// within the gap, nothing saves any more, or the time is up.
func (b *built) improve(ctx context.Context, lp solver.Engine, best *settled, bound float64) {
	gap := b.p.Gap
	if gap == 0 {
		gap = usualGap
	}
	cancel := func() {}
	defer func() { cancel() }()
	polishing := false
	done := func() bool {
		size := gap * math.Max(1, math.Abs(best.cost+b.fixed))
		if best.cost-bound <= size && !polishing {
			polishing = true
			ctx, cancel = context.WithTimeout(ctx, polish)
		}
		return best.cost-bound <= 0.1*size || ctx.Err() != nil
	}
	for better := true; better && !done(); {
		better = false
		for _, c := range b.changes(best) {
			if done() {
				return
			}
			orders := table(len(best.orders), b.periods)
			for o := range orders {
				copy(orders[o], best.orders[o])
			}
			for k, t := range c.periods {
				orders[c.offer][t] = c.kg[k]
			}
			other, err := b.settle(ctx, lp, b.withinBudget(orders), best.plan)
			if err == nil && other.cost < best.cost-1e-9*math.Abs(best.cost)-1e-9 {
				*best, better = *other, true
			}
		}
	}
}

// changes are what might save: an order left out, one pack less, put together with
// the next one or the one before, or raised to the next break.
func (b *built) changes(of *settled) []change {
	var out []change
	for o := range b.p.Offers {
		f := &b.p.Offers[o]
		if !f.whole() {
			continue
		}
		last := -1
		for t := range b.periods {
			kg := of.orders[o][t]
			if b.buy[o][t] < 0 || kg <= negligibleKg {
				continue
			}
			cost := f.cost(t, kg)
			out = append(out, change{o, []int{t}, []float64{0}, cost})
			if less := kg - f.Pack; f.Pack > 0 && less >= f.MinimumOrder && less > negligibleKg {
				out = append(out, change{o, []int{t}, []float64{less}, cost - f.cost(t, less)})
			}
			if last >= 0 {
				sum := f.least(of.orders[o][last] + kg)
				if f.MostPerPeriod < 0 || sum <= f.MostPerPeriod {
					both := cost + f.cost(last, of.orders[o][last])
					out = append(out, change{o, []int{last, t}, []float64{sum, 0}, both - f.cost(last, sum)},
						change{o, []int{last, t}, []float64{0, sum}, both - f.cost(t, sum)})
				}
			}
			for _, k := range f.Breaks {
				if up := f.least(k.From); k.From > kg && (f.MostPerPeriod < 0 || up <= f.MostPerPeriod) {
					out = append(out, change{o, []int{t}, []float64{up}, cost - f.cost(t, up) + f.SalvagePerKg*(up-kg)})
					break
				}
			}
			last = t
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].gain > out[j].gain })
	return out
}
