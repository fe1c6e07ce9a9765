package formulation

import (
	"context"
	"fmt"
	"math"
	"sort"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/solver"
)

// explain fills in an Optimal answer from its solution.
func (b *built) explain(ctx context.Context, engine solver.Engine, a *Answer) error {
	s := a.Solution
	portions, reports, err := b.checked(ctx, engine, a)
	if err != nil {
		return err
	}
	if portions == nil {
		a.Outcome = Infeasible
		a.Clash = &Clash{Rules: &RuleClash{FreeCostPerKg: b.realCost(s.X), Rules: []RuleRef{{Part: PartBalances, Text: "whole milligrams"}}}}
		a.Assumed = append(a.Assumed, fmt.Sprintf(
			"The limits can be met, but no formula for %s was found in whole milligrams: make more of it, or give a limit some room.", b.p.Quantity))
		return nil
	}
	a.Outcome = Optimal
	premium := b.premium(s.X)
	a.CostPerKg = s.Objective + premium
	a.TotalCost = a.CostPerKg * b.p.Quantity.Kilograms()
	b.components(a, s, portions)
	b.unused(a, s, portions)
	a.Limits = reports
	b.goalReports(a, portions)
	for i := range reports {
		b.price(&reports[i], s)
	}
	a.Assumed = append(a.Assumed, b.assumed(portions)...)
	a.UseUp, err = b.useUp(ctx, engine, a, premium)
	return err
}

// checked rounds the optimum to milligrams and checks the result against every
// limit and the quantity. Where rounding breaks a limit (a small batch), the
// limits are drawn in by what a milligram can do and solved again; where that
// leaves nothing (an equation), whole milligrams are searched for. No portions:
// there is no formula of whole milligrams.
func (b *built) checked(ctx context.Context, engine solver.Engine, a *Answer) ([]portion, []LimitReport, error) {
	first := b.weigh(a.Solution.X)
	reports, broken := b.check(b.p, first)
	if broken < 0 {
		return first, reports, nil
	}
	tight := b.drawnIn(first)
	s, _, err := solve(ctx, engine, tight, solver.Options{})
	if err == nil && s.Stop == solver.StopOptimal {
		again := b.weigh(s.X)
		if r, broken := b.check(b.p, again); broken < 0 {
			return again, r, nil
		}
	}
	for i := range reports {
		if r := &reports[i]; !r.Met && !(-r.Slack <= b.milligram(i, first)) {
			return nil, nil, fmt.Errorf("%w: the limit %s is missed by the formula", ErrNumerical, b.p.Limits[i].Name())
		}
	}
	whole, err := b.toTheMilligram(ctx, engine, a.Solution)
	if err != nil || whole == nil {
		return nil, nil, err
	}
	reports, _ = b.check(b.p, whole)
	return whole, reports, nil
}

// pot is the blend of portions.
func (b *built) pot(portions []portion) *blend {
	used := make([]int, len(portions))
	at := make(map[int]mass.Mass, len(portions))
	for i, o := range portions {
		used[i] = int(b.active[o.column])
		at[used[i]] = o.mass
	}
	return newBlend(b.p, used, func(j int) float64 { return at[j].Kilograms() })
}

// check evaluates portions by the limits of p, which are those of b.p or what they
// were before they were opened; broken is the first limit that is not met, the
// number of limits when it is the quantity or one of p.Rows, -1 when all is well.
func (b *built) check(p *Problem, portions []portion) (reports []LimitReport, broken int) {
	pot := b.pot(portions)
	reports = evaluate(p, b.terms, pot)
	for i := range reports {
		if !reports[i].Met {
			return reports, i
		}
	}
	quantity := p.Quantity.Kilograms()
	allowed := 1e-6*quantity + 1e-6*float64(len(portions))
	if w := p.Weighing; w != nil && w.Tolerance > 0 {
		allowed = w.Tolerance.Kilograms() + 1e-9*quantity
	}
	if !(math.Abs(pot.stays-quantity) <= allowed) {
		return reports, len(reports)
	}
	for i := range p.Rows {
		if !p.Rows[i].holds(b.active, portions, quantity) {
			return reports, len(reports)
		}
	}
	return reports, -1
}

// drawnIn is the model with its limits on the inside by what rounding to
// milligrams can do to each.
func (b *built) drawnIn(portions []portion) *solver.Model {
	m := b.model.Variant()
	effect := make([]float64, len(m.Rows))
	for _, o := range portions {
		rows, values := m.Column(o.column)
		for k, i := range rows {
			effect[i] += math.Abs(values[k])
		}
	}
	mg := 1 / float64(b.p.Quantity)
	for i := 1; i < len(m.Rows); i++ {
		r := &m.Rows[i]
		d := effect[i] * mg
		if r.Upper-r.Lower > 2*d {
			r.Lower, r.Upper = r.Lower+d, r.Upper-d
		}
	}
	return m
}

// milligram is by how much limit i may change, in its own unit, when every
// portion is off by a milligram.
func (b *built) milligram(i int, portions []portion) float64 {
	t := &b.terms[i]
	var num, den, moved float64
	for _, o := range portions {
		at := i*b.width() + o.column
		num += b.num[at] * float64(o.mass)
		den += b.den[at] * float64(o.mass)
	}
	r := num / den
	for _, o := range portions {
		at := i*b.width() + o.column
		moved += math.Abs(b.num[at]-r*b.den[at]) / den
	}
	slope := math.Abs(t.def.Slope(t.value(r)))
	return 2*moved/slope + tolerance*t.limit.size()
}

// components lists what is used, with the prices of s, in weighing order:
// by class, then the larger mass first.
func (b *built) components(a *Answer, s *solver.Solution, portions []portion) {
	a.Components = make([]Component, len(portions))
	for i, o := range portions {
		k := o.column
		j := int(b.active[k])
		c := &b.p.Candidates[j]
		out := &a.Components[i]
		*out = Component{Candidate: j, Mass: o.mass, Share: s.X[k], CostPerKg: c.CostPerKg,
			AtLimit: o.mass == c.Available, CostRange: solver.Range{Lower: c.CostPerKg, Upper: c.CostPerKg}}
		d := s.ReducedCost[k]
		if out.AtLimit && d < 0 {
			out.StockWorth = -d
		}
		switch {
		case s.Ranging != nil: // of the price less the premium
			r := s.Ranging.Cost[k]
			out.CostRange = solver.Range{Lower: r.Lower + c.UsePremium, Upper: r.Upper + c.UsePremium}
		case d > 0: // held in the formula by AtLeast
			out.CostRange = solver.Range{Lower: c.CostPerKg - d, Upper: solver.Inf}
		case d < 0:
			out.CostRange = solver.Range{Lower: -solver.Inf, Upper: c.CostPerKg - d}
		}
	}
	sort.SliceStable(a.Components, func(x, y int) bool {
		p, q := &a.Components[x], &a.Components[y]
		i, j := weighingRank(b.p.Candidates[p.Candidate].Class), weighingRank(b.p.Candidates[q.Candidate].Class)
		if i != j {
			return i < j
		}
		return p.Mass > q.Mass
	})
}

func weighingRank(c inventory.Class) int {
	for i, k := range inventory.Classes {
		if k == c {
			return i
		}
	}
	return len(inventory.Classes)
}

// unused lists the rest with the price at which each would come in: its cost
// less its reduced cost.
func (b *built) unused(a *Answer, s *solver.Solution, portions []portion) {
	a.Unused = make([]Unused, 0, len(b.active)-len(portions))
	next := 0
	for k, j := range b.active {
		if next < len(portions) && portions[next].column == k {
			next++
			continue
		}
		entry := b.p.Candidates[j].CostPerKg - max(0, s.ReducedCost[k])
		a.Unused = append(a.Unused, Unused{Candidate: int(j), EntryPricePerKg: entry})
	}
}
