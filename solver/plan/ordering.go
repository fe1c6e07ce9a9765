package plan

import (
	"context"
	"math"
	"time"

	"millbase/solver"
)

// ordering is the way to orders that suppliers take.
type ordering struct {
	b       *built
	ctx     context.Context // of the caller
	limit   time.Duration
	lp, mip solver.Engine
	free    *proven
	best    *settled
	bound   float64   // proved, without what is fixed
	needed  []float64 // see mostNeeded
	whole   int       // numbers of the largest model that was searched
}

// work leaves the best in w.best.
func (w *ordering) work() error {
	err := w.try(w.b.rounded(w.free.X))
	if w.limit < 0 || err != nil && w.ctx.Err() != nil {
		return err
	}
	if w.best == nil || !w.near() {
		w.searchTotals()
	}
	if w.best != nil {
		timed, cancel := context.WithTimeout(w.ctx, w.part(improvePart))
		w.b.improve(timed, w.lp, w.best, w.bound)
		cancel()
	}
	if w.best == nil || !w.near() {
		w.searchEvery()
	}
	if w.best != nil && w.bound > w.best.cost+1e-6*w.size() {
		// A plan that can be carried out costs less than a search said that any does: the
		// search was wrong, and nothing that it proved counts.
		w.bound = w.free.Objective
	}
	if w.best == nil && w.ctx.Err() == nil {
		// Nothing that is whole, where anything else can't be kept in store.
		return w.try(table(len(w.b.p.Offers), w.b.periods))
	}
	return w.ctx.Err()
}

// try settles orders, and keeps them where they are the best so far.
func (w *ordering) try(orders [][]float64) error {
	from := w.free
	if w.best != nil {
		from = w.best.plan
	}
	got, err := w.b.settle(w.ctx, w.lp, orders, from)
	if err != nil {
		return err
	}
	if w.best == nil || got.cost < w.best.cost {
		w.best = got
	}
	return nil
}

// size is what the gap is a part of, money.
func (w *ordering) size() float64 {
	if w.best == nil {
		return math.Max(1, math.Abs(w.free.Objective+w.b.fixed))
	}
	return math.Max(1, math.Abs(w.best.cost+w.b.fixed))
}

// gap is the one that is asked for.
func (w *ordering) gap() float64 {
	if w.b.p.Gap == 0 {
		return usualGap
	}
	return w.b.p.Gap
}

// near reports whether the best is within the gap of the bound.
func (w *ordering) near() bool { return w.best.cost-w.bound <= w.gap()*w.size() }

// The parts of the time limit that each way may take.
const (
	totalsPart  = 0.35
	improvePart = 0.3
	everyPart   = 0.35
)

// part is a part of the time limit.
func (w *ordering) part(of float64) time.Duration { return time.Duration(of * float64(w.limit)) }

// relative is a part of the gap as the engine counts it, by the objective.
func (w *ordering) relative(part float64) float64 {
	return math.Min(0.5, part*w.gap()*w.size()/math.Max(1, math.Abs(w.free.Objective)))
}

// searchTotals searches the model of what is ordered in all.
func (w *ordering) searchTotals() {
	m := w.b.totals(w.most())
	w.whole = max(w.whole, integers(m))
	got := w.b.look(w.ctx, w.mip, m, extended(w.free.Basis, m), w.relative(0.2), w.part(totalsPart))
	w.bound = math.Max(w.bound, got.bound)
	if got.x != nil {
		// Orders that can't be carried out leave the best as it is.
		_ = w.try(w.b.rounded(got.x))
	}
}

// searchEvery searches the model of each order, where that is not too large.
func (w *ordering) searchEvery() {
	if len(w.b.model.Variables) > mostColumns {
		return
	}
	m, units := w.b.every(w.most())
	w.whole = max(w.whole, integers(m))
	got := w.b.look(w.ctx, w.mip, m, extended(w.free.Basis, m), w.relative(0.9), w.part(everyPart))
	w.bound = math.Max(w.bound, got.bound)
	if got.x == nil {
		return
	}
	_ = w.try(w.ordered(units, got.x))
}

// ordered reads the orders of the model of each order.
func (w *ordering) ordered(units [][][]int, x []float64) [][]float64 {
	orders := table(len(units), w.b.periods)
	for o := range units {
		of := &w.b.p.Offers[o]
		for t, columns := range units[o] {
			for _, j := range columns {
				kg := x[j]
				if of.Pack > 0 {
					kg = math.Round(kg) * of.Pack
				}
				orders[o][t] += kg
			}
			if columns == nil && w.b.buy[o][t] >= 0 {
				orders[o][t] = x[w.b.buy[o][t]]
				if of.whole() {
					orders[o][t] = of.least(orders[o][t])
				}
			}
		}
	}
	return orders
}

// most is what is needed of each offer at most, worked out once.
func (w *ordering) most() []float64 {
	if w.needed == nil {
		w.needed = w.b.mostNeeded(w.ctx, w.lp)
	}
	return w.needed
}

// integers counts the whole-number columns.
func integers(m *solver.Model) int {
	n := 0
	for j := range m.Variables {
		if m.Variables[j].Kind == solver.Integer {
			n++
		}
	}
	return n
}
