package main

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"sync"
	"sync/atomic"
	"time"

	"millbase/solver"
	"millbase/solver/clp"
	"millbase/solver/engines"
	"millbase/solver/reprice"
	"millbase/solver/solvertest"
)

// The book that is repriced, and on how many threads.
const (
	repriceFormulas  = 10_000
	repriceMaterials = 400
	repriceThreads   = 2
)

// measureReprice compares repricing a kept book (prove or solve, certify every
// touched formula) with solving each formula by plain lanl/clp, on as many
// threads.
func measureReprice(ctx context.Context, s settings) ([]bar, error) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(repriceThreads))
	models, items, prices := solvertest.Book(1, repriceFormulas, 60, 20, repriceMaterials)
	entries := make([]reprice.Entry, len(models))
	for k := range models {
		entries[k] = reprice.Entry{Model: models[k], Items: items[k]}
	}
	book, _, err := reprice.New(ctx, engines.New(), prices, entries)
	if err != nil {
		return nil, err
	}
	r := rand.New(rand.NewPCG(1, 9))
	all := func(by float64) (c reprice.Change) {
		for i, p := range prices {
			c.Prices = append(c.Prices, reprice.PriceChange{Item: i, To: p * (1 + by*(2*r.Float64()-1))})
		}
		return c
	}
	const one = 7
	var bars []bar
	for _, c := range []struct {
		name   string
		change reprice.Change
		goal   float64
	}{
		{"reprice_one_material", reprice.Change{Prices: []reprice.PriceChange{{Item: one, To: 1.05 * prices[one]}}}, 0.01},
		{"reprice_all_1pct", all(0.01), 0.06},
		{"reprice_all_5pct", all(0.05), 0.20},
	} {
		ratio, err := repriceTurns(ctx, s, book, models, items, c.name, c.change)
		if err != nil {
			return nil, err
		}
		bars = append(bars, bar{name: c.name, value: ratio, goal: c.goal})
	}
	return bars, nil
}

// repriceTurns lets both sides take turns at one change. In each turn lanl/clp
// solves its part of the formulas, so that over all turns it has solved every one
// of them and every cost is held to it; its time is scaled to the whole book.
func repriceTurns(ctx context.Context, s settings, book *reprice.Book, models []*solver.Model, items [][]int32, name string, c reprice.Change) (float64, error) {
	var after *reprice.Book
	var report *reprice.Report
	ours := func() (float64, error) {
		runtime.GC()
		start := time.Now()
		n := 0
		// Again and again from the same book, so that one turn is about as long as
		// the other side's.
		for n == 0 || time.Since(start) < s.duration/3 {
			var err error
			if after, report, err = book.Reprice(ctx, c); err != nil {
				return 0, err
			}
			n++
		}
		return time.Since(start).Seconds() / float64(n), nil
	}
	turn := 0
	theirs := func() (float64, error) {
		var part []int
		for k := turn; k < len(models); k += s.rounds {
			for j, i := range items[k] {
				models[k].Variables[j].Cost = after.Price(int(i))
			}
			part = append(part, k)
		}
		turn++
		runtime.GC() // lanl/clp gives memory back when garbage is collected
		took, wrong := yardsticks(after, models, part)
		if wrong >= 0 {
			return 0, fmt.Errorf("%s: formula %d costs %+v, lanl/clp says otherwise", name, wrong, after.Answer(wrong))
		}
		return took.Seconds() * float64(len(models)) / float64(len(part)), nil
	}
	ratio, a, b, err := turns(s.rounds, ours, theirs)
	if err != nil {
		return 0, err
	}
	fmt.Printf("%s: %d formulas of 60 x 20, %d threads: %.4f s (%d unchanged, %d proved by reduced costs, %d on their basis, %d solved); plain lanl/clp: %.2f s (a %dth of the formulas in each turn, scaled; all %d costs agree)\n",
		name, len(models), repriceThreads, a, report.Count[reprice.Unchanged], report.Count[reprice.ByReducedCosts],
		report.Count[reprice.ByBasis], report.Count[reprice.Solved], b, s.rounds, len(models))
	return ratio, nil
}

// yardsticks solves some formulas by lanl/clp and returns the first whose cost in
// the book is another, -1 for none.
func yardsticks(book *reprice.Book, models []*solver.Model, part []int) (took time.Duration, wrong int) {
	var next, bad atomic.Int64
	bad.Store(-1)
	var wait sync.WaitGroup
	start := time.Now()
	for range repriceThreads {
		wait.Go(func() {
			for {
				at := int(next.Add(1)) - 1
				if at >= len(part) {
					return
				}
				k := part[at]
				want := clp.Yardstick(models[k])
				if got := book.Answer(k); got == nil || !(math.Abs(got.Objective-want) <= 1e-6*(1+math.Abs(want))) {
					bad.Store(int64(k))
				}
			}
		})
	}
	wait.Wait()
	return time.Since(start), int(bad.Load())
}
