package main

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync/atomic"
	"time"

	"millbase/solver"
	"millbase/solver/cbc"
	"millbase/solver/clp"
	"millbase/solver/engines"
	"millbase/solver/solvertest"
)

// measureWeighable compares the slow tenth of weighable formulas with Cbc's C
// interface on the same models, model by model in turns; of each model the median
// of its turns counts.
func measureWeighable(ctx context.Context, s settings) ([]bar, error) {
	engine := engines.New()
	var ours, theirs []float64
	for seed := range uint64(60) {
		m := solvertest.Weighable(seed, 40, 16, 9)
		var here, there []float64
		for range s.rounds {
			a, b, err := weighBoth(ctx, engine, m)
			if err != nil {
				return nil, fmt.Errorf("formula %d: %w", seed, err)
			}
			here, there = append(here, a), append(there, b)
		}
		ours, theirs = append(ours, median(here)), append(theirs, median(there))
	}
	fmt.Printf("weighable, 40 components, 16 limits, at most 9: p50 %.0f ms, p90 %.0f ms; Cbc's C interface: %.0f, %.0f\n",
		1e3*quantile(ours, .5), 1e3*quantile(ours, .9), 1e3*quantile(theirs, .5), 1e3*quantile(theirs, .9))
	for seed := range uint64(8) {
		s, err := engine.Solve(ctx, solvertest.Weighable(seed, 60, 20, 7), solver.Options{TimeLimit: 2 * time.Second})
		switch {
		case err != nil:
			return nil, err
		case s.Primal != solver.FeasiblePoint:
			fmt.Printf("60 components, 2 s: none found in time, %v\n", s.Stop)
		default:
			fmt.Printf("60 components, 2 s: %.4f, gap %.2f %%, %v\n", s.Objective, 100*(s.Objective-s.Bound)/math.Abs(s.Objective), s.Stop)
		}
	}
	return []bar{{name: "weighable_over_cbc_c_p90", value: quantile(ours, .9) / quantile(theirs, .9), goal: 0.4}}, nil
}

// weighBoth solves m with the engine and by Cbc's C interface, and returns the
// seconds of each.
func weighBoth(ctx context.Context, engine solver.Engine, m *solver.Model) (ours, theirs float64, err error) {
	begun := time.Now()
	s, err := engine.Solve(ctx, m, solver.Options{})
	if err != nil {
		return 0, 0, err
	}
	ours = time.Since(begun).Seconds()
	begun = time.Now()
	objective, proven := cbc.Yardstick(m, time.Minute)
	theirs = time.Since(begun).Seconds()
	if s.Stop != solver.StopOptimal || proven && math.Abs(s.Objective-objective) > 1e-5 {
		return 0, 0, fmt.Errorf("%v %g, Cbc's C interface says %g", s.Stop, s.Objective, objective)
	}
	return ours, theirs, nil
}

// quantile of some values, by the nearest rank; it sorts them.
func quantile(v []float64, q float64) float64 {
	slices.Sort(v)
	return v[max(0, int(math.Ceil(q*float64(len(v))))-1)]
}

// measureCancel cancels solves at odd moments while another goroutine keeps the
// machine busy, and measures on the wall how long they take to come back.
func measureCancel(ctx context.Context, _ settings) ([]bar, error) {
	busy, stop := context.WithCancel(ctx)
	defer stop()
	go func() {
		m := solvertest.Blend(1, 60, 20)
		for busy.Err() == nil {
			_, _ = clp.New().Solve(busy, m, solver.Options{}) // only there to be in the way
		}
	}()
	plain, large := solvertest.Plan(3, 60, 240, 12), solvertest.Plan(3, 120, 240, 12)
	whole := solvertest.Weighable(2, 80, 30, 12)
	linear, err := cancelTimes(ctx, plain, slack(plain), 300) // from a basis: without presolve
	if err != nil {
		return nil, err
	}
	other := linear[:0:0]
	for _, m := range []*solver.Model{large, whole} {
		times, err := cancelTimes(ctx, m, nil, 100)
		if err != nil {
			return nil, err
		}
		other = append(other, times...)
	}
	return []bar{{name: "cancel_lp_ms_p99", value: quantile(linear, .99), goal: 20}, {name: "cancel_whole_ms_p99", value: quantile(other, .99), goal: 200}}, nil
}

// cancelTimes cancels n solves and returns the milliseconds that each took to
// come back.
func cancelTimes(ctx context.Context, m *solver.Model, start *solver.Basis, n int) ([]float64, error) {
	engine, times := engines.New(), []float64(nil)
	for k := range n {
		inner, cancel := context.WithCancel(ctx)
		var at atomic.Int64
		begun := time.Now()
		timer := time.AfterFunc(time.Duration(10+k%40)*time.Millisecond, func() { at.Store(int64(time.Since(begun))); cancel() })
		s, err := engine.Solve(inner, m, solver.Options{Start: start})
		took := time.Since(begun)
		if err != nil {
			cancel()
			return nil, err
		}
		timer.Stop()
		cancel()
		if s.Stop == solver.StopCancelled {
			times = append(times, float64(took-time.Duration(at.Load()))/1e6)
		}
	}
	if len(times) < n/2 {
		return nil, fmt.Errorf("only %d of %d solves were long enough to cancel", len(times), n)
	}
	return times, nil
}

// slack is the basis in which every row is basic.
func slack(m *solver.Model) *solver.Basis {
	b := &solver.Basis{Variables: make([]solver.VarStatus, len(m.Variables)), Rows: make([]solver.VarStatus, len(m.Rows))}
	for j := range b.Variables {
		b.Variables[j] = solver.AtLower
	}
	for i := range b.Rows {
		b.Rows[i] = solver.Basic
	}
	return b
}
