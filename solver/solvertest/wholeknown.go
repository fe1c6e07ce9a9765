package solvertest

import (
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"millbase/solver"
)

// metalBlend is the metal blend of Winston, Operations Research: 71 units from
// pure metals, raws, scraps and whole ingots, the product holding 5-10, 30-40
// and 60-80 % of three metals. 653.61 with 32 ingots.
func metalBlend() *solver.Model {
	m := &solver.Model{Rows: []solver.Row{
		equal(71),
		{Lower: 71 * .05, Upper: 71 * .10}, {Lower: 71 * .30, Upper: 71 * .40}, {Lower: 71 * .60, Upper: 71 * .80},
	}}
	for _, c := range []struct {
		cost  float64
		metal [3]float64
		kind  solver.Kind
	}{
		{22, [3]float64{1, 0, 0}, 0}, {10, [3]float64{0, 1, 0}, 0}, {13, [3]float64{0, 0, 1}, 0},
		{6, [3]float64{.20, .05, .05}, 0}, {5, [3]float64{.01, 0, .30}, 0},
		{7, [3]float64{0, .60, .40}, 0}, {8, [3]float64{.01, 0, .70}, 0},
		{9, [3]float64{.10, .45, .45}, solver.Integer},
	} {
		e := []solver.Entry{{Row: 0}}
		for k, share := range c.metal {
			e[0].Value += share
			e = append(e, solver.Entry{Row: 1 + k, Value: share})
		}
		m.AddVariable(solver.Variable{Cost: c.cost, Upper: solver.Inf, Kind: c.kind}, e...)
	}
	return m
}

// integers makes every variable of m whole.
func integers(m *solver.Model) *solver.Model {
	for j := range m.Variables {
		m.Variables[j].Kind = solver.Integer
	}
	return m
}

func wholeKnown(t *testing.T, e solver.Engine) {
	fractions := integers(dense([]float64{1, -1}, []solver.Row{atMost(20)}, [][]float64{{1, 1}}))
	fractions.Variables[0].Lower, fractions.Variables[0].Upper = 0.5, 3.5
	fractions.Variables[1].Lower, fractions.Variables[1].Upper = -2.5, 7.25
	open := integers(dense([]float64{1, 1}, []solver.Row{atLeast(-7.5)}, [][]float64{{1, 1}}))
	open.Variables[0].Lower, open.Variables[1].Lower = -solver.Inf, -solver.Inf
	for _, k := range []known{
		{name: "metal blend", source: "Winston, Operations Research; optimum computed with an independent tool", tolerance: 1e-9,
			model: metalBlend(), objective: 653.61},
		{name: "metal blend without whole ingots", source: "the same", tolerance: 1e-8, model: metalBlend().Relaxed(), objective: 653.554136},
		{name: "far from its relaxation", source: "by hand: the relaxation is 21 at (3, 1.5)", tolerance: 1e-9, objective: -20, x: []float64{4, 0},
			model: integers(dense([]float64{-5, -4}, []solver.Row{atMost(24), atMost(6)}, [][]float64{{6, 4}, {1, 2}}))},
		{name: "bounds that are fractions", source: "by hand", model: fractions, objective: -6, tolerance: 1e-9, x: []float64{1, 7}},
		{name: "whole numbers without bounds", source: "by hand", model: open, objective: -7, tolerance: 1e-9},
		{name: "no rows", source: "by hand", model: integers(dense([]float64{2}, nil, nil)), objective: 0, tolerance: 1e-9, x: []float64{0}},
	} {
		t.Run(k.name, func(t *testing.T) {
			t.Log("source:", k.source)
			s := wholeOptimum(t, e, k.model)
			if !near(s.Objective, k.objective, k.tolerance) {
				t.Errorf("objective %.12g, want %.12g", s.Objective, k.objective)
			}
			compare(t, "value", s.X, k.x)
		})
	}
}

func wholeNoAnswers(t *testing.T, e solver.Engine) {
	between := integers(dense([]float64{1}, []solver.Row{atMost(5)}, [][]float64{{1}}))
	between.Variables[0].Lower, between.Variables[0].Upper = 0.2, 0.8
	parity := integers(dense([]float64{1, 1}, []solver.Row{equal(7)}, [][]float64{{2, 4}}))
	parity.Variables[0].Upper, parity.Variables[1].Upper = 20, 20
	falls := integers(dense([]float64{-1, 0}, []solver.Row{atMost(2.5)}, [][]float64{{1, -1}}))
	fallsFromNowhere := integers(dense([]float64{0, 0, -1}, []solver.Row{equal(7)}, [][]float64{{2, 4, 0}}))
	fallsFromNowhere.Variables[0].Upper, fallsFromNowhere.Variables[1].Upper = 20, 20
	for _, c := range []struct {
		name  string
		model *solver.Model
		want  solver.Stop
	}{
		{"the rows clash", integers(dense([]float64{1}, []solver.Row{atLeast(2), atMost(1)}, [][]float64{{1}, {1}})), solver.StopInfeasible},
		{"no whole number between the bounds", between, solver.StopInfeasible},
		{"even and odd", parity, solver.StopInfeasible},
		{"falls for ever", falls, solver.StopUnbounded},
		{"would fall for ever if there were a point", fallsFromNowhere, solver.StopInfeasible},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := solve(t, e, c.model, solver.Options{})
			if s.Stop != c.want {
				t.Fatalf("%v, want %v", s.Stop, c.want)
			}
			wholeProven(t, c.model, s)
		})
	}
}

// knapsacks compares with dynamic programming over the weights.
func knapsacks(t *testing.T, e solver.Engine) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 7))
		m := &solver.Model{}
		capacity := 20 + r.IntN(200)
		m.AddRow(atMost(float64(capacity)))
		best := make([]int, capacity+1)
		for range 5 + r.IntN(30) {
			worth, weight := 1+r.IntN(60), 1+r.IntN(50)
			m.AddVariable(solver.Variable{Cost: float64(-worth), Upper: 1, Kind: solver.Integer}, solver.Entry{Row: 0, Value: float64(weight)})
			for w := capacity; w >= weight; w-- {
				best[w] = max(best[w], best[w-weight]+worth)
			}
		}
		if s := wholeOptimum(t, e, m); !near(s.Objective, float64(-best[capacity]), 1e-9) {
			t.Errorf("knapsack %d: %g, dynamic programming says %d", seed, s.Objective, -best[capacity])
		}
	}
}

// makeWhole makes some variables of a drawn model whole, within bounds: without
// them no engine is sure to come to an end.
func makeWhole(t *rapid.T, m *solver.Model) {
	for j := range m.Variables {
		if v := &m.Variables[j]; rapid.IntRange(0, 3).Draw(t, "whole") > 0 {
			v.Kind = solver.Integer
			v.Lower, v.Upper = max(v.Lower, -5), min(v.Upper, 6)
		}
	}
}

// tryingAll compares with the best of all whole points.
func tryingAll(t *testing.T, e solver.Engine) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawn(t)
		if len(m.Variables) > 5 {
			m.Variables, m.Start = m.Variables[:5], m.Start[:6]
			m.Index, m.Value = m.Index[:m.Start[5]], m.Value[:m.Start[5]]
		}
		for j := range m.Variables {
			v := &m.Variables[j]
			v.Kind = solver.Integer
			v.Lower = max(v.Lower, -3)
			v.Upper = min(v.Upper, v.Lower+5)
		}
		s := solve(t, e, m, solver.Options{})
		wholeProven(t, m, s)
		stop, objective := bestOfAll(m, make([]float64, len(m.Variables)), 0)
		agree(t, s, stop, objective)
	})
}

// bestOfAll tries every whole value of the variables from j on.
func bestOfAll(m *solver.Model, x []float64, j int) (solver.Stop, float64) {
	if j == len(x) {
		for i, a := range m.Activities(x) {
			if a < m.Rows[i].Lower || a > m.Rows[i].Upper {
				return solver.StopInfeasible, solver.Inf
			}
		}
		return solver.StopOptimal, m.Cost(x)
	}
	stop, best := solver.StopInfeasible, solver.Inf
	for x[j] = m.Variables[j].Lower; x[j] <= m.Variables[j].Upper; x[j]++ {
		if s, v := bestOfAll(m, x, j+1); s == solver.StopOptimal && v < best {
			stop, best = s, v
		}
	}
	return stop, best
}
