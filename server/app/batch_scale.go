package app

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"millbase/costing/valuation"
	"millbase/inventory/batch"
	"millbase/inventory/mass"
	"millbase/solver/formulation"
)

// scaleTries is how often limits are drawn in so that a formula rounded to the
// scale still meets them.
const scaleTries = 12

// linesBySpecification weighs out the cheapest formula from stock that meets the
// specification when every weight is rounded to the plant's scale.
func (b *Book) linesBySpecification(ctx context.Context, tx Tx, of batch.Batch, basis valuation.Basis) ([]batch.Line, error) {
	s := &setting{req: OptimiseRequest{Specification: of.Specification, Quantity: of.Quantity, Basis: basis,
		Book: &BookCandidates{StockOnly: true}}}
	room, err := b.loadStockRoom(ctx, tx)
	if err != nil {
		return nil, err
	}
	s.req.Date = room.useDate(of)
	if err := b.load(ctx, tx, s); err != nil {
		return nil, err
	}
	division := max(room.plant.ScaleDivision, mass.Milligram)
	s.req.Quantity = of.Quantity.RoundTo(division, mass.RoundCeil)
	left := room.freePlaces()
	for j := range s.pool.candidates {
		c := &s.pool.candidates[j]
		c.Available = left.sum(strings.TrimPrefix(c.ID, "lots/"))
	}
	masses, err := b.onScale(ctx, s, of, division)
	if err != nil {
		return nil, err
	}
	var lines []batch.Line
	for j, m := range masses {
		if m > 0 {
			c := &s.pool.candidates[j]
			lines = append(lines, left.take(c.Material, strings.TrimPrefix(c.ID, "lots/"), m)...)
		}
	}
	return batch.WeighingOrder(lines, room.class), nil
}

// onScale is the mass of every candidate, in whole divisions. Rounding moves the
// value of a limit that binds; where it breaks one, single divisions are moved
// about, and where that does not help, the limit is drawn in by what was missing
// and the formula is found anew. What is returned meets the limits as they were
// given, by formulation.Evaluate.
func (b *Book) onScale(ctx context.Context, s *setting, of batch.Batch, division mass.Mass) ([]mass.Mass, error) {
	given := s.problem()
	tight := *given
	tight.Limits = slices.Clone(given.Limits)
	var broken []formulation.LimitReport
	for try := range scaleTries {
		o, err := b.solveOnce(ctx, s, &tight)
		var cannot Invalid
		if try > 0 && errors.As(err, &cannot) {
			break // a limit drawn in beyond what it can be
		}
		if err != nil {
			return nil, err
		}
		if o.Answer.Outcome != formulation.Optimal {
			if try > 0 {
				break
			}
			return nil, notFromStock(of, o)
		}
		masses := rounded(given, o.Answer.Components, division)
		if broken, err = brokenLimits(given, masses); err != nil {
			return nil, s.translate(err)
		}
		if len(broken) == 0 {
			return masses, nil
		}
		if fixed, ok := repair(given, masses, division); ok {
			return fixed, nil
		}
		for _, r := range broken {
			drawIn(&tight.Limits[r.Limit], &given.Limits[r.Limit], r)
		}
	}
	return nil, notOnScale(of, given, broken, division)
}

func (b *Book) solveOnce(ctx context.Context, s *setting, p *formulation.Problem) (*Optimised, error) {
	o := &Optimised{Problem: p, Currency: s.currency, Title: s.title}
	if len(p.Candidates) == 0 {
		o.Answer = &formulation.Answer{Outcome: formulation.Infeasible, Clash: &formulation.Clash{}}
		return o, nil
	}
	var err error
	if o.Answer, err = formulation.Optimise(ctx, b.engine, p); err != nil {
		return nil, s.translate(err)
	}
	if o.Answer.Outcome == formulation.Unfinished {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		return nil, Faultf(ErrBusy, "SOLVE_STOPPED", "", "The solver was stopped before it found the cheapest formula; try again.")
	}
	return o, nil
}

// rounded puts the components on the scale: each down to a whole division, and
// the divisions that are missing from the quantity to the largest remainders
// (Hamilton's method). Where something is not retained the quantity does not
// follow from the weights, and each is rounded to the nearest division.
func rounded(p *formulation.Problem, of []formulation.Component, division mass.Mass) []mass.Mass {
	out := make([]mass.Mass, len(p.Candidates))
	var sum mass.Mass
	whole := true
	order := make([]int, 0, len(of))
	rest := make([]mass.Mass, len(p.Candidates))
	for _, c := range of {
		j := c.Candidate
		out[j] = c.Mass.RoundTo(division, mass.RoundFloor)
		rest[j] = c.Mass - out[j]
		sum += out[j]
		order = append(order, j)
		whole = whole && p.Candidates[j].Properties.Retained() == 1
	}
	if !whole {
		for _, c := range of {
			out[c.Candidate] = min(c.Mass.RoundTo(division, mass.RoundHalfEven), p.Candidates[c.Candidate].Available)
		}
		return out
	}
	slices.SortStableFunc(order, func(a, b int) int { return int(min(1, max(-1, rest[b]-rest[a]))) })
	missing := p.Quantity - sum
	for missing >= division {
		before := missing
		for _, j := range order {
			if missing >= division && out[j]+division <= p.Candidates[j].Available {
				out[j] += division
				missing -= division
			}
		}
		if missing == before {
			break
		}
	}
	return out
}

func brokenLimits(p *formulation.Problem, masses []mass.Mass) ([]formulation.LimitReport, error) {
	kg := make([]float64, len(masses))
	for j, m := range masses {
		kg[j] = m.Kilograms()
	}
	reports, err := formulation.Evaluate(p, kg)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(reports, func(r formulation.LimitReport) bool { return r.Met }), nil
}

// drawIn moves the bound that a rounded formula broke inwards by a little more
// than it was missed by.
func drawIn(tight, given *formulation.Limit, r formulation.LimitReport) {
	by := 1.25 * math.Abs(r.Slack)
	if math.IsInf(by, 0) || math.IsNaN(by) {
		return
	}
	// Bounds must not cross: an equation has no inside at all.
	switch {
	case given.Lower != nil && r.Value < *given.Lower:
		if v := *tight.Lower + by; tight.Upper == nil || v <= *tight.Upper {
			tight.Lower = &v
		}
	case given.Upper != nil && r.Value > *given.Upper:
		if v := *tight.Upper - by; tight.Lower == nil || v >= *tight.Lower {
			tight.Upper = &v
		}
	}
}

func notFromStock(of batch.Batch, o *Optimised) error {
	why := "the price of something in stock is below zero without limit"
	if o.Answer.Outcome == formulation.Infeasible {
		why = o.summary()
	}
	return Faultf(ErrConflict, "NO_FORMULA_FROM_STOCK", "batches/"+of.ID, "Batch %s can't be made from what is free in stock. %s", of.ID, why)
}

func notOnScale(of batch.Batch, p *formulation.Problem, broken []formulation.LimitReport, division mass.Mass) error {
	said := make([]string, len(broken))
	for i, r := range broken {
		l := &p.Limits[r.Limit]
		said[i] = fmt.Sprintf("%s would be %s", l.Name(), withUnit(r.Value, l.Unit(p.Catalogue)))
		if r.Why != "" {
			said[i] = l.Name() + " can't be worked out: " + r.Why
		}
	}
	return Faultf(ErrConflict, "BROKEN_BY_ROUNDING", "batches/"+of.ID,
		"Weighed to %s, batch %s does not meet its specification: %s. Make a larger batch, weigh on a finer scale or widen the limit.",
		division, of.ID, listOf(said, "and"))
}
