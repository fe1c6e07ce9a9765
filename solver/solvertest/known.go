package solvertest

import (
	"math"
	"testing"

	"millbase/solver"
)

// known is a model with a known optimum. Empty slices are not compared.
type known struct {
	name      string
	source    string
	model     *solver.Model
	objective float64
	tolerance float64 // relative, of the objective
	x         []float64
	rowDual   []float64
	reduced   []float64 // NaN where there is no single value
}

func knownCases() []known {
	inf := solver.Inf
	nan := math.NaN()
	free := &solver.Model{Rows: []solver.Row{atLeast(-3), atMost(7)}}
	free.AddVariable(solver.Variable{Cost: 1, Lower: -inf, Upper: inf}, solver.Entry{Row: 0, Value: 1}, solver.Entry{Row: 1, Value: 1})
	free.AddVariable(solver.Variable{Cost: -1, Lower: -inf, Upper: 2}, solver.Entry{Row: 1, Value: 1})
	fixed := &solver.Model{Rows: []solver.Row{equal(10)}}
	fixed.AddVariable(solver.Variable{Cost: 5, Lower: 4, Upper: 4}, solver.Entry{Row: 0, Value: 1})
	fixed.AddVariable(solver.Variable{Cost: 2, Lower: -1, Upper: 20}, solver.Entry{Row: 0, Value: 2})
	return []known{
		{
			name: "alloy blend", source: "Dantzig, Linear Programming and Extensions (1963), sec. 3.4; degenerate",
			model: alloy(), objective: 4.98, tolerance: 1e-9,
			x:       []float64{0, .6, 0, .4, 0, 0, 0, 0, 0},
			reduced: []float64{nan, 0, .28, 0, 2.62, 2.42, 2.42, 1.14, 2.66},
		},
		{
			name: "nutrient feed", source: "R package limSolve, data set Blending; duals computed with an independent tool",
			model: dense([]float64{40, 60, 0},
				[]solver.Row{atLeast(80), atLeast(50), atLeast(25), atLeast(5), equal(1)},
				[][]float64{{100, 200, 0}, {50, 150, 0}, {40, 10, 0}, {10, 0, 0}, {1, 1, 1}}),
			objective: 31.818181818, tolerance: 1e-9,
			x:       []float64{.590909090909, .136363636364, .272727272727},
			rowDual: []float64{0, .363636363636, .545454545455, 0, 0},
		},
		{
			name: "cycling", source: "Beale, Naval Res. Logistics Quart. 2 (1955), from memory",
			model: dense([]float64{-.75, 150, -.02, 6}, []solver.Row{atMost(0), atMost(0), atMost(1)},
				[][]float64{{.25, -60, -.04, 9}, {.5, -90, -.02, 3}, {0, 0, 1, 0}}),
			objective: -.05, tolerance: 1e-9, x: []float64{.04, 0, 1, 0},
		},
		{
			name: "long way round", source: "Klee and Minty, Inequalities III (1972), from memory; 8 dimensions, optimum 5^8",
			model: kleeMinty(8), objective: -390625, tolerance: 1e-9,
		},
		{name: "free variables", source: "by hand: x0 rests on its row, x1 on its bound", model: free, objective: -5, tolerance: 1e-9,
			x: []float64{-3, 2}, rowDual: []float64{1, 0}, reduced: []float64{0, -1}},
		{name: "fixed variable, equation", source: "by hand", model: fixed, objective: 26, tolerance: 1e-9,
			x: []float64{4, 3}, rowDual: []float64{1}, reduced: []float64{4, 0}},
		{name: "badly scaled", source: "by hand: x = 1e-5, y = 1e5", tolerance: 1e-6, objective: 2,
			model: dense([]float64{1e5, 1e-5}, []solver.Row{atLeast(1), atLeast(1)}, [][]float64{{1e5, 0}, {0, 1e-5}}),
			x:     []float64{1e-5, 1e5}, rowDual: []float64{1, 1}},
		{name: "the same equation twice", source: "by hand", tolerance: 1e-9, objective: 4,
			model: dense([]float64{1, 2}, []solver.Row{equal(4), equal(8)}, [][]float64{{1, 1}, {2, 2}}), x: []float64{4, 0}},
	}
}

func alloy() *solver.Model {
	return dense([]float64{4.1, 4.3, 5.8, 6.0, 7.6, 7.5, 7.3, 6.9, 7.3},
		[]solver.Row{equal(30), equal(30), equal(40), equal(1)},
		[][]float64{
			{10, 10, 40, 60, 30, 30, 30, 50, 20},
			{10, 30, 50, 30, 30, 40, 20, 40, 30},
			{80, 60, 10, 10, 40, 30, 50, 10, 50},
			{1, 1, 1, 1, 1, 1, 1, 1, 1},
		})
}

func kleeMinty(n int) *solver.Model {
	costs, a := make([]float64, n), make([][]float64, n)
	rows := make([]solver.Row, n)
	for i := range n {
		costs[i] = -math.Pow(2, float64(n-1-i))
		a[i] = make([]float64, n)
		for j := range i {
			a[i][j] = math.Pow(2, float64(i-j+1))
		}
		a[i][i] = 1
		rows[i] = atMost(math.Pow(5, float64(i+1)))
	}
	return dense(costs, rows, a)
}

func knownAnswers(t *testing.T, e solver.Engine) {
	for _, k := range knownCases() {
		t.Run(k.name, func(t *testing.T) {
			t.Log("source:", k.source)
			s := optimum(t, e, k.model, solver.Options{Ranging: true})
			if !near(s.Objective, k.objective, k.tolerance) {
				t.Errorf("objective %.12g, want %.12g", s.Objective, k.objective)
			}
			compare(t, "value", s.X, k.x)
			compare(t, "shadow price", s.RowDual, k.rowDual)
			compare(t, "reduced cost", s.ReducedCost, k.reduced)
		})
	}
}

func compare(t *testing.T, what string, got, want []float64) {
	t.Helper()
	for k, w := range want {
		if !math.IsNaN(w) && !near(got[k], w, 1e-6) {
			t.Errorf("%s %d is %.9g, want %.9g", what, k, got[k], w)
		}
	}
}

// signs checks the promises on signs in the comment of solver.Solution by
// moving bounds of rows of every type a little and looking at the objective.
func signs(t *testing.T, e solver.Engine) {
	// Each row binds: x0 >= 2; x0 + x1 <= 5 wants more; x2 = 3; 1 <= x3 <= 4
	// pulled up; 1 <= x4 <= 4 pushed down.
	m := dense([]float64{3, -2, 7, -5, 11},
		[]solver.Row{atLeast(2), atMost(5), equal(3), {Lower: 1, Upper: 4}, {Lower: 1, Upper: 4}},
		[][]float64{{1, 0, 0, 0, 0}, {1, 1, 0, 0, 0}, {0, 0, 1, 0, 0}, {0, 0, 0, 1, 0}, {0, 0, 0, 0, 1}})
	s := optimum(t, e, m, solver.Options{})
	compare(t, "shadow price", s.RowDual, []float64{5, -2, 7, -5, 11})
	for i := range m.Rows {
		moved := m.Clone()
		r := &moved.Rows[i]
		for _, b := range []*float64{&r.Lower, &r.Upper} {
			if !math.IsInf(*b, 0) && near(*b, s.Activity[i], 1e-9) {
				*b += 0.25
			}
		}
		after := optimum(t, e, moved, solver.Options{})
		if got := (after.Objective - s.Objective) / 0.25; !near(got, s.RowDual[i], 1e-7) {
			t.Errorf("row %d: the objective moves by %g per unit, the shadow price is %g", i, got, s.RowDual[i])
		}
	}
	if s.Basis != nil {
		want := []solver.VarStatus{solver.AtLower, solver.AtUpper, solver.Fixed, solver.AtUpper, solver.AtLower}
		for i, w := range want {
			if got := s.Basis.Rows[i]; got != w && w != solver.Fixed {
				t.Errorf("row %d is %v in the basis, want %v", i, got, w)
			}
		}
	}
}
