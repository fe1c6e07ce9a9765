package relax_test

import (
	"context"
	"testing"

	"millbase/solver"
	"millbase/solver/relax"
	"millbase/solver/solvertest"
)

// impossible is a formula-sized model whose limits clash.
func impossible(seed uint64) *solver.Model {
	for {
		m := solvertest.Blend(seed, 60, 20)
		for i := 3; i < len(m.Rows); i += 3 {
			m.Rows[i].Lower *= 1.6
		}
		for i := 4; i < len(m.Rows); i += 3 {
			m.Rows[i].Upper *= 0.7
		}
		s, err := engine().Solve(context.Background(), m, solver.Options{})
		if err == nil && s.Stop == solver.StopInfeasible {
			return m
		}
		seed += 1000
	}
}

func limitsButWhole(m *solver.Model) []relax.Limit {
	var out []relax.Limit
	for _, l := range relax.Rows(m) {
		if l.Number != 0 {
			out = append(out, l)
		}
	}
	return out
}

func BenchmarkFind60x20(b *testing.B) {
	models := make([]*solver.Model, 10)
	for k := range models {
		models[k] = impossible(uint64(k))
	}
	var solves, members, smallest, n int
	for b.Loop() {
		m := models[n%len(models)]
		c, err := relax.Find(context.Background(), engine(), m, limitsButWhole(m))
		if err != nil {
			b.Fatal(err)
		}
		solves += c.Solves
		members += len(c.Limits)
		if c.Smallest {
			smallest++
		}
		n++
	}
	b.ReportMetric(float64(solves)/float64(n), "solves")
	b.ReportMetric(float64(members)/float64(n), "limits")
	b.ReportMetric(float64(smallest)/float64(n), "smallest")
}

func BenchmarkLeast60x20(b *testing.B) {
	m := impossible(1)
	movable := relax.Scaled(m, limitsButWhole(m))
	for b.Loop() {
		if got, err := relax.Least(context.Background(), engine(), m, movable); err != nil || len(got.Moves) == 0 {
			b.Fatal(got, err)
		}
	}
}
