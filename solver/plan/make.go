package plan

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"

	"millbase/solver"
	"millbase/solver/certify"
	"millbase/solver/formulation"
)

// Make plans. lp solves linear programs, mip those with whole numbers. Errors are
// FieldErrors of package formulation for bad input, ErrNumerical where no answer
// passed its check, and the context's own.
func Make(ctx context.Context, lp, mip solver.Engine, p *Problem) (*Plan, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	b, err := newBuilt(p, false)
	if err != nil {
		return nil, err
	}
	s, err := b.solve(ctx, lp, &b.model, nil)
	if err != nil {
		return nil, err
	}
	return b.answer(ctx, lp, mip, s)
}

// mostChecked bounds how many blends are known to meet their limits.
const mostChecked = 20_000

// usualGap is Problem.Gap when it is 0.
const usualGap = 0.01

// proven is an answer of the linear program with its certificate.
type proven struct {
	*solver.Solution
	proof certify.Certificate
}

// solve solves and certifies a linear program of the plan.
func (b *built) solve(ctx context.Context, lp solver.Engine, m *solver.Model, start *solver.Basis) (*proven, error) {
	s, err := lp.Solve(ctx, m, solver.Options{Start: start})
	if err != nil {
		return nil, fmt.Errorf("%w (%v)", formulation.ErrNumerical, err)
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if s.Stop != solver.StopOptimal {
		// Every batch may stay unmade and every store may be empty, but for what must be
		// there at the end.
		return nil, formulation.FieldErrors{{Field: "materials", Problem: "what must be in store at the end, or the most that may be, can't be kept to by any plan"}}
	}
	proof := certify.Check(m, s)
	if !proof.OK {
		return nil, fmt.Errorf("%w: %s", formulation.ErrNumerical, proof.Reason)
	}
	return &proven{s, proof}, nil
}

// answer is the plan of the linear program's optimum; where orders are to be whole
// packs or have thresholds, the best that was found with them.
func (b *built) answer(ctx context.Context, lp, mip solver.Engine, free *proven) (*Plan, error) {
	best, orders := free, [][]float64(nil)
	out := &Plan{Bound: free.Objective + b.fixed, Size: b.size(free)}
	w, err := b.wholeOrders(ctx, lp, mip, free)
	if err != nil {
		return nil, err
	}
	if w != nil {
		best, orders = w.best.plan, w.best.orders
		out.Bound, out.Size.Integers = w.bound+b.fixed, w.whole
	}
	out.Proof = best.proof
	b.readRuns(out, best)
	b.readOrders(out, best, orders)
	b.readPrices(out, best)
	b.p.addUp(out)
	if out.Bound > out.Cost {
		if out.Bound-out.Cost > 1e-6*out.Parts.size() {
			return nil, fmt.Errorf("%w: the plan costs %g, less than the least that was proved, %g", formulation.ErrNumerical, out.Cost, out.Bound)
		}
		out.Bound = out.Cost
	}
	if out.Cost != out.Bound {
		out.Gap = (out.Cost - out.Bound) / math.Max(math.Abs(out.Cost), 1e-9)
	}
	out.Outcome = Feasible
	if gap := b.p.Gap; out.Gap <= max(gap, 1e-7) || gap == 0 && out.Gap <= usualGap {
		out.Outcome = Optimal
	}
	b.explain(ctx, lp, out)
	out.Assumed = append(out.Assumed, slices.Sorted(maps.Keys(b.assume))...)
	if len(b.checked) > mostChecked {
		clear(b.checked)
	}
	if wrong := check(b.p, out, b.checked); len(wrong) > 0 {
		return nil, fmt.Errorf("%w: %s", formulation.ErrNumerical, wrong[0])
	}
	return out, nil
}

func (b *built) size(s *proven) Size {
	return Size{Columns: len(b.model.Variables), Rows: len(b.model.Rows), Merged: len(b.p.Supplies) - len(b.pools), Iterations: s.Iterations}
}

// negligibleKg is what counts as nothing: a tenth of a milligram.
const negligibleKg = 1e-7

// readRuns reads what is made of what, and shares groups and pools out to their
// members.
func (b *built) readRuns(out *Plan, s *proven) {
	out.Batches = make([]BatchPlan, len(b.p.Batches))
	asked, made := make([]float64, len(b.p.Batches)), table(len(b.groups), b.periods)
	for i := range out.Batches {
		of := &b.p.Batches[i]
		out.Batches[i].Batch = i
		if short := s.X[b.unmade[i]]; short > math.Max(1e-6, 1e-9*of.Kg) {
			out.Batches[i].Unmade = math.Min(short, of.Kg)
		}
		asked[i] = of.Kg - out.Batches[i].Unmade
	}
	for i := range b.runs {
		made[b.runs[i].group][b.runs[i].period] = b.runKg(&b.runs[i], s)
	}
	parts := make([][][]float64, len(b.groups))
	for g := range b.groups {
		of, ask := &b.groups[g], []float64(nil)
		sum := 0.0
		for _, i := range of.batches {
			ask = append(ask, asked[i])
			sum += asked[i]
		}
		all := 0.0
		for _, kg := range made[g] {
			all += kg
		}
		if of.most > of.kg {
			ask[0] = all
		} else if sum > 0 { // the last digit
			for t := range made[g] {
				made[g][t] *= math.Min(sum/all, 1+1e-6)
			}
		}
		parts[g] = of.shareOut(made[g], ask)
	}
	b.readComponents(out, s, parts)
}

// runKg is what a run makes.
func (b *built) runKg(r *run, s *proven) float64 {
	kg := 0.0
	for c, col := range r.columns {
		if x := s.X[col]; x > negligibleKg {
			kg += x * b.ofBook[r.sources[c]].Properties.Retained()
		}
	}
	return kg
}

// readComponents gives each batch its part of the runs of its group.
func (b *built) readComponents(out *Plan, s *proven, parts [][][]float64) {
	used := make([]float64, len(b.p.Supplies))
	order := make([]int, len(b.runs))
	for i := range order {
		order[i] = i
	}
	// By period, so that what a batch brings is there when it is shared out.
	slices.SortStableFunc(order, func(i, j int) int { return b.runs[i].period - b.runs[j].period })
	for _, i := range order {
		r := &b.runs[i]
		all := b.runKg(r, s)
		for n, batch := range b.groups[r.group].batches {
			kg := parts[r.group][n][r.period]
			if kg <= negligibleKg || all <= 0 {
				continue
			}
			one := Run{Period: r.period, Kg: kg}
			for c, col := range r.columns {
				x := s.X[col]
				if x <= negligibleKg {
					continue
				}
				source, x := r.sources[c], x*kg/all
				if o := source - len(b.pools); o >= 0 {
					one.Components = append(one.Components, Component{Supply: -1, Offer: o, Kg: x})
				} else {
					one.Components = append(one.Components, b.share(source, x, used)...)
				}
			}
			out.Batches[batch].Runs = append(out.Batches[batch].Runs, one)
		}
	}
}

// share takes kg of a pool from its members, one after the other.
func (b *built) share(k int, kg float64, used []float64) []Component {
	var out []Component
	members := b.pools[k].members
	if b.pools[k].like.Batch >= 0 && len(members) > 1 {
		// Of each there is as much as of the batch is made.
		for _, i := range members {
			if take := kg * b.p.Supplies[i].Kg / b.pools[k].kg; take > negligibleKg {
				out = append(out, Component{Supply: i, Offer: -1, Kg: take})
			}
		}
		return out
	}
	for n, i := range members {
		take := math.Min(kg, b.p.Supplies[i].Kg-used[i])
		if n == len(members)-1 {
			take = kg // the last digit
		}
		if take <= negligibleKg {
			continue
		}
		used[i] += take
		kg -= take
		out = append(out, Component{Supply: i, Offer: -1, Kg: take})
		if kg <= negligibleKg {
			break
		}
	}
	return out
}

// readOrders reads what is ordered, at the price of its break; orders are those
// that were settled on, nil: those of the linear program.
func (b *built) readOrders(out *Plan, s *proven, orders [][]float64) {
	for o := range b.p.Offers {
		of := &b.p.Offers[o]
		for t := range b.periods {
			if b.buy[o][t] < 0 {
				continue
			}
			kg := s.X[b.buy[o][t]]
			if orders != nil {
				kg = orders[o][t]
			}
			if kg <= negligibleKg {
				continue
			}
			out.Orders = append(out.Orders, Order{Offer: o, Period: t, Arrival: t + of.Lead, Kg: kg, PricePerKg: of.priceAt(t, kg)})
		}
	}
	b.peg(out)
}

// peg says of each order which batches use it: the first to arrive is used first.
func (b *built) peg(out *Plan) {
	left := make([]float64, len(out.Orders))
	byOffer := map[int][]int{}
	for i := range out.Orders {
		left[i] = out.Orders[i].Kg
		byOffer[out.Orders[i].Offer] = append(byOffer[out.Orders[i].Offer], i)
	}
	for t := range b.periods {
		for i := range out.Batches {
			for _, r := range out.Batches[i].Runs {
				for _, c := range r.Components {
					if r.Period != t || c.Offer < 0 {
						continue
					}
					need := c.Kg
					for _, k := range byOffer[c.Offer] {
						o := &out.Orders[k]
						expired := b.p.Offers[c.Offer].ShelfLife > 0 && t >= o.Arrival+b.p.Offers[c.Offer].ShelfLife
						if take := math.Min(need, left[k]); o.Arrival <= t && !expired && take > negligibleKg {
							left[k] -= take
							need -= take
							if !slices.Contains(o.For, i) {
								o.For = append(o.For, i)
							}
						}
					}
				}
			}
		}
	}
}

// readPrices reads what scarce things are worth.
func (b *built) readPrices(out *Plan, s *proven) {
	for g := range b.groups {
		for _, i := range b.groups[g].batches {
			out.Batches[i].Marginal = s.RowDual[b.asked[g]]
		}
	}
	for k, row := range b.there {
		if row < 0 || s.RowDual[row] >= -1e-9 {
			continue
		}
		for _, i := range b.pools[k].members {
			out.Worth = append(out.Worth, Scarce{Supply: i, Offer: -1, PerKg: -s.RowDual[row]})
		}
	}
	slices.SortStableFunc(out.Worth, func(x, y Scarce) int { return x.Supply - y.Supply })
	out.BudgetPrice = make([]float64, b.periods)
	for t, row := range b.budget {
		if row >= 0 {
			out.BudgetPrice[t] = math.Max(0, -s.RowDual[row])
		}
	}
}

// addUp works stock and costs out from the plan itself, by the code that checks it.
func (p *Problem) addUp(out *Plan) {
	c := &checker{p: p, plan: out, periods: len(p.Periods), adding: true}
	c.all()
	out.Stock, out.Parts, out.Cost = c.stock, c.parts, c.parts.Sum()
	for i, cost := range p.batchCosts(out) {
		out.Batches[i].CostPerKg = cost
	}
}

// batchCosts is what a kilogram of each batch costs: supplies at their cost, offers
// at the mean price of their orders.
func (p *Problem) batchCosts(of *Plan) []float64 {
	out := make([]float64, len(of.Batches))
	price, kg := make([]float64, len(p.Offers)), make([]float64, len(p.Offers))
	for _, o := range of.Orders {
		price[o.Offer] += o.PricePerKg * o.Kg
		kg[o.Offer] += o.Kg
	}
	for i := range of.Batches {
		cost, made := 0.0, 0.0
		for _, r := range of.Batches[i].Runs {
			made += r.Kg
			for _, c := range r.Components {
				if c.Supply >= 0 {
					cost += c.Kg * p.Supplies[c.Supply].CostPerKg
				} else if kg[c.Offer] > 0 {
					cost += c.Kg * price[c.Offer] / kg[c.Offer]
				}
			}
		}
		if made > 0 {
			out[i] = cost / made
		}
	}
	return out
}
