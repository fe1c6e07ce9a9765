package app

import (
	"context"
	"slices"

	"millbase/solver/colour"
	"millbase/solver/formulation"
	"millbase/solver/match"
)

// MatchRequest asks for mixtures that look like a colour.
type MatchRequest struct {
	// Question holds quantity, limits, candidates and weighing; it has no aims and
	// nothing to use up.
	Question  OptimiseRequest
	Print     ShadePrint
	Target    match.Target
	Viewing   colour.Viewing
	Second    *colour.Viewing // nil: A with the same observer
	Tolerance float64         // CIEDE2000; 0: usualTolerance
	MaxBases  int             // 0: any
	// Kinds are the offers asked for; none: all. FrontierPoints is as in match.Want.
	Kinds          []match.Kind
	FrontierPoints int
}

// ShadePrint is on what a shade is printed and how its print is predicted.
type ShadePrint struct {
	Substrate string          // id; empty: Bare
	Bare      *colour.Curve   // the bare substrate as measured, where it is not in the book
	Surface   *colour.Surface // nil: the substrate's, or else none
	Mode      match.Mode
	// Colourants go before those of the book.
	Colourants []InlineColourant
}

// InlineColourant is what one candidate does to the curve.
type InlineColourant struct {
	Candidate string // "lots/...", "suppliers/.../offers/..." or the id of an inline candidate
	match.Colourant
}

// usualTolerance is the CIEDE2000 difference at which most spot colours are
// accepted.
const usualTolerance = 1.0

// Matched is the answer to a MatchRequest.
type Matched struct {
	Result  *match.Result
	Problem *match.Problem
	// View holds what all offers share; of clashing limits its answer is the clash.
	View *Optimised
	// Offers are those of Result.Offers with their exact prices, in the same order.
	Offers  []MatchedOffer
	Summary string
}

// MatchedOffer is a mixture with its cost.
type MatchedOffer struct {
	*match.Offer
	// View is the mixture as an optimised formula.
	View *Optimised
}

// MatchShade finds mixtures that look like a colour. That it is out of reach, or
// that the other limits clash, is an answer, not an error. Errors are Invalid,
// ErrNotFound for the specification and the substrate, and the context's own when
// time ran out.
func (b *Book) MatchShade(ctx context.Context, req MatchRequest) (*Matched, error) {
	m, err := b.matchAsked(ctx, req)
	if err != nil {
		return nil, err
	}
	return m.solve(ctx, b)
}

// solve asks the solver, with every offer of a supplier at the price of the break
// that the first mixture reaches with it; the others cost what their own amounts
// do.
func (m *matching) solve(ctx context.Context, b *Book) (*Matched, error) {
	p, err := m.problem()
	if err != nil {
		return nil, err
	}
	out := &Matched{Problem: p, View: &Optimised{Problem: p.Blend, Currency: m.set.currency, Title: m.set.title, Date: m.set.date,
		Basis: m.set.req.Basis, LeftOut: m.set.pool.leftOut}}
	if len(p.Blend.Candidates) == 0 {
		if err := m.set.checkAlone(p.Blend); err != nil {
			return nil, err
		}
		out.Result = &match.Result{Outcome: match.Clash, Clash: &formulation.Answer{Outcome: formulation.Infeasible, Clash: &formulation.Clash{}}}
		return out, m.explain(out)
	}
	for {
		if out.Result, err = match.Match(ctx, b.engine, p, match.Want{Kinds: m.req.Kinds, FrontierPoints: m.req.FrontierPoints}); err != nil {
			return nil, m.translate(err)
		}
		if len(out.Result.Offers) == 0 || !m.set.pool.reprice(p.Blend, out.Result.Offers[0].Answer, false) {
			return out, m.explain(out)
		}
	}
}

// explain fills in costs and words.
func (m *matching) explain(out *Matched) error {
	v, r := out.View, out.Result
	v.Prices = m.set.pool.prices
	for _, l := range r.LeftOut {
		c := &v.Problem.Candidates[l.Candidate]
		v.LeftOut = append(v.LeftOut, LeftOut{c.ID, c.Title, l.Why})
	}
	m.set.sayWater(v.Problem)
	v.Assumptions = append(slices.Clone(r.Assumed), m.set.said...)
	if v.Answer = r.Clash; v.Answer != nil {
		v.Assumptions = append(slices.Clone(v.Answer.Assumed), v.Assumptions...)
		v.Summary = v.summary()
	}
	for i := range r.Offers {
		o, err := m.offer(out, &r.Offers[i])
		if err != nil {
			return err
		}
		out.Offers = append(out.Offers, o)
	}
	out.Summary = out.inWords()
	return nil
}

// offer costs one mixture at the prices that its own amounts get.
func (m *matching) offer(out *Matched, o *match.Offer) (MatchedOffer, error) {
	view := *out.View
	view.Answer, view.Prices = o.Answer, slices.Clone(m.set.pool.prices)
	for _, said := range o.Answer.Assumed {
		if !slices.Contains(out.View.Assumptions, said) {
			out.View.Assumptions = append(out.View.Assumptions, said)
		}
	}
	for _, c := range o.Answer.Components {
		if ladder := m.set.pool.ladders[c.Candidate]; ladder != nil {
			view.Prices[c.Candidate] = ladder[rungFor(ladder, c.Mass)].price
		}
	}
	if len(o.Answer.Components) == 0 { // it can't be weighed
		return MatchedOffer{o, &view}, nil
	}
	return MatchedOffer{o, &view}, view.addUp()
}
