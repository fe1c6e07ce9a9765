package formulation

import (
	"context"
	"errors"
	"fmt"

	"millbase/inventory/mass"
	"millbase/solver"
)

// Weighed says how good a weighable formula is.
type Weighed struct {
	// Proven is true when no weighable formula is cheaper by more than
	// Weighing.Gap.
	Proven bool
	// GapPerKg is between the formula and what could be proved, money per kg of
	// ink: no weighable formula is cheaper by more. GapFraction is the part of the
	// cost.
	GapPerKg, GapFraction float64
	// FreeCostPerKg is the cost of the cheapest formula without rules, weighed to
	// the milligram; PricePerKg is what being weighable costs more.
	FreeCostPerKg, PricePerKg float64
	// LastCostPerKg is what the last kilogram of the quantity costs without rules,
	// premiums included: what is over or under the quantity counts at it. It is more
	// than FreeCostPerKg where a cheap lot is used up.
	LastCostPerKg float64
	// Made is the finished mass; Over is how much of it is more than the quantity,
	// below 0 for less.
	Made, Over mass.Mass
}

// weighable turns the optimum without rules into a weighable answer.
func (b *built) weighable(ctx context.Context, engine solver.Engine, a *Answer) error {
	h, err := b.whole(ctx, engine, b.p.Weighing, a.Solution)
	if err != nil {
		return err
	}
	f, err := h.search()
	for round := 0; err == nil && f.masses != nil && round < maxWholeCuts && h.cutBeyond(h.shares(f.masses), 2e-6) > 0; round++ {
		h = newWhole(ctx, engine, h.asked, h.built, h.w, h.free)
		f, err = h.search()
	}
	switch {
	case err != nil:
		return err
	case f.masses != nil:
		return h.answer(a, f)
	case f.none:
		a.Outcome = Infeasible
		return h.explainRules(a)
	}
	a.Outcome = Unfinished
	a.Assumed = append(a.Assumed, fmt.Sprintf(
		"The limits can be met, at %.4f per kg to the milligram, but no weighable formula was found in the time given.", b.realCost(a.Solution.X)))
	return nil
}

// maxWholeCuts ends the searches for a weighable formula between safe limits, each
// with the rows that the one before it was short of.
const maxWholeCuts = 20

// shares are masses in parts of the quantity.
func (h *whole) shares(masses []mass.Mass) []float64 {
	x := make([]float64, len(h.active))
	for k, m := range masses {
		x[k] = h.share(m)
	}
	return x
}

// whole prepares a search by the rules w.
func (b *built) whole(ctx context.Context, engine solver.Engine, w *Weighing, free *solver.Solution) (*whole, error) {
	open := b
	if p := b.p.opened(); p != b.p {
		var err error
		if open, err = build(p, false); err != nil {
			return nil, err
		}
	}
	if open.follow(b) {
		s, _, err := open.optimum(ctx, engine, solver.Options{})
		if err != nil || s.Stop != solver.StopOptimal {
			return nil, errors.Join(err, ErrNumerical)
		}
		free = s
	}
	return newWhole(ctx, engine, b.p, open, w, free), nil
}

// answer fills in a weighable answer.
func (h *whole) answer(a *Answer, f *found) error {
	var portions []portion
	cost, made := 0.0, 0.0
	for k, m := range f.masses {
		if m > 0 {
			portions = append(portions, portion{column: k, mass: m})
			cost += m.Kilograms() * h.p.Candidates[h.active[k]].CostPerKg
			made += m.Kilograms() * h.stays[k]
		}
	}
	reports, broken := h.check(h.asked, portions)
	if broken >= 0 {
		return fmt.Errorf("%w: the weighable formula misses a limit", ErrNumerical)
	}
	free := h.realCost(h.free.X)
	a.Outcome = Optimal
	if !h.proven(f) {
		a.Outcome = Feasible
	}
	a.CostPerKg, a.TotalCost = cost/made, cost
	gap := max(0, f.value-f.bound)
	a.Weighed = &Weighed{Proven: a.Outcome == Optimal, GapPerKg: gap, FreeCostPerKg: free, LastCostPerKg: h.last, PricePerKg: max(0, a.CostPerKg-free),
		Made: mass.RoundKilograms(made, mass.RoundHalfEven)}
	if f.value != 0 {
		a.Weighed.GapFraction = gap / max(f.value, -f.value)
	}
	a.Weighed.Over = a.Weighed.Made - h.p.Quantity
	s, err := h.prices(a, f, made)
	if err != nil {
		return err
	}
	h.components(a, s, portions)
	h.unused(a, s, portions)
	h.weighedOn(a, made)
	a.Limits = reports
	for i := range reports {
		r := &reports[i]
		slack := r.Slack
		h.price(r, s)
		r.Slack = slack
	}
	h.goalReports(a, portions)
	a.Assumed = append(a.Assumed, h.assumed(portions)...)
	if a.UseUp, err = h.useUp(h.ctx, h.engine, a, h.premium(a.Solution.X)); a.UseUp != nil {
		a.Assumed = append(a.Assumed, "What using up costs is worked out without the rules of weighing.")
	}
	return err
}

// weighedOn says on what each component is weighed, and its share of what is made.
func (h *whole) weighedOn(a *Answer, made float64) {
	at := make(map[int]int, len(h.active))
	for k, j := range h.active {
		at[int(j)] = k
	}
	for i := range a.Components {
		c := &a.Components[i]
		l := &h.lines[at[c.Candidate]]
		c.Share = c.Mass.Kilograms() / made
		if n := on(l.bands, c.Mass); n >= 0 {
			b := l.bands[n]
			c.Division, c.Balance, c.Container = b.division, b.balance, b.container
			available := h.p.Candidates[c.Candidate].Available
			c.AtLimit = available >= 0 && c.Mass+b.division > available
		}
		if !c.AtLimit {
			c.StockWorth = 0
		}
	}
}

// prices solves the linear program with the components of the formula and without
// divisions: its prices are those that the answer shows. What is left out is held
// at nothing, so its entry price is what it would be worth if it were one of the
// components.
func (h *whole) prices(a *Answer, f *found, made float64) (*solver.Solution, error) {
	m := h.model.Variant()
	q := made * 1e6
	for k, kg := range f.masses {
		v, l := &m.Variables[k], &h.lines[k]
		if kg == 0 || len(l.bands) == 0 {
			v.Lower, v.Upper = 0, 0
			continue
		}
		v.Lower = float64(l.bands[0].low) / q
		v.Upper = solver.Inf
		if c := &h.p.Candidates[h.active[k]]; c.Available >= 0 && !(float64(c.Available)*h.stays[k] > q) {
			v.Upper = float64(c.Available) / q
		}
		if l.bands[0].container {
			v.Lower, v.Upper = float64(kg)/q, float64(kg)/q
		}
	}
	s, proof, err := solve(h.ctx, h.engine, m, solver.Options{Ranging: true})
	if err == nil && s.Stop == solver.StopOptimal {
		a.Proof = proof
		a.Assumed = append(a.Assumed, "Prices of limits, components and candidates are those of this choice of components when amounts may be anything; whole containers stay as they are.")
		return s, nil
	}
	if err = unlessNumerical(err); err != nil {
		return nil, err
	}
	a.Assumed = append(a.Assumed, "Prices of limits, components and candidates are those of the cheapest formula without rules of weighing.")
	return h.free, nil
}
