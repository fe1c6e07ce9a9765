package reprice_test

import (
	"context"
	"errors"
	"math"
	"testing"

	"millbase/solver"
	"millbase/solver/clp"
	"millbase/solver/reprice"
	"millbase/solver/solvertest"
)

// failing is an engine that fails on models with one mark.
type failing struct{ solver.Engine }

var errBroken = errors.New("broken")

func (e failing) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	s, err := e.Engine.Solve(ctx, m, o)
	switch {
	case err != nil:
	case m.Rows[0].Name == "fails":
		return nil, errBroken
	case m.Rows[0].Name == "lies" && s.Stop == solver.StopOptimal:
		s.X[0] += 0.01
	}
	return s, err
}

// TestOneFailureIsItsOwn: a formula on which the engine fails, or whose answer does
// not pass its check, is an error of its own, and is tried again.
func TestOneFailureIsItsOwn(t *testing.T) {
	models, items, prices := solvertest.Book(5, 5, 10, 4, 20)
	models[1].Rows[0].Name, models[3].Rows[0].Name = "fails", "lies"
	entries := make([]reprice.Entry, len(models))
	for k := range models {
		entries[k] = reprice.Entry{Model: models[k], Items: items[k]}
	}
	b, r, err := reprice.New(context.Background(), failing{clp.New()}, prices, entries)
	if err != nil {
		t.Fatal(err)
	}
	for k, x := range r.Results {
		if bad := k == 1 || k == 3; bad != (x.Err != nil) || bad != (b.Answer(k) == nil) {
			t.Errorf("formula %d: %+v", k, x)
		}
	}
	if !errors.Is(r.Results[1].Err, errBroken) || r.Failed != 2 {
		t.Errorf("%+v", r)
	}
	models[1].Rows[0].Name, models[3].Rows[0].Name = "", ""
	var c reprice.Change
	for i := range prices {
		c.Prices = append(c.Prices, reprice.PriceChange{Item: i, To: prices[i] * 1.01})
	}
	next, r := change(t, b, c)
	if r.Failed != 0 {
		t.Fatalf("%+v", r)
	}
	fresh(t, next)
}

func TestImpossibleStaysImpossible(t *testing.T) {
	models, items, prices := solvertest.Book(6, 2, 10, 4, 20)
	models[0].Rows[1].Lower, models[0].Rows[1].Upper = 100, solver.Inf
	b := open(t, models, items, prices)
	var c reprice.Change
	for i := range prices {
		c.Prices = append(c.Prices, reprice.PriceChange{Item: i, To: prices[i] * 2})
	}
	next, r := change(t, b, c)
	if x := r.Results[0]; x.Way != reprice.ByBasis || x.Stop != solver.StopInfeasible || !math.IsNaN(x.After) || x.Changed {
		t.Errorf("%+v", x)
	}
	last, r := change(t, next, reprice.Change{Bounds: []reprice.BoundChange{{Formula: 0, Row: true, Number: 1, Lower: 0, Upper: solver.Inf}}})
	if x := r.Results[0]; x.Way != reprice.Solved || x.Stop != solver.StopOptimal || !x.Changed || !math.IsNaN(x.AsIs) {
		t.Errorf("%+v", x)
	}
	fresh(t, last)
}

func TestCancelledDoesNothing(t *testing.T) {
	b := book(t, 8, 50, 10, 4, 20)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	before := b.Answer(0)
	_, _, err := b.Reprice(ctx, reprice.Change{Prices: []reprice.PriceChange{{Item: 0, To: 99}}})
	if !errors.Is(err, context.Canceled) || b.Answer(0) != before || b.Price(0) == 99 {
		t.Errorf("%v", err)
	}
}

func TestBadQuestions(t *testing.T) {
	b := book(t, 9, 2, 10, 4, 20)
	for name, c := range map[string]reprice.Change{
		"item":     {Prices: []reprice.PriceChange{{Item: 20, To: 1}}},
		"below":    {Prices: []reprice.PriceChange{{Item: -1, To: 1}}},
		"NaN":      {Prices: []reprice.PriceChange{{Item: 1, To: math.NaN()}}},
		"infinite": {Prices: []reprice.PriceChange{{Item: 1, To: math.Inf(1)}}},
		"formula":  {Bounds: []reprice.BoundChange{{Formula: 2}}},
		"variable": {Bounds: []reprice.BoundChange{{Number: 10}}},
		"row":      {Bounds: []reprice.BoundChange{{Row: true, Number: 4}}},
		"bounds":   {Bounds: []reprice.BoundChange{{Lower: 2, Upper: 1}}},
	} {
		if _, _, err := b.Reprice(context.Background(), c); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	m := solvertest.Blend(1, 3, 2)
	for _, e := range []reprice.Entry{{}, {Model: m}, {Model: m, Items: []int32{0, 1, 2}}, {Model: m, Items: []int32{0, 1, -2}}} {
		if _, _, err := reprice.New(context.Background(), engine, []float64{1, 2}, []reprice.Entry{e}); err == nil {
			t.Errorf("%+v: no error", e)
		}
	}
	if _, _, err := reprice.New(context.Background(), engine, []float64{math.NaN()}, nil); err == nil {
		t.Error("a price that is not a number: no error")
	}
}

// TestRebook: formulas that go on into another book, with items in another order
// and new formulas between them, keep their answers; the rest is solved.
func TestRebook(t *testing.T) {
	models, items, prices := solvertest.Book(11, 6, 12, 5, 20)
	b := open(t, models[:4], items[:4], prices)
	turned := make([]float64, len(prices))
	for i, p := range prices {
		turned[len(prices)-1-i] = p
	}
	entries, from := []reprice.Entry{}, []int{3, -1, 0, -1}
	for _, k := range []int{3, 4, 0, 5} {
		e := reprice.Entry{Items: make([]int32, 12)}
		if k > 3 {
			e.Model = models[k]
		} else {
			e.Model = models[k].Variant()
		}
		for j, i := range items[k] {
			e.Items[j] = int32(len(prices)-1) - i
		}
		entries = append(entries, e)
	}
	next, r, err := b.Rebook(context.Background(), turned, entries, from, nil)
	if err != nil {
		t.Fatal(err)
	}
	if r.Count != [...]int{2, 0, 0, 2} || next.Answer(0) != b.Answer(3) || next.Answer(2) != b.Answer(0) {
		t.Errorf("%+v", r)
	}
	fresh(t, next)
	lower, upper := next.Bounds(1, 2)
	last, r, err := next.Rebook(context.Background(), turned, entries, []int{0, 1, 2, 3}, []reprice.BoundChange{{Formula: 1, Number: 2, Lower: lower, Upper: upper / 2}})
	if err != nil || r.Count[reprice.Unchanged] != 3 {
		t.Fatalf("%v, %+v", err, r)
	}
	if _, now := last.Bounds(1, 2); now != upper/2 {
		t.Errorf("the bound is %g", now)
	}
	fresh(t, last)
	if _, _, err := next.Rebook(context.Background(), turned, entries, []int{0, 1, 2, 3}, []reprice.BoundChange{{Formula: 9}}); err == nil {
		t.Error("a bound of no formula: no error")
	}
}
