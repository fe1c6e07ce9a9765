package formulation_test

import (
	"context"
	"testing"
	"time"

	"millbase/solver"
	"millbase/solver/clp"
	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

// BenchmarkOptimiseOverLanl measures Optimise (validate, build, solve, certify,
// round, check, explain) on 60 candidates and 20 limits, and beside it plain
// lanl/clp on the model that Optimise solved: columns appended one by one, Dual.
// ratio is the first over the second.
func BenchmarkOptimiseOverLanl(b *testing.B) {
	var problems []*formulation.Problem
	var models []*solver.Model
	for seed := range uint64(20) {
		p := formulationtest.Problem(seed, 60, 20)
		spy := &modelSpy{Engine: clp.New()}
		if _, err := formulation.Optimise(context.Background(), spy, p); err != nil {
			b.Fatal(err)
		}
		problems, models = append(problems, p), append(models, spy.first)
	}
	engine := clp.New()
	var ours, theirs time.Duration
	b.ResetTimer()
	for i := range b.N {
		k := i % len(problems)
		start := time.Now()
		a, err := formulation.Optimise(context.Background(), engine, problems[k])
		ours += time.Since(start)
		if err != nil || a.Outcome != formulation.Optimal {
			b.Fatal(a, err)
		}
		start = time.Now()
		got := clp.Yardstick(models[k])
		theirs += time.Since(start)
		if d := got - a.CostPerKg; d > 1e-6 || d < -1e-6 {
			b.Fatalf("problem %d: %g, lanl/clp says %g", k, a.CostPerKg, got)
		}
	}
	b.ReportMetric(float64(ours.Microseconds())/float64(b.N), "us/optimise")
	b.ReportMetric(float64(theirs.Microseconds())/float64(b.N), "us/lanl")
	b.ReportMetric(float64(ours)/float64(theirs), "ratio")
}

// modelSpy keeps the first model that it is asked to solve.
type modelSpy struct {
	solver.Engine
	first *solver.Model
}

func (s *modelSpy) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	if s.first == nil {
		s.first = m.Clone()
	}
	return s.Engine.Solve(ctx, m, o)
}

// BenchmarkClash measures the whole explanation of impossible inks of 60
// candidates and 20 limits.
func BenchmarkClash(b *testing.B) {
	engine := clp.New()
	for i := range b.N {
		a, err := formulation.Optimise(context.Background(), engine, formulationtest.Impossible(uint64(i%20), 60, 20))
		if err != nil {
			b.Fatal(err)
		}
		if a.Outcome == formulation.Infeasible && !a.Clash.Proved {
			b.Fatalf("not proved: %+v", a.Clash)
		}
	}
}
