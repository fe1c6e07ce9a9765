package solvertest

import (
	"testing"

	"millbase/solver"
)

func noAnswers(t *testing.T, e solver.Engine) {
	unboundedFree := &solver.Model{Rows: []solver.Row{atMost(4)}}
	unboundedFree.AddVariable(solver.Variable{Cost: 1, Lower: -solver.Inf, Upper: solver.Inf}, solver.Entry{Row: 0, Value: 1})
	clashingBounds := &solver.Model{Rows: []solver.Row{atLeast(7)}}
	clashingBounds.AddVariable(solver.Variable{Upper: 3}, solver.Entry{Row: 0, Value: 2})
	emptyRow := &solver.Model{Rows: []solver.Row{atMost(4), atLeast(1)}}
	emptyRow.AddVariable(solver.Variable{Cost: 1, Upper: 3}, solver.Entry{Row: 0, Value: 2})
	for _, c := range []struct {
		name  string
		model *solver.Model
		want  solver.Stop
	}{
		{"two rows clash", dense([]float64{1}, []solver.Row{atLeast(2), atMost(1)}, [][]float64{{1}, {1}}), solver.StopInfeasible},
		{"row clashes with a bound", clashingBounds, solver.StopInfeasible},
		{"empty row wants something", emptyRow, solver.StopInfeasible},
		{"equations clash", dense([]float64{1, 1}, []solver.Row{equal(1), equal(3)}, [][]float64{{1, 1}, {2, 2}}), solver.StopInfeasible},
		{"falls along a ray", dense([]float64{-1, -1}, []solver.Row{atMost(1)}, [][]float64{{1, -1}}), solver.StopUnbounded},
		{"falls along a variable without a bound", unboundedFree, solver.StopUnbounded},
		{"falls beside an empty column", dense([]float64{1, -1}, []solver.Row{atLeast(1)}, [][]float64{{1, 0}}), solver.StopUnbounded},
		// Infeasible comes first: there is no point to fall from.
		{"both", dense([]float64{1, -1}, []solver.Row{atLeast(2), atMost(1)}, [][]float64{{1, 0}, {1, 0}}), solver.StopInfeasible},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := solve(t, e, c.model, solver.Options{Ranging: true})
			if s.Stop != c.want {
				t.Fatalf("%v, want %v", s.Stop, c.want)
			}
			proven(t, c.model, s)
		})
	}
}

// sizesOfNothing has models without rows, columns or entries.
func sizesOfNothing(t *testing.T, e solver.Engine) {
	noRows := &solver.Model{}
	noRows.AddVariable(solver.Variable{Cost: 2, Lower: -3, Upper: 5})
	noRows.AddVariable(solver.Variable{Cost: -2, Lower: -3, Upper: 5})
	noRows.AddVariable(solver.Variable{Lower: -solver.Inf, Upper: solver.Inf})
	noRows.AddVariable(solver.Variable{Lower: -solver.Inf, Upper: 4})
	noColumns := &solver.Model{Rows: []solver.Row{atMost(3), {Lower: -1, Upper: 0}}}
	trailing := dense([]float64{1}, []solver.Row{atLeast(1), atMost(9), {Lower: -1, Upper: 1}, atMost(0)}, [][]float64{{1}, {1}, {0}, {0}})
	trailing.AddVariable(solver.Variable{Cost: 1, Lower: 2, Upper: 3})
	openRow := dense([]float64{1}, []solver.Row{{Lower: -solver.Inf, Upper: solver.Inf}, atLeast(4)}, [][]float64{{1}, {1}})
	for _, c := range []struct {
		name  string
		model *solver.Model
		want  float64
	}{
		{"nothing at all", &solver.Model{}, 0},
		{"no rows", noRows, -16},
		{"no columns", noColumns, 0},
		{"no entries", dense([]float64{1}, []solver.Row{atMost(1)}, [][]float64{{0}}), 0},
		{"trailing empty rows and columns", trailing, 3},
		{"a row without bounds", openRow, 4},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := optimum(t, e, c.model, solver.Options{Ranging: true})
			if !near(s.Objective, c.want, 1e-9) {
				t.Errorf("objective %g, want %g", s.Objective, c.want)
			}
			if len(s.X) != len(c.model.Variables) || len(s.RowDual) != len(c.model.Rows) {
				t.Errorf("%d values and %d prices for %d variables and %d rows",
					len(s.X), len(s.RowDual), len(c.model.Variables), len(c.model.Rows))
			}
		})
	}
	noColumns.Rows[0].Lower = 1
	s := solve(t, e, noColumns, solver.Options{})
	if s.Stop != solver.StopInfeasible {
		t.Errorf("no columns but a demand: %v, want infeasible", s.Stop)
	}
	proven(t, noColumns, s)
	noRows.AddVariable(solver.Variable{Cost: -1, Upper: solver.Inf})
	s = solve(t, e, noRows, solver.Options{})
	if s.Stop != solver.StopUnbounded {
		t.Errorf("no rows and an endless fall: %v, want unbounded", s.Stop)
	}
	proven(t, noRows, s)
}
