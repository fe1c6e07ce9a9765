package app

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"millbase/inventory/mass"
	"millbase/solver"
	"millbase/solver/formulation"
)

// FrontierRequest asks for the cheapest cost against one bound of a question: a
// limit, a stock or the day. Weighing, aims, confidences and premiums of the
// question are left aside.
type FrontierRequest struct {
	Question OptimiseRequest
	Limit    string // id of the limit that moves; or
	Stock    string // the candidate whose available amount moves; or
	Until    time.Time
	Side     formulation.Side // of a limit with both bounds
	From, To *float64         // in the limit's unit or kg; nil: as far as it goes
}

// TracedFrontier is the answer to a FrontierRequest.
type TracedFrontier struct {
	Title, Unit, Currency string
	// Straight is true when the cost between two points is a straight line in the
	// bound.
	Straight    bool
	Points      []FrontierPoint
	Summary     string
	Assumptions []string
	LeftOut     []LeftOut
}

// FrontierPoint is a place at which the formula changes, or an end.
type FrontierPoint struct {
	Bound         float64
	Date          time.Time // of a frontier by date
	Before, After *float64  // d cost per kg/d bound on either side; nil where there is none
	// Formula is the cheapest formula there; its outcome says whether there is one.
	Formula *Optimised
	Cost    float64 // per kg, not rounded
	Change  string
}

// TraceFrontier works out a frontier. That there is no formula anywhere on it is
// an answer without points. Errors are as those of Optimise.
func (b *Book) TraceFrontier(ctx context.Context, req FrontierRequest) (*TracedFrontier, error) {
	named := 0
	for _, given := range []bool{req.Limit != "", req.Stock != "", !req.Until.IsZero()} {
		if given {
			named++
		}
	}
	if named != 1 {
		return nil, InvalidField("limit_id", "say what moves: one of limit_id, stock and until_date")
	}
	q := &req.Question
	q.UseUp, q.Weighing, q.Goals = nil, nil, nil
	q.Limits = certain(q.Limits)
	if !req.Until.IsZero() {
		return b.frontierByDate(ctx, req)
	}
	set, err := b.asked(ctx, *q)
	if err != nil {
		return nil, err
	}
	return b.frontierOf(ctx, req, set)
}

// plain leaves confidences and premiums aside.
func (s *setting) plain() {
	s.limits = certain(s.limits)
	for j := range s.pool.candidates {
		s.pool.candidates[j].UsePremium = 0
	}
}

// certain are limits at the values of the certificates.
func certain(limits []formulation.Limit) []formulation.Limit {
	out := slices.Clone(limits)
	for i := range out {
		out[i].Confidence, out[i].Budget, out[i].Spread = 0, 0, 0
	}
	return out
}

func (b *Book) frontierOf(ctx context.Context, req FrontierRequest, set *setting) (*TracedFrontier, error) {
	set.plain()
	p := set.problem()
	if len(p.Limits) == 0 && req.Limit != "" {
		return nil, InvalidField("limits", "give at least the limit %.80q that is to move", req.Limit)
	}
	if len(p.Candidates) == 0 {
		if err := set.checkAlone(p); err != nil {
			return nil, err
		}
		return &TracedFrontier{Title: set.title, Currency: set.currency, LeftOut: set.pool.leftOut, Assumptions: set.said,
			Summary: "No formula: there is nothing to make it from. See what was left out and why."}, nil
	}
	along, err := set.along(req, p)
	if err != nil {
		return nil, err
	}
	// The offers are priced for the formula of the question as it stands.
	if _, err := b.withBreaks(ctx, p, &set.pool); err != nil {
		return nil, set.translate(err)
	}
	f, err := formulation.CostFrontier(ctx, b.engine, p, along)
	if err != nil {
		return nil, set.translate(err)
	}
	switch f.Outcome {
	case formulation.Unfinished:
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		return nil, Faultf(ErrBusy, "SOLVE_STOPPED", "", "The solver was stopped before the frontier was done; try again.")
	case formulation.Unbounded:
		return nil, InvalidField("question", "a price is negative without limit, so there is no cheapest formula")
	}
	out := &TracedFrontier{Title: set.title, Unit: f.Unit, Currency: set.currency, Straight: !f.Quotient && !f.Curved, LeftOut: set.pool.leftOut}
	for _, l := range f.LeftOut {
		c := &p.Candidates[l.Candidate]
		out.LeftOut = append(out.LeftOut, LeftOut{c.ID, c.Title, l.Why})
	}
	set.sayWater(p)
	out.Assumptions = set.said
	if slices.ContainsFunc(set.limits, func(l formulation.Limit) bool { return l.Confidence > 0 || l.Budget > 0 }) {
		out.Assumptions = append(out.Assumptions, "Confidences are left aside: limits hold at the certificate values.")
	}
	if slices.ContainsFunc(set.pool.ladders, func(r []rung) bool { return r != nil }) {
		out.Assumptions = append(out.Assumptions, "Offers keep the price break that the cheapest formula of the question reaches.")
	}
	out.Points = set.points(p, f)
	out.Summary = frontierSummary(p, f, set.currency)
	return out, nil
}

// along finds what moves in the problem.
func (s *setting) along(req FrontierRequest, p *formulation.Problem) (formulation.Along, error) {
	out := formulation.Along{Limit: -1, Candidate: -1, Side: req.Side, From: req.From, To: req.To}
	if req.Limit != "" {
		ids := make([]string, len(p.Limits))
		for i := range p.Limits {
			ids[i] = p.Limits[i].ID
		}
		if out.Limit = slices.Index(ids, req.Limit); out.Limit < 0 {
			return out, InvalidField("limit_id", "%.80q is no limit of the question; it has %s", req.Limit, strings.Join(ids, ", "))
		}
		return out, nil
	}
	out.Candidate = slices.IndexFunc(p.Candidates, func(c formulation.Candidate) bool { return c.ID == req.Stock })
	if out.Candidate < 0 {
		for _, l := range s.pool.leftOut {
			if l.Candidate == req.Stock {
				return out, InvalidField("stock", "%s takes no part: %s", req.Stock, l.Why)
			}
		}
		return out, InvalidField("stock", "%.80q is none of the candidates; write it like lots/... or suppliers/.../offers/..., or as in the request", req.Stock)
	}
	return out, nil
}

// points are the ends and breakpoints of a frontier.
func (s *setting) points(p *formulation.Problem, f *formulation.Frontier) []FrontierPoint {
	var out []FrontierPoint
	for k := range f.Segments {
		seg := &f.Segments[k]
		slope := seg.From.ShadowPrice
		at := s.point(p, &seg.From)
		at.After = &slope
		if k > 0 {
			before := f.Segments[k-1].To.ShadowPrice
			at.Before, at.Change = &before, changeBetween(p, &f.Segments[k-1], seg)
		} else {
			at.Change = beyond(f.Low, "below")
		}
		out = append(out, at)
		if last := k == len(f.Segments)-1; last && seg.To.Bound > seg.From.Bound {
			end, before := s.point(p, &seg.To), seg.To.ShadowPrice
			end.Before, end.Change = &before, beyond(f.High, "above")
			out = append(out, end)
		}
	}
	return out
}

// point is one formula of a frontier, its masses rounded to the milligram.
func (s *setting) point(p *formulation.Problem, at *formulation.Point) FrontierPoint {
	a := &formulation.Answer{Outcome: formulation.Optimal, CostPerKg: at.CostPerKg}
	for _, x := range at.Parts {
		m := mass.RoundKilograms(x.Share*p.Quantity.Kilograms(), mass.RoundHalfEven)
		a.Components = append(a.Components, formulation.Component{Candidate: x.Candidate, Mass: m, Share: x.Share,
			CostPerKg: p.Candidates[x.Candidate].CostPerKg, CostRange: solver.Range{Lower: math.Inf(-1), Upper: math.Inf(1)}})
	}
	return FrontierPoint{Bound: at.Bound, Cost: at.CostPerKg,
		Formula: &Optimised{Answer: a, Problem: p, Prices: s.pool.prices, Currency: s.currency, Title: s.title, Date: s.date, Basis: s.req.Basis}}
}

// changeBetween says what comes in and what goes out from one segment to the next.
func changeBetween(p *formulation.Problem, a, b *formulation.Segment) string {
	used := func(s *formulation.Segment) map[int]bool {
		out := map[int]bool{}
		for _, parts := range [][]formulation.Part{s.From.Parts, s.To.Parts} {
			for _, x := range parts {
				out[x.Candidate] = true
			}
		}
		return out
	}
	before, after := used(a), used(b)
	var in, gone []string
	for j := range p.Candidates {
		switch {
		case after[j] && !before[j]:
			in = append(in, p.Candidates[j].Name())
		case before[j] && !after[j]:
			gone = append(gone, p.Candidates[j].Name())
		}
	}
	return inAndOut(in, gone, "another limit or stock binds")
}

func inAndOut(in, gone []string, otherwise string) string {
	var said []string
	if len(in) > 0 {
		said = append(said, "in: "+listOf(few(in), "and"))
	}
	if len(gone) > 0 {
		said = append(said, "out: "+listOf(few(gone), "and"))
	}
	if len(said) == 0 {
		return otherwise
	}
	return strings.Join(said, "; ")
}

// beyond says what is beyond an end.
func beyond(e formulation.End, where string) string {
	switch e {
	case formulation.EndInfeasible:
		return "no formula " + where
	case formulation.EndFree:
		return "it no longer matters " + where
	case formulation.EndBound:
		return "the other bound of the limit stands here"
	case formulation.EndCut:
		return "it goes on " + where
	}
	return ""
}

// frontierSummary says in plain words where a frontier begins and ends.
func frontierSummary(p *formulation.Problem, f *formulation.Frontier, currency string) string {
	name := ""
	if f.Limit >= 0 {
		name = p.Limits[f.Limit].Name()
		if l := &p.Limits[f.Limit]; l.Lower != nil && l.Upper != nil {
			name = "the " + string(f.Side) + " bound of " + name
		}
	} else {
		name = "the stock of " + p.Candidates[f.Candidate].Name()
	}
	if len(f.Segments) == 0 {
		return "No formula: wherever " + name + " stands, the other limits and the stock can't be met."
	}
	low, high := f.Segments[0].From, f.Segments[len(f.Segments)-1].To
	tell := func(at formulation.Point) string {
		return fmt.Sprintf("%s (%.4f %s per kg)", withUnit(at.Bound, f.Unit), at.CostPerKg, currency)
	}
	said := fmt.Sprintf("From %s to %s of %s the formula changes %s.", tell(low), tell(high), name, times(len(f.Segments)-1))
	for _, e := range []struct {
		end   formulation.End
		where string
	}{{f.Low, "Below"}, {f.High, "Above"}} {
		switch e.end {
		case formulation.EndInfeasible:
			said += " " + e.where + " that there is no formula."
		case formulation.EndFree:
			said += " " + e.where + " that it no longer matters."
		}
	}
	return said
}

func times(n int) string {
	switch n {
	case 0:
		return "nowhere"
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}
