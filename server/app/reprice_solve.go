package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"

	"millbase/inventory/mass"
	"millbase/solver"
	"millbase/solver/formulation"
	"millbase/solver/reprice"
)

// mostKept is how many coefficients a book may have and still be kept in memory
// between requests: about 400 MiB. A larger one is solved afresh each time.
const mostKept = 30_000_000

// keptBook is the last repriced book: every program with its answer, by what it is
// made of. It does not change, but for what each program remembers of its answer.
type keptBook struct {
	book     *reprice.Book
	at       map[string]int // the place of a program, by its key
	programs []*keptProgram
}

// keptProgram is the program of one specification in one quantity. None of its
// figures depends on prices.
type keptProgram struct {
	program *formulation.Program // without its model where the book has it
	places  int                  // coefficients
	bad     error                // why there is no program; nil for none
	afresh  bool                 // no linear program says all of it: Optimise answers each time

	mutex sync.Mutex
	point *float64         // the first figure of the point that masses are of
	parts []part           // of the point
	ray   *solver.Solution // the proof that why is of
	why   string
}

// part is the mass of a candidate in a formula.
type part struct {
	candidate int
	mass      mass.Mass
}

// size is the number of coefficients.
func (k *keptBook) size() (n int) {
	for _, p := range k.programs {
		n += p.places
	}
	return n
}

// key says what the program of a formula is made of: beside prices and stock, all
// of it.
func (r *repricing) key(a repricedInk) string {
	return fmt.Sprintf("%s@%d|%d|%v|%s", a.spec.Value.ID, a.spec.Version, a.quantity, a.without, r.pools[a.quantity].mark)
}

// problem is the question for one formula, at the book's prices or those tried out.
func (r *repricing) problem(a repricedInk, tried bool) *formulation.Problem {
	pool := r.pools[a.quantity]
	p := &formulation.Problem{Quantity: a.quantity, Limits: a.spec.Value.Limits, Candidates: pool.candidates, Catalogue: r.room.catalogue,
		Settings: formulation.Settings{WaterDensityKgPerL: r.supply.plant.WaterDensityKgPerL}, Currency: r.supply.plant.Currency}
	if tried {
		p.Candidates = pool.tried
	}
	if len(a.without) > 0 {
		p.Candidates = slices.Clone(p.Candidates)
		for j := range p.Candidates {
			if c := &p.Candidates[j]; slices.Contains(a.without, c.Material) {
				c.Available = 0
			}
		}
	}
	return p
}

// entries makes what the next book is made of, from what is kept of the last one.
type entries struct {
	list   []reprice.Entry
	from   []int
	bounds []reprice.BoundChange
}

// solve brings what is kept up to the book's prices and stock, and then asks it
// for the prices tried out.
func (r *repricing) solve(ctx context.Context, last *keptBook) error {
	if last == nil {
		empty, _, err := reprice.New(ctx, r.engine, nil, nil)
		if err != nil {
			return err
		}
		last = &keptBook{book: empty}
	}
	r.next = &keptBook{at: map[string]int{}}
	var e entries
	for _, a := range r.asked {
		key := r.key(a)
		if _, done := r.next.at[key]; done {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := r.enter(&e, last, key, a); err != nil {
			return err
		}
	}
	prices, then := r.prices()
	var report *reprice.Report
	var err error
	if r.next.book, report, err = last.book.Rebook(ctx, prices, e.list, e.from, e.bounds); err != nil {
		return err
	}
	r.after, r.ways = r.next.book, make([]reprice.Way, len(e.list))
	r.changed = make([]bool, len(e.list))
	for _, x := range report.Results {
		r.ways[x.Formula] = x.Way
	}
	if len(then.Prices) == 0 {
		return nil
	}
	if r.after, report, err = r.next.book.Reprice(ctx, then); err != nil {
		return err
	}
	for _, x := range report.Results {
		r.ways[x.Formula], r.changed[x.Formula] = max(r.ways[x.Formula], x.Way), x.Changed
	}
	return nil
}

// newProgram makes the program of a problem. One that can't be used, or that says
// too little, has an empty model.
func newProgram(p *formulation.Problem) (*keptProgram, error) {
	kept := &keptProgram{program: &formulation.Program{Model: &solver.Model{}}, afresh: !p.Linear()}
	if kept.afresh {
		return kept, nil
	}
	program, err := formulation.NewProgram(p)
	var bad formulation.FieldErrors
	switch {
	case errors.As(err, &bad):
		kept.bad = bad
	case err != nil:
		return nil, err
	default:
		kept.program, kept.places = program, len(program.Model.Value)
	}
	return kept, nil
}

// enter adds the program of one formula, the kept one where there is one.
func (r *repricing) enter(e *entries, last *keptBook, key string, a repricedInk) error {
	pool := r.pools[a.quantity]
	place, from := len(e.list), -1
	var kept *keptProgram
	if at, ok := last.at[key]; ok {
		kept, from = last.programs[at], at
	} else {
		var err error
		if kept, err = newProgram(r.problem(a, false)); err != nil {
			return err
		}
	}
	entry := reprice.Entry{Model: kept.program.Model, Items: make([]int32, len(kept.program.Columns))}
	p := r.problem(a, false)
	for k, j := range kept.program.Columns {
		entry.Items[k] = int32(pool.first + j)
		if from < 0 {
			continue
		}
		lower, upper := last.book.Bounds(from, k)
		if most := p.Most(&pool.candidates[j], kept.program.Stays[k]); most != upper {
			e.bounds = append(e.bounds, reprice.BoundChange{Formula: place, Number: k, Lower: lower, Upper: most})
		}
	}
	r.next.at[key] = place
	r.next.programs = append(r.next.programs, kept)
	e.list, e.from = append(e.list, entry), append(e.from, from)
	return nil
}

// prices are the book's by item, and the change to those tried out.
func (r *repricing) prices() (now []float64, then reprice.Change) {
	total := 0
	for _, p := range r.pools {
		total += len(p.candidates)
	}
	now = make([]float64, total)
	for _, p := range r.pools {
		for j := range p.candidates {
			now[p.first+j] = p.candidates[j].CostPerKg
			if to := p.tried[j].CostPerKg; to != p.candidates[j].CostPerKg {
				then.Prices = append(then.Prices, reprice.PriceChange{Item: p.first + j, To: to})
			}
		}
	}
	return now, then
}
