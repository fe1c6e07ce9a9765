package reprice

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"sync"
	"sync/atomic"

	"millbase/solver"
	"millbase/solver/certify"
)

// formula is one formula with its answer. It never changes: what follows from a
// change is a new one, which shares with it what stayed.
type formula struct {
	model  *solver.Model // its costs are those of the entry, not the present ones
	items  []int32
	cost   []float64 // per variable, the present ones
	answer *solver.Solution
	factor *solver.Factor // of answer.Basis; nil when there is none
}

// renew brings the touched formulas of b up to its prices, in place: b is not
// anybody's yet.
func (b *Book) renew(ctx context.Context, touched []int32, moved map[int32][]BoundChange) (*Report, error) {
	r := &Report{Results: make([]Result, len(touched))}
	var next atomic.Int64
	var wait sync.WaitGroup
	const batch = 16 // formulas that a goroutine takes at a time
	for range min(runtime.GOMAXPROCS(0), len(touched)/batch+1) {
		wait.Go(func() {
			w := worker{engine: b.engine, prices: b.prices}
			for ctx.Err() == nil {
				from := int(next.Add(batch)) - batch
				if from >= len(touched) {
					return
				}
				for at := from; at < min(from+batch, len(touched)); at++ {
					k := touched[at]
					b.formulas[k], r.Results[at] = w.renew(ctx, b.formulas[k], moved[k])
					r.Results[at].Formula = int(k)
				}
			}
		})
	}
	wait.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	r.Count[Unchanged] = len(b.formulas) - len(touched)
	for i := range r.Results {
		r.Count[r.Results[i].Way]++
		if r.Results[i].Err != nil {
			r.Failed++
		}
	}
	return r, nil
}

// worker is what one goroutine works in.
type worker struct {
	engine solver.Engine
	prices []float64
	model  solver.Model // the formula at hand, at its new costs and bounds
	room   []float64
}

// renew is f after a change.
func (w *worker) renew(ctx context.Context, f *formula, bounds []BoundChange) (*formula, Result) {
	n := w.next(f, bounds)
	if n == nil {
		return f, unchanged(f)
	}
	way := Solved
	if f.answer != nil {
		way = w.prove(f, n, len(bounds) > 0)
	}
	r := Result{Way: way, Before: math.NaN(), AsIs: math.NaN(), After: math.NaN()}
	if way == Solved {
		if r.Err = w.solve(ctx, f, n); r.Err != nil {
			return n, r
		}
	}
	w.compare(f, n, len(bounds) > 0, &r)
	return n, r
}

// unchanged is the result of a formula none of whose figures moved.
func unchanged(f *formula) Result {
	r := Result{Way: Unchanged, Before: math.NaN()}
	if f.answer != nil {
		r.Stop = f.answer.Stop
		if r.Stop == solver.StopOptimal {
			r.Before = f.answer.Objective
		}
	}
	r.AsIs, r.After = r.Before, r.Before
	return r
}

// next is f at the new prices and bounds, without an answer, and w.model the
// model of it; nil when nothing moved.
func (w *worker) next(f *formula, bounds []BoundChange) *formula {
	same := f.answer != nil && len(bounds) == 0
	if same {
		for j, i := range f.items {
			if i >= 0 && w.prices[i] != f.cost[j] {
				same = false
				break
			}
		}
	}
	if same {
		return nil
	}
	// One piece of memory for what is new of a formula: its costs now, reduced costs
	// and prices when they are proved.
	cols, rows := len(f.cost), len(f.model.Rows)
	w.room = make([]float64, 2*cols+rows)
	n := &formula{model: f.model, items: f.items, cost: w.take(cols)}
	copy(n.cost, f.cost)
	for j, i := range f.items {
		if i >= 0 {
			n.cost[j] = w.prices[i]
		}
	}
	if len(bounds) > 0 {
		n.model = f.model.Variant()
		for _, c := range bounds {
			if c.Row {
				n.model.Rows[c.Number].Lower, n.model.Rows[c.Number].Upper = c.Lower, c.Upper
			} else {
				n.model.Variables[c.Number].Lower, n.model.Variables[c.Number].Upper = c.Lower, c.Upper
			}
		}
	}
	w.load(n)
	return n
}

// take cuts a piece of w.room off.
func (w *worker) take(n int) []float64 {
	part := w.room[:n:n]
	w.room = w.room[n:]
	return part
}

// load makes w.model the model of n at its costs; names, which nothing here asks
// for, are left out.
func (w *worker) load(n *formula) {
	variables := w.model.Variables
	if cap(variables) < len(n.cost) {
		variables = make([]solver.Variable, len(n.cost))
	}
	variables = variables[:len(n.cost)]
	for j, c := range n.cost {
		from, to := &n.model.Variables[j], &variables[j]
		to.Cost, to.Lower, to.Upper, to.Kind = c, from.Lower, from.Upper, from.Kind
	}
	w.model = solver.Model{Variables: variables, Rows: n.model.Rows, Start: n.model.Start, Index: n.model.Index, Value: n.model.Value}
}

// solve solves n, from the basis of f where that has one.
func (w *worker) solve(ctx context.Context, f, n *formula) error {
	var o solver.Options
	if f.answer != nil {
		o.Start = f.answer.Basis
	}
	s, proof, err := w.proven(ctx, o)
	if err != nil {
		return err
	}
	switch s.Stop {
	case solver.StopOptimal, solver.StopInfeasible, solver.StopUnbounded:
	default:
		return fmt.Errorf("the solve was %s", s.Stop)
	}
	if !proof.OK {
		return fmt.Errorf("no answer that can be trusted: %s", proof.Reason)
	}
	n.answer = s
	if s.Stop == solver.StopOptimal {
		n.factor = w.model.Factor(s.Basis)
	}
	return nil
}

// proven solves w.model and certifies the answer, once.
func (w *worker) proven(ctx context.Context, o solver.Options) (*solver.Solution, certify.Certificate, error) {
	if e, ok := w.engine.(interface {
		SolveProven(context.Context, *solver.Model, solver.Options) (*solver.Solution, certify.Certificate, error)
	}); ok {
		return e.SolveProven(ctx, &w.model, o)
	}
	s, err := w.engine.Solve(ctx, &w.model, o)
	if err != nil {
		return nil, certify.Certificate{}, err
	}
	return s, certify.Check(&w.model, s), nil
}

// compare fills in what the change did.
func (w *worker) compare(f, n *formula, bounds bool, r *Result) {
	r.Stop = n.answer.Stop
	if r.Stop == solver.StopOptimal {
		r.After = n.answer.Objective
	}
	was := f.answer != nil && f.answer.Stop == solver.StopOptimal
	if !was {
		r.Changed = r.Stop == solver.StopOptimal
		return
	}
	r.Before = f.answer.Objective
	if !bounds || certify.Default.Point(&w.model, f.answer.X).OK {
		r.AsIs = w.model.Cost(f.answer.X)
	}
	if r.Stop != solver.StopOptimal {
		r.Changed = true
		return
	}
	for j, x := range n.answer.X {
		if math.Abs(x-f.answer.X[j]) > other {
			r.Changed = true
			return
		}
	}
}

// other is the share by which a mix must differ to be another one.
const other = 1e-7
