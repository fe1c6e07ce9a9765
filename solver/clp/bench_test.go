package clp

import (
	"context"
	"fmt"
	"testing"
	"time"

	"millbase/solver"
	"millbase/solver/certify"
	"millbase/solver/solvertest"
)

// BenchmarkOverLanl measures, side by side in one run, solve with ranging
// under a context that can be cancelled, and certify, against plain lanl/clp.
// It reports both times and their ratio, over short alternating batches.
func BenchmarkOverLanl(b *testing.B) {
	for _, size := range [][2]int{{20, 8}, {60, 20}, {300, 40}} {
		b.Run(fmt.Sprintf("%dx%d", size[0], size[1]), func(b *testing.B) {
			models := make([]*solver.Model, 16)
			for k := range models {
				models[k] = solvertest.Blend(uint64(k), size[0], size[1])
			}
			bridgeSetup()
			ctx, cancel := context.WithCancel(context.Background())
			defer cancel()
			e := New()
			ours := func(m *solver.Model) {
				s, err := e.Solve(ctx, m, solver.Options{Ranging: true})
				if err != nil || !certify.Check(m, s).OK {
					b.Fatal("no proven answer")
				}
			}
			theirs := func(m *solver.Model) { Yardstick(m) }
			var mine, lanls time.Duration
			for b.Loop() {
				mine += batch(models, ours)
				lanls += batch(models, theirs)
			}
			each := float64(b.N) * float64(len(models)) * 1e3
			b.ReportMetric(float64(mine)/each, "us/ours")
			b.ReportMetric(float64(lanls)/each, "us/lanl")
			b.ReportMetric(float64(mine)/float64(lanls), "ours/lanl")
			b.ReportMetric(0, "ns/op")
		})
	}
}

func batch(models []*solver.Model, solve func(*solver.Model)) time.Duration {
	begun := time.Now()
	for _, m := range models {
		solve(m)
	}
	return time.Since(begun)
}

// BenchmarkParts splits the time of a 60x20 solve.
func BenchmarkParts(b *testing.B) {
	m := solvertest.Blend(1, 60, 20)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	s, err := New().Solve(ctx, m, solver.Options{})
	if err != nil {
		b.Fatal(err)
	}
	run := func(name string, f func()) {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				f()
			}
		})
	}
	run("validate", func() { _ = m.Validate() })
	run("solve", func() { _, _ = New().Solve(context.Background(), m, solver.Options{}) })
	run("solve, can be cancelled", func() { _, _ = New().Solve(ctx, m, solver.Options{}) })
	run("solve from its basis", func() { _, _ = New().Solve(ctx, m, solver.Options{Start: s.Basis}) })
	run("ranging", func() { m.Ranging(s) })
	run("certify", func() { certify.Check(m, s) })
}

// BenchmarkPlan solves joint plans, cold and from the basis of the plan before
// prices moved.
func BenchmarkPlan(b *testing.B) {
	for _, batches := range []int{10, 50, 100} {
		m := solvertest.Plan(1, batches, 2*batches+60, 12)
		moved := m.Variant()
		for j := range moved.Variables {
			moved.Variables[j].Cost *= 1 + 0.02*float64(j%3)
		}
		name := fmt.Sprintf("%d batches, %dx%d", batches, len(m.Variables), len(m.Rows))
		var basis *solver.Basis
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				s, err := New().Solve(context.Background(), m, solver.Options{})
				if err != nil || !certify.Check(m, s).OK {
					b.Fatal("no proven answer")
				}
				basis = s.Basis
			}
		})
		b.Run(name+", again", func(b *testing.B) {
			for b.Loop() {
				s, err := New().Solve(context.Background(), moved, solver.Options{Start: basis})
				if err != nil || !certify.Check(moved, s).OK {
					b.Fatal("no proven answer")
				}
			}
		})
	}
}
