package reprice_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"millbase/solver"
	"millbase/solver/certify"
	"millbase/solver/clp"
	"millbase/solver/engines"
	"millbase/solver/reprice"
	"millbase/solver/solvertest"
)

var engine = engines.New()

type fataler interface {
	Helper()
	Fatal(...any)
	Fatalf(string, ...any)
}

// book opens a book of formulas over shared materials.
func book(t fataler, seed uint64, formulas, variables, rows, materials int) *reprice.Book {
	t.Helper()
	models, items, prices := solvertest.Book(seed, formulas, variables, rows, materials)
	return open(t, models, items, prices)
}

func open(t fataler, models []*solver.Model, items [][]int32, prices []float64) *reprice.Book {
	t.Helper()
	entries := make([]reprice.Entry, len(models))
	for k := range models {
		entries[k] = reprice.Entry{Model: models[k], Items: items[k]}
	}
	b, r, err := reprice.New(context.Background(), engine, prices, entries)
	if err != nil {
		t.Fatal(err)
	}
	if r.Count[reprice.Solved] != len(models) || r.Failed != 0 {
		t.Fatalf("new book: %+v", r.Count)
	}
	return b
}

func change(t fataler, b *reprice.Book, c reprice.Change) (*reprice.Book, *reprice.Report) {
	t.Helper()
	next, r, err := b.Reprice(context.Background(), c)
	if err != nil {
		t.Fatal(err)
	}
	return next, r
}

// fresh holds every answer of the book to a solve of its own, and to its
// certificate.
func fresh(t fataler, b *reprice.Book) {
	t.Helper()
	for k := range b.Len() {
		m, a := b.Model(k), b.Answer(k)
		want, err := clp.New().Solve(context.Background(), m, solver.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if a == nil || a.Stop != want.Stop {
			t.Fatalf("formula %d: %+v, a fresh solve is %s", k, a, want.Stop)
		}
		if c := certify.Check(m, a); !c.OK {
			t.Fatalf("formula %d: %s", k, c.Reason)
		}
		if a.Stop == solver.StopOptimal && math.Abs(a.Objective-want.Objective) > 1e-6*(1+math.Abs(want.Objective)) {
			t.Fatalf("formula %d costs %.9g, a fresh solve %.9g", k, a.Objective, want.Objective)
		}
	}
}

// sound holds a report to the two books it lies between.
func sound(t fataler, before, after *reprice.Book, r *reprice.Report) {
	t.Helper()
	sum := 0
	for _, n := range r.Count {
		sum += n
	}
	if sum != before.Len() || r.Failed != 0 {
		t.Fatalf("%d formulas, counted %v, %d failed", before.Len(), r.Count, r.Failed)
	}
	touched := map[int]bool{}
	for _, x := range r.Results {
		touched[x.Formula] = true
		old, now := before.Answer(x.Formula), after.Answer(x.Formula)
		if now.Stop != x.Stop {
			t.Fatalf("%+v, the answer is %s", x, now.Stop)
		}
		if now.Stop == solver.StopOptimal && x.After != now.Objective || old.Stop == solver.StopOptimal && x.Before != old.Objective {
			t.Fatalf("%+v between %g and %g", x, old.Objective, now.Objective)
		}
		if x.AsIs < x.After-1e-6*(1+math.Abs(x.After)) {
			t.Fatalf("%+v: the old mix is cheaper than the cheapest", x)
		}
		if x.Way != reprice.Solved && x.Changed && x.Way != reprice.ByBasis {
			t.Fatalf("%+v: another mix without a solve", x)
		}
		if x.AsIs > x.After+1e-6*(1+math.Abs(x.After)) && !x.Changed {
			t.Fatalf("%+v: it saves without a change", x)
		}
	}
	for k := range before.Len() {
		if !touched[k] && before.Answer(k) != after.Answer(k) {
			t.Fatalf("formula %d has another answer but no result", k)
		}
	}
}

// drawChange is some prices and bounds; factors from a hundredth to a hundredfold.
func drawChange(t *rapid.T, b *reprice.Book, materials int) reprice.Change {
	var c reprice.Change
	for range rapid.IntRange(0, 6).Draw(t, "prices") {
		i := rapid.IntRange(0, materials-1).Draw(t, "item")
		by := rapid.SampledFrom([]float64{0, 0.01, 0.8, 0.95, 0.999, 1, 1.001, 1.05, 1.5, 100, -1}).Draw(t, "by")
		c.Prices = append(c.Prices, reprice.PriceChange{Item: i, To: b.Price(i) * by})
	}
	for range rapid.IntRange(0, 4).Draw(t, "bounds") {
		k := rapid.IntRange(0, b.Len()-1).Draw(t, "formula")
		m := b.Model(k)
		x := reprice.BoundChange{Formula: k, Row: rapid.Bool().Draw(t, "row")}
		by := rapid.SampledFrom([]float64{0.5, 0.9, 0.999, 1, 1.02, 2}).Draw(t, "bound by")
		if x.Row {
			x.Number = rapid.IntRange(0, len(m.Rows)-1).Draw(t, "number")
			x.Lower, x.Upper = m.Rows[x.Number].Lower, m.Rows[x.Number].Upper*max(1, by)
			if x.Number > 0 && by < 1 {
				x.Lower *= by
			}
		} else {
			x.Number = rapid.IntRange(0, len(m.Variables)-1).Draw(t, "number")
			x.Upper = m.Variables[x.Number].Upper * by
		}
		c.Bounds = append(c.Bounds, x)
	}
	return c
}

// TestRepricedIsFresh: after any row of changes every answer is what a fresh solve
// finds, the counts add up, and the books before are as they were.
func TestRepricedIsFresh(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		materials := rapid.IntRange(12, 30).Draw(t, "materials")
		b := book(t, rapid.Uint64().Draw(t, "seed"), rapid.IntRange(1, 20).Draw(t, "formulas"), 10, rapid.IntRange(1, 6).Draw(t, "rows"), materials)
		for range rapid.IntRange(1, 5).Draw(t, "changes") {
			c := drawChange(t, b, materials)
			next, r := change(t, b, c)
			sound(t, b, next, r)
			fresh(t, next)
			fresh(t, b) // the book before is as it was
			b = next
		}
	})
}

// TestBigBook: the same on formulas of 60 columns and 20 rows, with every way of
// proving in use.
func TestBigBook(t *testing.T) {
	const materials = 400
	b := book(t, 7, 300, 60, 20, materials)
	r := rand.New(rand.NewPCG(1, 2))
	seen := map[reprice.Way]int{}
	for _, by := range []float64{0.0005, 0.01, 0.05, 0.5} {
		var c reprice.Change
		for i := range materials {
			if by > 0.02 || i%40 == 0 || by < 0.001 {
				c.Prices = append(c.Prices, reprice.PriceChange{Item: i, To: b.Price(i) * (1 + by*(2*r.Float64()-1))})
			}
		}
		next, report := change(t, b, c)
		sound(t, b, next, report)
		fresh(t, next)
		for way, n := range report.Count {
			seen[reprice.Way(way)] += n
		}
		b = next
	}
	for _, way := range []reprice.Way{reprice.Unchanged, reprice.ByReducedCosts, reprice.ByBasis, reprice.Solved} {
		if seen[way] == 0 {
			t.Errorf("no formula was %s: %v", way, seen)
		}
	}
}

// TestEntryPriceIsNeverMissed: a price that falls just below where the candidate
// comes in is solved and lowers the cost, and one just above is proved by the old
// reduced costs, for every candidate left out of many formulas.
func TestEntryPriceIsNeverMissed(t *testing.T) {
	asked, saved := 0, 0
	for seed := range uint64(60) {
		b := book(t, seed, 1, 14, 2+int(seed)%5, 14)
		a, m := b.Answer(0), b.Model(0)
		for j, d := range a.ReducedCost {
			if d < 1e-3 || a.X[j] != m.Variables[j].Lower || m.Variables[j].Upper == 0 {
				continue
			}
			item := itemAt(b, m.Variables[j].Cost)
			entry := b.Price(item) - d
			dearer, r := change(t, b, reprice.Change{Prices: []reprice.PriceChange{{Item: item, To: entry + 1e-4}}})
			if r.Count[reprice.ByReducedCosts] != 1 || r.Results[0].Changed {
				t.Fatalf("above its entry price: %+v", r)
			}
			cheaper, r := change(t, dearer, reprice.Change{Prices: []reprice.PriceChange{{Item: item, To: entry - 1e-3}}})
			if r.Count[reprice.Solved] != 1 {
				t.Fatalf("below its entry price: %+v", r)
			}
			fresh(t, dearer)
			fresh(t, cheaper)
			asked++
			if x := r.Results[0]; x.Changed && x.After < x.AsIs-1e-7 {
				saved++
			}
		}
	}
	// A step of no length at a degenerate vertex saves nothing; hardly any is.
	if asked < 100 || saved < asked*9/10 {
		t.Errorf("%d asked, %d saved", asked, saved)
	}
}

// itemAt is the item with that price: in a drawn book no two have the same.
func itemAt(b *reprice.Book, price float64) int {
	item := 0
	for b.Price(item) != price {
		item++
	}
	return item
}

// TestTies: candidates alike in price and properties, limits that bind together
// and prices in whole figures, so that optima are many and degenerate.
func TestTies(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var models []*solver.Model
		var items [][]int32
		prices := []float64{1, 2, 2, 3, 3, 4}
		for range rapid.IntRange(1, 5).Draw(t, "formulas") {
			m := &solver.Model{}
			m.AddRow(solver.Row{Lower: 1, Upper: 1})
			for range 3 {
				m.AddRow(solver.Row{Lower: -solver.Inf, Upper: float64(rapid.IntRange(1, 2).Draw(t, "limit"))})
			}
			item := []int32{}
			for range rapid.IntRange(4, 9).Draw(t, "variables") {
				e := []solver.Entry{{Row: 0, Value: 1}}
				for i := 1; i <= 3; i++ {
					e = append(e, solver.Entry{Row: i, Value: float64(rapid.IntRange(0, 2).Draw(t, "coefficient"))})
				}
				m.AddVariable(solver.Variable{Upper: rapid.SampledFrom([]float64{0.25, 0.5, 1, solver.Inf}).Draw(t, "upper")}, e...)
				item = append(item, int32(rapid.IntRange(0, len(prices)-1).Draw(t, "item")))
			}
			models, items = append(models, m), append(items, item)
		}
		b := open(t, models, items, prices)
		fresh(t, b)
		for range 4 {
			i := rapid.IntRange(0, len(prices)-1).Draw(t, "item")
			c := reprice.Change{Prices: []reprice.PriceChange{{Item: i, To: float64(rapid.IntRange(0, 4).Draw(t, "price"))}}}
			if rapid.Bool().Draw(t, "stock too") {
				c.Bounds = append(c.Bounds, reprice.BoundChange{Number: rapid.IntRange(0, len(items[0])-1).Draw(t, "number"),
					Upper: rapid.SampledFrom([]float64{0, 0.25, 1}).Draw(t, "bound")})
			}
			next, r := change(t, b, c)
			sound(t, b, next, r)
			fresh(t, next)
			b = next
		}
	})
}

// TestOneBookManyQuestions: what-ifs side by side on one book get each its own
// answer.
func TestOneBookManyQuestions(t *testing.T) {
	b := book(t, 3, 60, 20, 8, 40)
	var wait sync.WaitGroup
	for g := range 8 {
		wait.Go(func() {
			by := 0.7 + 0.1*float64(g)
			var c reprice.Change
			for i := range 40 {
				c.Prices = append(c.Prices, reprice.PriceChange{Item: i, To: b.Price(i) * by})
			}
			for range 5 {
				next, _, err := b.Reprice(context.Background(), c)
				if err != nil {
					t.Error(err)
					return
				}
				for k := range b.Len() {
					if got, want := next.Answer(k).Objective, by*b.Answer(k).Objective; math.Abs(got-want) > 1e-6*(1+want) {
						t.Errorf("all prices by %g: formula %d costs %g, want %g", by, k, got, want)
					}
				}
			}
		})
	}
	wait.Wait()
}

func ExampleBook_Reprice() {
	m := &solver.Model{}
	m.AddRow(solver.Row{Name: "whole", Lower: 1, Upper: 1})
	m.AddVariable(solver.Variable{Name: "hard resin", Upper: 1}, solver.Entry{Row: 0, Value: 1})
	m.AddVariable(solver.Variable{Name: "soft resin", Upper: 1}, solver.Entry{Row: 0, Value: 1})
	b, _, _ := reprice.New(context.Background(), clp.New(), []float64{4, 5}, []reprice.Entry{{Model: m, Items: []int32{0, 1}}})
	for _, price := range []float64{4.5, 6} {
		_, r, _ := b.Reprice(context.Background(), reprice.Change{Prices: []reprice.PriceChange{{Item: 0, To: price}}})
		x := r.Results[0]
		fmt.Printf("%s: %g as it is, %g at best\n", x.Way, x.AsIs, x.After)
	}
	// Output:
	// proved on its basis: 4.5 as it is, 4.5 at best
	// solved: 6 as it is, 5 at best
}
