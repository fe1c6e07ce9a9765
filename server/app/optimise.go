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
	"millbase/inventory/property"
	"millbase/solver/formulation"
)

// OptimiseRequest asks for the cheapest formula.
type OptimiseRequest struct {
	Specification string // id; its limits come before Limits
	// Limits replace those of the specification with the same id.
	Limits     []formulation.Limit
	Quantity   mass.Mass
	Date       time.Time       // the day it is made; zero: today at the plant
	Basis      valuation.Basis // of lots; zero: lot
	Book       *BookCandidates // nil: only Inline, or all of the book when there is none
	Inline     []InlineCandidate
	Properties []property.Definition // that only this request knows
	Currency   string                // of the prices of Inline; empty: the plant's
	// WaterDensityKgPerL for VOC less water; 0: the plant's.
	WaterDensityKgPerL float64
	UseUp              *UseUp    // lots of the book that are worth using up; nil: none
	Weighing           *Weighing // nil: masses to the milligram
	// Goals are aims beside the cost; the rest is as in formulation.Problem.
	Goals                        []formulation.Goal
	GoalTolerance, CostTolerance float64
	CostRank                     int
}

// InlineCandidate is a candidate that stands in the request with its price.
type InlineCandidate struct {
	formulation.Candidate
	Price money.PerKg
	// UsePremium is what using a kg of it up is worth beyond its price.
	UsePremium money.PerKg
}

// Optimised is the answer to an OptimiseRequest with all that is needed to read
// it.
type Optimised struct {
	Answer      *formulation.Answer
	Problem     *formulation.Problem
	Prices      []decimal.Decimal // per kg of Problem.Candidates, in Currency
	Currency    string
	Title       string // of the specification; may be empty
	Date        time.Time
	Basis       valuation.Basis
	Total       money.Money // of an optimal answer, exact, rounded half-even once
	CostPerKg   money.PerKg
	LeftOut     []LeftOut
	Assumptions []string
	// Summary explains an infeasible answer in plain words.
	Summary string
}

// Optimise finds the cheapest formula. That no formula meets the limits is an
// answer, not an error. Errors are Invalid, ErrNotFound for the specification,
// and the context's own when time ran out.
func (b *Book) Optimise(ctx context.Context, req OptimiseRequest) (*Optimised, error) {
	set, err := b.asked(ctx, req)
	if err != nil {
		return nil, err
	}
	return b.solve(ctx, set)
}

// asked is a request with what the book has to say to it.
func (b *Book) asked(ctx context.Context, req OptimiseRequest) (*setting, error) {
	set := &setting{req: req}
	var err error
	if set.req.Basis, err = checkBasis(req.Basis); err != nil {
		return nil, err
	}
	if b.store != nil && req.Book == nil && len(req.Inline) == 0 {
		set.req.Book = &BookCandidates{}
	}
	if b.store == nil {
		if req.Book != nil || req.Specification != "" {
			return nil, Faultf(ErrNotReady, "NO_BOOK", "", "There is no book here: put every candidate and limit into the request.")
		}
		err = set.withoutBook(b.clock())
	} else {
		err = b.store.View(ctx, func(ctx context.Context, tx Tx) error {
			set = &setting{req: set.req}
			return b.load(ctx, tx, set)
		})
	}
	return set, err
}

// setting is a request with what the book had to say to it.
type setting struct {
	req       OptimiseRequest
	plant     Plant // zero when there is none
	catalogue *property.Catalogue
	currency  string // of the answer
	date      time.Time
	title     string
	limits    []formulation.Limit
	origin    []int // of limits: index in the request, -1 from the specification
	pool      pool
	said      []string // assumptions
}

func (s *setting) withoutBook(now time.Time) (err error) {
	if s.date = s.req.Date; s.date.IsZero() {
		s.date = now.UTC().Truncate(24 * time.Hour)
	}
	s.overlay(nil)
	if s.catalogue, err = catalogueWith(nil, s.req.Properties); err != nil {
		return err
	}
	return s.addInline()
}

// load reads what the request needs of the book, in a fixed number of queries.
func (b *Book) load(ctx context.Context, tx Tx, s *setting) error {
	if s.req.Specification != "" {
		spec, err := tx.Specifications().Get(ctx, s.req.Specification)
		if err != nil {
			return absent(err, "specifications/"+s.req.Specification)
		}
		s.title = spec.Value.Title
		s.overlay(spec.Value.Limits)
	} else {
		s.overlay(nil)
	}
	if s.req.Book == nil {
		return b.loadForInline(ctx, tx, s)
	}
	room, err := b.loadStockRoom(ctx, tx, s.req.Properties...)
	if err != nil {
		return err
	}
	s.plant, s.catalogue = room.plant, room.catalogue
	if s.date, err = onDate(s.req.Date, room.today, "date"); err != nil {
		return err
	}
	if err := room.know(ctx, tx, s.req.Book.Excluded); err != nil {
		return err
	}
	chosen, err := room.choose(*s.req.Book, s.date, s.req.Basis, s.req.Quantity)
	if err != nil {
		return err
	}
	if err := s.addInline(); err != nil {
		return err
	}
	if err := s.preferIn(chosen); err != nil {
		return err
	}
	room.fill(&s.pool, chosen)
	s.said = append(s.said, room.assumptions(&s.pool, chosen)...)
	return nil
}

// loadForInline takes the plant's settings and properties where there are any:
// candidates that stand in the request need no book.
func (b *Book) loadForInline(ctx context.Context, tx Tx, s *setting) error {
	plant, err := tx.Plant().Get(ctx)
	switch {
	case errors.Is(err, ErrNotFound):
		plant.Value = Plant{TimeZone: "UTC"}
	case err != nil:
		return err
	}
	s.plant = plant.Value
	if s.date = s.req.Date; s.date.IsZero() {
		if s.date, err = b.today(s.plant); err != nil {
			return err
		}
	}
	if s.catalogue, err = propertyCatalogue(ctx, tx, s.req.Properties...); err != nil {
		return err
	}
	return s.addInline()
}

// overlay lays the limits of the request over those of the specification.
func (s *setting) overlay(spec []formulation.Limit) {
	own := make(map[string]int, len(s.req.Limits))
	for i, l := range s.req.Limits {
		own[l.ID] = i
	}
	placed := make([]bool, len(s.req.Limits))
	for _, l := range spec {
		from := -1
		if i, replaced := own[l.ID]; replaced {
			l, from, placed[i] = s.req.Limits[i], i, true
		}
		s.limits, s.origin = append(s.limits, l), append(s.origin, from)
	}
	for i, l := range s.req.Limits {
		if !placed[i] {
			s.limits, s.origin = append(s.limits, l), append(s.origin, i)
		}
	}
}

// problem is the question in the solver's terms.
func (s *setting) problem() *formulation.Problem {
	water := s.req.WaterDensityKgPerL
	if water == 0 {
		water = s.plant.WaterDensityKgPerL
	}
	return &formulation.Problem{Quantity: s.req.Quantity, Limits: s.limits, Candidates: s.pool.candidates,
		Goals: s.req.Goals, GoalTolerance: s.req.GoalTolerance, CostRank: s.req.CostRank, CostTolerance: s.req.CostTolerance,
		Catalogue: s.catalogue, Settings: formulation.Settings{WaterDensityKgPerL: water}, Currency: s.currency}
}

func (b *Book) solve(ctx context.Context, s *setting) (*Optimised, error) {
	p := s.problem()
	o := &Optimised{Problem: p, Currency: s.currency, Title: s.title, Date: s.date, Basis: s.req.Basis, LeftOut: s.pool.leftOut}
	if len(p.Candidates) == 0 {
		if err := s.checkAlone(p); err != nil {
			return nil, err
		}
		o.Answer = &formulation.Answer{Outcome: formulation.Infeasible, Clash: &formulation.Clash{}}
		o.Assumptions = s.said
		o.Summary = o.summary()
		return o, nil
	}
	w, err := s.weighing()
	if err != nil {
		return nil, err
	}
	if w == nil {
		o.Answer, err = b.withBreaks(ctx, p, &s.pool)
	} else {
		o.Answer, err = b.weighable(ctx, p, &s.pool, w)
	}
	if err != nil {
		return nil, s.translate(err)
	}
	o.Prices = s.pool.prices
	for _, l := range o.Answer.LeftOut {
		c := &p.Candidates[l.Candidate]
		o.LeftOut = append(o.LeftOut, LeftOut{c.ID, c.Title, l.Why})
	}
	s.sayWater(p)
	o.Assumptions = append(slices.Clone(o.Answer.Assumed), s.said...)
	switch o.Answer.Outcome {
	case formulation.Unfinished:
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if w != nil {
			return o, nil // no weighable formula in the time given: an answer
		}
		return nil, Faultf(ErrBusy, "SOLVE_STOPPED", "", "The solver was stopped before it found the cheapest formula; try again.")
	case formulation.Optimal, formulation.Feasible:
		err = o.addUp()
	case formulation.Infeasible:
		o.Summary = o.summary()
	}
	return o, err
}

// addUp works out the cost from the masses and the exact prices, independently
// of the solver's floating point.
func (o *Optimised) addUp() (err error) {
	masses := make([]mass.Mass, len(o.Answer.Components))
	prices := make([]decimal.Decimal, len(masses))
	for i, c := range o.Answer.Components {
		masses[i], prices[i] = c.Mass, o.Prices[c.Candidate]
	}
	o.Total, o.CostPerKg, err = exactCost(o.Currency, masses, prices, o.made())
	return err
}

// withBreaks solves with every offer at the price of the break that the quantity
// used of it reaches. It starts from the lowest price that the whole quantity
// could get and, where the answer uses less, goes on with the dearer price, until
// all fit: prices only rise, so it ends. Then it tries once whether what is used
// more of by now gets a better price.
func (b *Book) withBreaks(ctx context.Context, p *formulation.Problem, pool *pool) (*formulation.Answer, error) {
	for {
		a, err := formulation.Optimise(ctx, b.engine, p)
		if err != nil || a.Outcome != formulation.Optimal {
			return a, err
		}
		if !pool.reprice(p, a, false) {
			return b.withBetterBreaks(ctx, p, pool, a)
		}
	}
}

func (b *Book) withBetterBreaks(ctx context.Context, p *formulation.Problem, pool *pool, a *formulation.Answer) (*formulation.Answer, error) {
	before := slices.Clone(pool.prices)
	if !pool.reprice(p, a, true) {
		return a, nil
	}
	better, err := formulation.Optimise(ctx, b.engine, p)
	if err != nil || better.Outcome != formulation.Optimal {
		return better, err
	}
	if better.CostPerKg <= a.CostPerKg && !pool.reprice(p, better, false) {
		return better, nil
	}
	for j, price := range before {
		pool.prices[j], p.Candidates[j].CostPerKg = price, price.InexactFloat64()
	}
	return a, nil
}

// reprice moves offers that are used to the price of the mass used: to dearer
// prices, or with better to lower ones. It reports whether any moved.
func (p *pool) reprice(problem *formulation.Problem, a *formulation.Answer, better bool) (moved bool) {
	for _, c := range a.Components {
		j := c.Candidate
		if p.ladders[j] == nil {
			continue
		}
		price := p.ladders[j][rungFor(p.ladders[j], c.Mass)].price
		if sign := price.Cmp(p.prices[j]); better && sign < 0 || !better && sign > 0 {
			p.prices[j], problem.Candidates[j].CostPerKg = price, price.InexactFloat64()
			moved = true
		}
	}
	return moved
}
