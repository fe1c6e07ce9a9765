package app

import (
	"context"
	"errors"
	"slices"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/valuation"
	"millbase/inventory/mass"
	"millbase/solver/formulation"
)

// CorrectRequest asks how a batch in the pot comes back within its limits.
type CorrectRequest struct {
	Batch string // id; its weights are in the pot, its specification counts
	// Pot is what is in it, when it is no batch or differs from the ticket.
	Pot           []PotComponent
	Specification string              // id; empty: that of the batch
	Limits        []formulation.Limit // replace those of the specification
	Tests         map[string]float64  // by limit id or property key
	Capacity      mass.Mass           // 0: twice what is in the pot
	LeastMass     bool
	Date          time.Time // zero: today
	Basis         valuation.Basis
	Book          *BookCandidates // nil: stock of the book, unless there are Inline
	Inline        []InlineCandidate
	// Weighing of the additions: scales, containers and the least amount; nil is to
	// the milligram.
	Weighing *Weighing
}

// PotComponent is a part of what is in the pot.
type PotComponent struct {
	Candidate string // "lots/...", "materials/..." or the id of an inline candidate
	Mass      mass.Mass
}

// Corrected is the answer to a CorrectRequest.
type Corrected struct {
	Answer *formulation.Correction
	// View holds limits, candidates and prices as an optimised formula does.
	View     *Optimised
	Cost     money.Money // of the additions, exact, rounded half-even once
	WorkOff  []WorkOffPlace
	Cautions []string
	Summary  string
	Capacity mass.Mass
}

// WorkOffPlace is an ink that could take some of the pot in.
type WorkOffPlace struct {
	Into, Title string // "specifications/..." or "batches/..."
	Share       float64
	Mass        mass.Mass // of what has to leave the pot
	Of          mass.Mass // the batch that it goes into
}

// CorrectBatch finds the additions that bring a pot back, or says why there are
// none and where its ink could go. Nothing is booked. Errors are Invalid,
// ErrNotFound, ErrNotReady for a batch without weights, and the context's own.
func (b *Book) CorrectBatch(ctx context.Context, req CorrectRequest) (*Corrected, error) {
	if b.store == nil {
		return nil, Faultf(ErrNotReady, "NO_BOOK", "", "There is no book here that knows batches and lots.")
	}
	basis, err := checkBasis(req.Basis)
	if err != nil {
		return nil, err
	}
	req.Basis = basis
	var c *correcting
	err = b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		c = &correcting{req: req}
		return c.load(ctx, b, tx)
	})
	if err != nil {
		return nil, err
	}
	return c.solve(ctx, b)
}

// solve asks the solver, with every offer at the price of the break that its
// addition reaches.
func (c *correcting) solve(ctx context.Context, b *Book) (*Corrected, error) {
	p := c.problem()
	out := &Corrected{Capacity: p.Capacity, View: &Optimised{Currency: c.set.currency, Title: c.set.title, Date: c.set.date, Basis: c.req.Basis,
		Problem: &formulation.Problem{Limits: p.Limits, Candidates: p.Candidates, Catalogue: p.Catalogue, Settings: p.Settings, Currency: p.Currency}}}
	for {
		a, err := formulation.Correct(ctx, b.engine, p)
		if err != nil {
			return nil, c.translate(err)
		}
		out.Answer = a
		if !c.set.pool.reprice(out.View.Problem, &formulation.Answer{Components: a.Components()}, false) {
			break
		}
	}
	if out.Answer.Outcome == formulation.NoTime {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		return nil, Faultf(ErrBusy, "SOLVE_STOPPED", "", "The solver was stopped before it found a correction; try again.")
	}
	return out, c.explain(ctx, b, p, out)
}

// explain fills in costs, cautions, places for work-off and the words.
func (c *correcting) explain(ctx context.Context, b *Book, p *formulation.CorrectionProblem, out *Corrected) (err error) {
	v, a := out.View, out.Answer
	v.Prices, v.LeftOut = c.set.pool.prices, c.set.pool.leftOut
	for _, l := range a.LeftOut {
		of := &p.Candidates[l.Candidate]
		v.LeftOut = append(v.LeftOut, LeftOut{of.ID, of.Title, l.Why})
	}
	c.set.sayWater(v.Problem)
	v.Assumptions = append(slices.Clone(a.Assumed), c.set.said...)
	exact := decimal.Zero
	for _, x := range a.Additions {
		exact = exact.Add(v.Prices[x.Candidate].Mul(money.Kilograms(x.Mass)))
	}
	out.Cost = money.Money{Currency: c.set.currency, Amount: exact}.RoundMinor(money.RoundHalfEven)
	out.Cautions = c.cautions(p, a)
	if out.WorkOff, err = c.workOff(ctx, b, a); err != nil {
		return err
	}
	out.Summary = out.inWords()
	return nil
}

// problem is the question in the solver's terms.
func (c *correcting) problem() *formulation.CorrectionProblem {
	s := c.set.problem()
	p := &formulation.CorrectionProblem{Pot: formulation.Pot{Tests: c.tests}, Limits: s.Limits, Candidates: s.Candidates, Catalogue: s.Catalogue,
		Settings: s.Settings, Currency: s.Currency, Capacity: c.req.Capacity, LeastMass: c.req.LeastMass, Weighing: c.weighing}
	var total mass.Mass
	for _, x := range c.pot {
		p.Pot.Components, p.Pot.Masses = append(p.Pot.Components, x.Candidate), append(p.Pot.Masses, x.mass)
		total += x.mass
	}
	if p.Capacity == 0 {
		p.Capacity = min(2*total, mass.Max)
	}
	return p
}

// translate says the faults that the solver found in the words of the request.
func (c *correcting) translate(err error) error {
	var faults formulation.FieldErrors
	if !errors.As(err, &faults) {
		return c.set.translate(err)
	}
	bad := make(Invalid, 0, len(faults))
	for _, f := range faults {
		if m := potField.FindStringSubmatch(f.Field); m != nil {
			bad = append(bad, c.translatePot(m[1], m[2], f.Problem))
			continue
		}
		bad = append(bad, c.set.translateFault(f))
	}
	return bad
}
