package dense

import (
	"context"
	"fmt"
	"testing"
	"time"

	"millbase/solver"
	"millbase/solver/certify"
	"millbase/solver/clp"
	"millbase/solver/solvertest"
)

// BenchmarkOverLanl measures, side by side in one run, solve and certify by
// this engine, the same by our bridge to Clp, and plain lanl/clp.
func BenchmarkOverLanl(b *testing.B) {
	for _, size := range [][2]int{{20, 8}, {60, 20}, {150, 30}, {300, 40}, {400, 60}, {400, 100}, {400, 150}} {
		b.Run(fmt.Sprintf("%dx%d", size[0], size[1]), func(b *testing.B) {
			models := make([]*solver.Model, 16)
			for k := range models {
				models[k] = solvertest.Blend(uint64(k), size[0], size[1])
			}
			ctx, cancel := context.WithCancel(context.Background())
			defer cancel()
			iterations := 0
			certified := func(e solver.Engine) func(m *solver.Model) {
				return func(m *solver.Model) {
					s, err := e.Solve(ctx, m, solver.Options{})
					if err != nil || !certify.Check(m, s).OK {
						b.Fatal("no proven answer")
					}
					iterations += s.Iterations
				}
			}
			var mine, clps, lanls time.Duration
			count := 0
			for b.Loop() {
				iterations = 0
				mine += batch(models, certified(New()))
				count = iterations / len(models)
				iterations = 0
				clps += batch(models, certified(clp.New()))
				lanls += batch(models, func(m *solver.Model) { clp.Yardstick(m) })
			}
			each := float64(b.N) * float64(len(models)) * 1e3
			b.ReportMetric(float64(mine)/each, "us/ours")
			b.ReportMetric(float64(clps)/each, "us/clp")
			b.ReportMetric(float64(lanls)/each, "us/lanl")
			b.ReportMetric(float64(mine)/float64(lanls), "ours/lanl")
			b.ReportMetric(float64(count), "iterations")
			b.ReportMetric(float64(iterations/len(models)), "iterations/clp")
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

// BenchmarkSolve solves one model, cold and from its basis at moved costs.
func BenchmarkSolve(b *testing.B) {
	for _, size := range [][2]int{{60, 20}, {300, 40}} {
		models := make([]*solver.Model, 16)
		moved := make([]*solver.Model, 16)
		starts := make([]*solver.Basis, 16)
		for k := range models {
			models[k] = solvertest.Blend(uint64(k), size[0], size[1])
			s, err := New().Solve(context.Background(), models[k], solver.Options{})
			if err != nil {
				b.Fatal(err)
			}
			starts[k], moved[k] = s.Basis, models[k].Variant()
			for j := range 5 {
				moved[k].Variables[7*j].Cost *= 1.03
			}
		}
		for name, run := range map[string]func(k int) (*solver.Solution, error){
			"cold": func(k int) (*solver.Solution, error) {
				return New().Solve(context.Background(), models[k], solver.Options{})
			},
			"again": func(k int) (*solver.Solution, error) {
				return New().Solve(context.Background(), moved[k], solver.Options{Start: starts[k]})
			},
		} {
			b.Run(fmt.Sprintf("%dx%d %s", size[0], size[1], name), func(b *testing.B) {
				b.ReportAllocs()
				k := 0
				for b.Loop() {
					if s, err := run(k & 15); err != nil || s.Stop != solver.StopOptimal {
						b.Fatal(s, err)
					}
					k++
				}
			})
		}
	}
}
