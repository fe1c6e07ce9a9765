package formulation_test

import (
	"context"
	"runtime"
	"testing"
	"time"

	lanl "github.com/lanl/clp"

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
		got := plainLanl(models[k])
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

// plainLanl is lanl/clp as its documentation shows it.
func plainLanl(m *solver.Model) float64 {
	rows, cols := len(m.Rows), len(m.Variables)
	matrix := lanl.NewPackedMatrix()
	costs, bounds := make([]float64, cols), make([]lanl.Bounds, cols)
	for j := range m.Variables {
		index, values := m.Column(j)
		column := make([]lanl.Nonzero, 0, len(index))
		for k, i := range index {
			column = append(column, lanl.Nonzero{Index: int(i), Value: values[k]})
		}
		matrix.AppendColumn(column)
		costs[j], bounds[j] = m.Variables[j].Cost, lanl.Bounds{Lower: m.Variables[j].Lower, Upper: m.Variables[j].Upper}
	}
	limits := make([]lanl.Bounds, rows)
	for i := range m.Rows {
		limits[i] = lanl.Bounds{Lower: m.Rows[i].Lower, Upper: m.Rows[i].Upper}
	}
	s := lanl.NewSimplex()
	s.LoadProblem(matrix, bounds, costs, limits, nil)
	s.SetOptimizationDirection(lanl.Minimize)
	s.Dual(lanl.NoValuesPass, lanl.NoStartFinishOptions)
	s.PrimalColumnSolution()
	s.DualColumnSolution()
	v := s.ObjectiveValue()
	runtime.KeepAlive(s)
	return v
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
