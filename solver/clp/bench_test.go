package clp

import (
	"context"
	"math/rand/v2"
	"runtime"
	"testing"

	lanl "github.com/lanl/clp"

	"millbase/solver"
	"millbase/solver/certify"
)

// blend builds a formula-sized model: shares of cols candidates under rows
// limits, the first of which makes the whole.
func blend(seed uint64, cols, rows int) *solver.Model {
	r := rand.New(rand.NewPCG(seed, 1))
	for {
		m := &solver.Model{}
		point := make([]float64, cols)
		var sum float64
		for j := range point {
			point[j] = r.ExpFloat64()
			sum += point[j]
		}
		a := make([][]float64, rows)
		m.AddRow(solver.Row{Name: "whole", Lower: 1, Upper: 1})
		for i := 1; i < rows; i++ {
			a[i] = make([]float64, cols)
			var at float64
			for j := range cols {
				if r.Float64() < 0.6 {
					a[i][j] = r.Float64()
				}
				at += a[i][j] * point[j] / sum
			}
			switch i % 3 {
			case 0:
				m.AddRow(solver.Row{Lower: at * 1.05, Upper: solver.Inf})
			case 1:
				m.AddRow(solver.Row{Lower: -solver.Inf, Upper: at * 0.95})
			default:
				m.AddRow(solver.Row{Lower: at * 0.9, Upper: at * 1.1})
			}
		}
		for j := range cols {
			e := []solver.Entry{{Row: 0, Value: 1}}
			for i := 1; i < rows; i++ {
				e = append(e, solver.Entry{Row: i, Value: a[i][j]})
			}
			m.AddVariable(solver.Variable{Cost: 1 + 9*r.Float64(), Upper: 0.3}, e...)
		}
		s, err := New().Solve(context.Background(), m, solver.Options{})
		if err == nil && s.Stop == solver.StopOptimal {
			return m
		}
	}
}

// plainLanl is the yardstick: lanl/clp as its documentation shows it.
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
	s.PrimalRowSolution()
	s.DualRowSolution()
	v := s.ObjectiveValue()
	runtime.KeepAlive(s)
	return v
}

func models(cols, rows int) []*solver.Model {
	list := make([]*solver.Model, 20)
	for i := range list {
		list[i] = blend(uint64(i), cols, rows)
	}
	return list
}

func Benchmark60x20(b *testing.B) {
	list := models(60, 20)
	bridgeSetup()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	e := New()
	b.Run("lanl", func(b *testing.B) {
		for i := range b.N {
			plainLanl(list[i%len(list)])
		}
	})
	b.Run("solve", func(b *testing.B) {
		for i := range b.N {
			_, _ = e.Solve(context.Background(), list[i%len(list)], solver.Options{})
		}
	})
	b.Run("solve,ctx", func(b *testing.B) {
		for i := range b.N {
			_, _ = e.Solve(ctx, list[i%len(list)], solver.Options{})
		}
	})
	b.Run("solve,ranging,ctx,certify", func(b *testing.B) {
		for i := range b.N {
			m := list[i%len(list)]
			s, _ := e.Solve(ctx, m, solver.Options{Ranging: true})
			if !certify.Check(m, s).OK {
				b.Fatal("not proven")
			}
		}
	})
	sols := make([]*solver.Solution, len(list))
	for i, m := range list {
		sols[i], _ = e.Solve(ctx, m, solver.Options{})
	}
	b.Run("only ranging", func(b *testing.B) {
		for i := range b.N {
			list[i%len(list)].Ranging(sols[i%len(list)])
		}
	})
	b.Run("only certify", func(b *testing.B) {
		for i := range b.N {
			certify.Check(list[i%len(list)], sols[i%len(list)])
		}
	})
	b.Run("only validate", func(b *testing.B) {
		for i := range b.N {
			_ = list[i%len(list)].Validate()
		}
	})
}
