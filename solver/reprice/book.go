package reprice

import (
	"context"
	"fmt"
	"math"

	"millbase/solver"
)

// Entry is one formula of a Book.
type Entry struct {
	// Model is the formula's linear program. The Book keeps it and never changes
	// it; its costs stand in for the price where Items says -1.
	Model *solver.Model
	// Items gives per variable the number of what it pays the price of, or -1.
	Items []int32
}

// PriceChange sets the price of one item.
type PriceChange struct {
	Item int
	To   float64
}

// BoundChange sets the bounds of one variable or row of a formula: stock that was
// used up or came in, a limit that moved.
type BoundChange struct {
	Formula      int
	Row          bool // of a row, not of a variable
	Number       int  // of the variable or row
	Lower, Upper float64
}

// Change is what happens at once.
type Change struct {
	Prices []PriceChange
	Bounds []BoundChange
}

// Book is formulas with their answers at the present prices and bounds. It is
// safe for use by several goroutines.
type Book struct {
	engine   solver.Engine
	formulas []*formula
	uses     [][]int32 // per item, the formulas that it stands in
	prices   []float64 // per item
}

// New solves every entry at the prices, which are per item. The report has one
// result per entry, all of them solved.
//
// Errors are those of the question: a number of an item that has no price, a
// price that is not a number, and the context's own.
func New(ctx context.Context, engine solver.Engine, prices []float64, entries []Entry) (*Book, *Report, error) {
	return (&Book{engine: engine}).Rebook(ctx, prices, entries, nil, nil)
}

// Rebook gives a book of other formulas, other items and other prices. Entry k
// goes on from formula from[k] of the receiver, whose model stays whatever the
// entry says; -1, and a nil from, is a formula of its own, which is solved. Bounds
// are then set in the new book, whose formulas the report has in their order.
func (b *Book) Rebook(ctx context.Context, prices []float64, entries []Entry, from []int, bounds []BoundChange) (*Book, *Report, error) {
	next := &Book{engine: b.engine, prices: append([]float64(nil), prices...), uses: make([][]int32, len(prices))}
	for i, p := range prices {
		if err := checkPrice(i, p); err != nil {
			return nil, nil, err
		}
	}
	touched := make([]int32, len(entries))
	for k, e := range entries {
		touched[k] = int32(k)
		var old *formula
		if from != nil && from[k] >= 0 {
			old = b.formulas[from[k]]
			e.Model = old.model
		}
		f, err := next.enter(k, e)
		if err != nil {
			return nil, nil, err
		}
		if old != nil {
			f.cost, f.answer, f.factor = old.cost, old.answer, old.factor
		}
		next.formulas = append(next.formulas, f)
	}
	moved := map[int32][]BoundChange{}
	for _, c := range bounds {
		if err := next.checkBound(c); err != nil {
			return nil, nil, err
		}
		moved[int32(c.Formula)] = append(moved[int32(c.Formula)], c)
	}
	report, err := next.renew(ctx, touched, moved)
	if err != nil {
		return nil, nil, err
	}
	return next, report, nil
}

// enter checks an entry and files it under its items.
func (b *Book) enter(k int, e Entry) (*formula, error) {
	if e.Model == nil || len(e.Items) != len(e.Model.Variables) {
		return nil, fmt.Errorf("reprice: formula %d: give an item for each variable of its model", k)
	}
	f := &formula{model: e.Model, items: e.Items, cost: make([]float64, len(e.Items))}
	for j, i := range e.Items {
		switch {
		case i < -1 || int(i) >= len(b.prices):
			return nil, fmt.Errorf("reprice: formula %d, variable %d: item %d has no price; the items are 0 to %d", k, j, i, len(b.prices)-1)
		case i < 0:
			f.cost[j] = e.Model.Variables[j].Cost
			continue
		}
		f.cost[j] = b.prices[i]
		if of := b.uses[i]; len(of) == 0 || of[len(of)-1] != int32(k) {
			b.uses[i] = append(of, int32(k))
		}
	}
	return f, nil
}

func checkPrice(item int, price float64) error {
	if !(math.Abs(price) < solver.MaxCost) {
		return fmt.Errorf("reprice: the price of item %d is %g; give a finite price below %g in size", item, price, solver.MaxCost)
	}
	return nil
}

// Len is the number of formulas.
func (b *Book) Len() int { return len(b.formulas) }

// Price is the present price of an item.
func (b *Book) Price(item int) float64 { return b.prices[item] }

// Answer is the present answer of a formula, nil when it has none. It is shared:
// do not change it.
func (b *Book) Answer(formula int) *solver.Solution { return b.formulas[formula].answer }

// Bounds are the present bounds of a variable of a formula.
func (b *Book) Bounds(formula, variable int) (lower, upper float64) {
	v := &b.formulas[formula].model.Variables[variable]
	return v.Lower, v.Upper
}

// Model is a formula's model at the present prices and bounds, a copy.
func (b *Book) Model(formula int) *solver.Model {
	f := b.formulas[formula]
	m := f.model.Variant()
	for j, c := range f.cost {
		m.Variables[j].Cost = c
	}
	return m
}

// Reprice gives the book after a change. The receiver stays as it is. The report
// has a result for each formula that has a changed item or bound, in the order of
// the formulas; all others are unchanged. GOMAXPROCS goroutines share the work.
//
// Errors are those of the question, as in New, and the context's own. That an
// engine fails on one formula is an error of its result alone.
func (b *Book) Reprice(ctx context.Context, c Change) (*Book, *Report, error) {
	next := &Book{engine: b.engine, uses: b.uses, prices: append([]float64(nil), b.prices...)}
	next.formulas = append([]*formula(nil), b.formulas...)
	hit := make([]bool, len(b.formulas))
	for _, p := range c.Prices {
		if p.Item < 0 || p.Item >= len(b.prices) {
			return nil, nil, fmt.Errorf("reprice: there is no item %d; the items are 0 to %d", p.Item, len(b.prices)-1)
		}
		if err := checkPrice(p.Item, p.To); err != nil {
			return nil, nil, err
		}
		next.prices[p.Item] = p.To
	}
	for i, to := range next.prices {
		if to != b.prices[i] {
			for _, k := range b.uses[i] {
				hit[k] = true
			}
		}
	}
	moved := map[int32][]BoundChange{}
	for _, change := range c.Bounds {
		if err := b.checkBound(change); err != nil {
			return nil, nil, err
		}
		hit[change.Formula] = true
		moved[int32(change.Formula)] = append(moved[int32(change.Formula)], change)
	}
	var touched []int32
	for k, is := range hit {
		if is {
			touched = append(touched, int32(k))
		}
	}
	report, err := next.renew(ctx, touched, moved)
	if err != nil {
		return nil, nil, err
	}
	return next, report, nil
}

func (b *Book) checkBound(c BoundChange) error {
	if c.Formula < 0 || c.Formula >= len(b.formulas) {
		return fmt.Errorf("reprice: there is no formula %d; they are 0 to %d", c.Formula, len(b.formulas)-1)
	}
	m := b.formulas[c.Formula].model
	n, what := len(m.Variables), "variable"
	if c.Row {
		n, what = len(m.Rows), "row"
	}
	if c.Number < 0 || c.Number >= n {
		return fmt.Errorf("reprice: formula %d has no %s %d; they are 0 to %d", c.Formula, what, c.Number, n-1)
	}
	if !(c.Lower <= c.Upper) {
		return fmt.Errorf("reprice: formula %d, %s %d: the lower bound %g is not below the upper bound %g", c.Formula, what, c.Number, c.Lower, c.Upper)
	}
	return nil
}
