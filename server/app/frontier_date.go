package app

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"millbase/solver/formulation"
)

// mostDays is how far a frontier by date may look ahead.
const mostDays = 400

// frontierByDate optimises the question anew for every day on which something
// changes: a lot is out of date, an offer can arrive.
func (b *Book) frontierByDate(ctx context.Context, req FrontierRequest) (*TracedFrontier, error) {
	if b.store == nil || req.Question.Book == nil && len(req.Question.Inline) > 0 {
		return nil, InvalidField("until_date", "candidates of the request do not depend on the day; take those of the book (book: {})")
	}
	if req.Question.Book == nil {
		req.Question.Book = &BookCandidates{}
	}
	var err error
	if req.Question.Basis, err = checkBasis(req.Question.Basis); err != nil {
		return nil, err
	}
	var days []*setting
	err = b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		days, err = b.daysOfChange(ctx, tx, req)
		return err
	})
	if err != nil {
		return nil, err
	}
	out := &TracedFrontier{Title: days[0].title, Currency: days[0].currency, Straight: true}
	for i, s := range days {
		s.plain()
		o, err := b.solve(ctx, s)
		if err != nil {
			return nil, err
		}
		at := FrontierPoint{Date: s.date, Formula: o, Cost: o.Answer.CostPerKg}
		if i > 0 {
			at.Change = changeOfPool(days[i-1], s)
			if sameFormula(out.Points[len(out.Points)-1].Formula, o) {
				continue
			}
		}
		out.Points = append(out.Points, at)
		out.LeftOut, out.Assumptions = o.LeftOut, o.Assumptions
	}
	out.Summary = fmt.Sprintf("From %s to %s the cheapest formula changes %s.", dayOf(days[0].date), dayOf(req.Until), times(len(out.Points)-1))
	return out, nil
}

// daysOfChange are settings of the first day and of every later one on which what
// may go into the pot is not that of the day before.
func (b *Book) daysOfChange(ctx context.Context, tx Tx, req FrontierRequest) ([]*setting, error) {
	first := &setting{req: req.Question}
	if err := b.load(ctx, tx, first); err != nil {
		return nil, err
	}
	if last := first.date.AddDate(0, 0, mostDays); req.Until.Before(first.date) || req.Until.After(last) {
		return nil, InvalidField("until_date", "must be from %s to %s", dayOf(first.date), dayOf(last))
	}
	room, err := b.loadStockRoom(ctx, tx, req.Question.Properties...)
	if err != nil {
		return nil, err
	}
	days := []*setting{first}
	for day := first.date.AddDate(0, 0, 1); !day.After(req.Until); day = day.AddDate(0, 0, 1) {
		chosen, err := room.choose(*req.Question.Book, day, req.Question.Basis, req.Question.Quantity)
		if err != nil {
			return nil, err
		}
		s := &setting{req: first.req, plant: first.plant, catalogue: first.catalogue, date: day, title: first.title,
			limits: first.limits, origin: first.origin}
		if err := s.addInline(); err != nil {
			return nil, err
		}
		room.fill(&s.pool, chosen)
		if last := days[len(days)-1]; slices.Equal(last.pool.names(), s.pool.names()) {
			continue
		}
		s.said = append(s.said, room.assumptions(&s.pool, chosen)...)
		days = append(days, s)
	}
	return days, nil
}

func (p *pool) names() []string {
	out := make([]string, len(p.candidates))
	for j := range p.candidates {
		out[j] = p.candidates[j].ID
	}
	return out
}

// changeOfPool says what may go in from a day on, and what may not any more.
func changeOfPool(before, after *setting) string {
	titles := func(s, other *setting) (out []string) {
		known := other.pool.names()
		for _, c := range s.pool.candidates {
			if !slices.Contains(known, c.ID) {
				out = append(out, c.Name())
			}
		}
		return out
	}
	var said []string
	if in := titles(after, before); len(in) > 0 {
		said = append(said, "can arrive: "+listOf(few(in), "and"))
	}
	if gone := titles(before, after); len(gone) > 0 {
		said = append(said, "out of date: "+listOf(few(gone), "and"))
	}
	return strings.Join(said, "; ")
}

// sameFormula reports whether two answers use the same masses at the same cost.
func sameFormula(a, b *Optimised) bool {
	if a.Answer.Outcome != b.Answer.Outcome || math.Abs(a.Answer.CostPerKg-b.Answer.CostPerKg) > 1e-9*math.Abs(a.Answer.CostPerKg) {
		return false
	}
	return slices.EqualFunc(a.Answer.Components, b.Answer.Components, func(x, y formulation.Component) bool {
		return x.Mass == y.Mass && a.Problem.Candidates[x.Candidate].ID == b.Problem.Candidates[y.Candidate].ID
	})
}
