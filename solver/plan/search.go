package plan

import (
	"context"
	"math"
	"slices"
	"time"

	"millbase/solver"
	"millbase/solver/formulation"
)

// Two models with whole numbers stand behind the orders.
//
// The first counts what is ordered of an offer in all periods together: whole packs,
// at least one order's minimum and charge, at the price of the best break that the
// total reaches. Orders that a supplier takes meet it, so its bound holds for them,
// and it has few whole numbers.
//
// The second has every order of every period as it is. It is searched where it is
// small enough.

// mostColumns is the size up to which every order is searched for by itself.
const mostColumns = 25_000

// level is a range of quantities at one price, in packs, or kg where there are none.
type level struct {
	from, to float64
	factor   float64 // of the price
}

// unit is the pack, or a kilogram.
func (o *Offer) unit() float64 {
	if o.Pack > 0 {
		return o.Pack
	}
	return 1
}

// levels are the quantities that the supplier takes, up to most kg.
func (o *Offer) levels(most float64) []level {
	steps := []Break{{Factor: 1}}
	for _, b := range o.Breaks {
		if b.From <= steps[len(steps)-1].From {
			steps = steps[:len(steps)-1]
		}
		steps = append(steps, b)
	}
	var out []level
	for k, s := range steps {
		to := most
		if k+1 < len(steps) {
			to = math.Min(to, steps[k+1].From)
		}
		l := level{math.Max(s.From, o.MinimumOrder) / o.unit(), to / o.unit(), s.Factor}
		if o.Pack > 0 {
			l.from, l.to = math.Ceil(l.from-1e-9), math.Floor(l.to+1e-9)
		}
		if l.to >= l.from && l.to > 0 {
			out = append(out, l)
		}
	}
	return out
}

// mostNeeded is more of each offer than a plan has a use for in one order, kg, and,
// where it keeps for ever, in all orders together: of a plan with more, the last order
// can be made smaller by a pack, or left out. It is +Inf where it is not known.
func (b *built) mostNeeded(ctx context.Context, lp solver.Engine) []float64 {
	need := make([]float64, len(b.p.Offers))
	shares := map[*formulation.Ratios][]float64{}
	for g := range b.groups {
		of := b.groups[g].like
		r, err := b.ratiosOf(of)
		if err != nil { // it was known before
			continue
		}
		if shares[r] == nil {
			shares[r] = b.largestShares(ctx, lp, r)
		}
		for o := range need {
			if share := shares[r][o]; share > 0 && (of.Offers == nil || slices.Contains(of.Offers, o)) {
				need[o] += b.groups[g].most * share
			}
		}
	}
	for o := range need {
		of := &b.p.Offers[o]
		m := &b.p.Materials[of.Material]
		need[o] += float64(b.periods) * (m.ClosingLeast + m.SafetyStock)
		need[o] = of.most(need[o]) + of.Pack
	}
	return need
}

// most is kg, or what an order must be for the last break, or at least, if that is
// more.
func (o *Offer) most(kg float64) float64 {
	for _, k := range o.Breaks {
		kg = math.Max(kg, k.From)
	}
	return math.Max(kg, o.MinimumOrder)
}

// quantity adds the columns of a quantity of an offer that is to be one that the
// supplier takes: entries are of a kilogram of it, and cost is what a kilogram costs
// at a part of the price; once is the budget's row, -1 for none. It returns the
// columns that count units.
func (b *built) quantity(m *solver.Model, of *Offer, levels []level, price, charge float64, budget int, entries func(factor float64) []solver.Entry, cost func(factor float64) float64) []int {
	kind, unit := solver.Continuous, of.unit()
	if of.Pack > 0 {
		kind = solver.Integer
	}
	plain := len(levels) == 1 && charge == 0 && (levels[0].from == 0 || of.Pack > 0 && levels[0].from <= 1)
	one := -1
	if len(levels) > 1 {
		one = m.AddRow(solver.Row{Lower: never, Upper: 1})
	}
	var out []int
	for _, l := range levels {
		var in []solver.Entry
		for _, e := range entries(l.factor) {
			in = append(in, solver.Entry{Row: e.Row, Value: e.Value * unit})
		}
		if !plain {
			to := m.AddRow(solver.Row{Lower: never})
			in = append(in, solver.Entry{Row: to, Value: 1})
			chosen := []solver.Entry{{Row: to, Value: -l.to}}
			if l.from > 0 {
				from := m.AddRow(solver.Row{Upper: math.Inf(1)})
				in = append(in, solver.Entry{Row: from, Value: 1})
				chosen = append(chosen, solver.Entry{Row: from, Value: -l.from})
			}
			if one >= 0 {
				chosen = append(chosen, solver.Entry{Row: one, Value: 1})
			}
			if budget >= 0 {
				chosen = append(chosen, solver.Entry{Row: budget, Value: charge})
			}
			m.AddVariable(solver.Variable{Cost: charge, Upper: 1, Kind: solver.Integer}, chosen...)
		}
		out = append(out, m.AddVariable(solver.Variable{Cost: cost(l.factor) * unit, Upper: l.to, Kind: kind}, in...))
	}
	return out
}

// totals is the first model. The columns of the linear program come first.
func (b *built) totals(needed []float64) *solver.Model {
	m := b.model.Clone()
	for o := range b.p.Offers {
		of := &b.p.Offers[o]
		most := needed[o]
		if of.ShelfLife > 0 { // what is over of each order may expire
			most += float64(b.periods) * (of.most(0) + of.Pack)
		}
		if !of.whole() || math.IsInf(most, 1) {
			continue
		}
		var columns []int32
		var ones []float64
		cheapest := math.Inf(1)
		for t, j := range b.buy[o] {
			if j >= 0 {
				columns, ones = append(columns, int32(j)), append(ones, 1)
				cheapest = math.Min(cheapest, of.Price[t])
			}
		}
		if columns == nil {
			continue
		}
		total := m.InsertRow(solver.Row{}, columns, ones)
		least := of.lowestFactor()
		levels := of.levels(most)
		for k := range levels { // several orders may each reach what comes before
			if k > 0 {
				levels[k].factor = math.Min(levels[k].factor, levels[k-1].factor)
			}
		}
		b.quantity(m, of, levels, cheapest, of.PerOrder, -1,
			func(float64) []solver.Entry { return []solver.Entry{{Row: total, Value: -1}} },
			func(factor float64) float64 { return cheapest * (factor - least) })
	}
	return m
}

// every is the second model, with the columns that count units of each order.
func (b *built) every(needed []float64) (*solver.Model, [][][]int) {
	m := b.model.Clone()
	units := make([][][]int, len(b.p.Offers))
	for o := range b.p.Offers {
		of := &b.p.Offers[o]
		units[o] = make([][]int, b.periods)
		need := needed[o]
		if !of.whole() || math.IsInf(need, 1) {
			continue
		}
		if of.MostPerPeriod >= 0 {
			need = math.Min(need, of.MostPerPeriod)
		}
		for t, j := range b.buy[o] {
			if j < 0 {
				continue
			}
			rows, values := b.model.Column(j)
			m.Variables[j].Lower, m.Variables[j].Upper = 0, 0
			units[o][t] = b.quantity(m, of, of.levels(need), of.Price[t], of.PerOrder, b.budget[t],
				func(factor float64) []solver.Entry {
					var out []solver.Entry
					for k, row := range rows {
						v := values[k]
						if int(row) == b.budget[t] {
							v = of.Price[t] * factor
						}
						out = append(out, solver.Entry{Row: int(row), Value: v})
					}
					return out
				},
				func(factor float64) float64 { return of.Price[t] * factor })
		}
	}
	return m, units
}

// lowestFactor is the best break's.
func (o *Offer) lowestFactor() float64 {
	factor := 1.0
	for _, b := range o.Breaks {
		factor = math.Min(factor, b.Factor)
	}
	return factor
}

// extended is a basis of the linear program for a model that has more columns and
// rows behind its own.
func extended(s *solver.Basis, m *solver.Model) *solver.Basis {
	if s == nil {
		return nil
	}
	out := &solver.Basis{Variables: slices.Clone(s.Variables), Rows: slices.Clone(s.Rows)}
	for len(out.Variables) < len(m.Variables) {
		out.Variables = append(out.Variables, solver.AtLower)
	}
	for len(out.Rows) < len(m.Rows) {
		out.Rows = append(out.Rows, solver.Basic)
	}
	return out
}

// searched is what came of a search: a point, if there is one, and a bound of it, without
// what is fixed.
type searched struct {
	x     []float64 // nil for none
	bound float64
}

// look searches a model. What goes wrong in a search is no fault of the plan: there
// are orders already.
func (b *built) look(ctx context.Context, mip solver.Engine, m *solver.Model, start *solver.Basis, gap float64, limit time.Duration) searched {
	out := searched{bound: math.Inf(-1)}
	if mip == nil {
		return out
	}
	s, err := mip.Solve(ctx, m, solver.Options{Start: start, Gap: gap, TimeLimit: limit})
	if err != nil || ctx.Err() != nil {
		return out
	}
	if s.Stop == solver.StopOptimal || s.Stop == solver.StopLimit {
		if !math.IsNaN(s.Bound) {
			out.bound = s.Bound - 1e-7*math.Max(1, math.Abs(s.Bound))
		}
		if s.Primal == solver.FeasiblePoint {
			out.x = s.X
		}
	}
	return out
}
