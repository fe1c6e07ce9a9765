package solver_test

import (
	"context"
	"math"
	"testing"

	"millbase/solver"
	"millbase/solver/clp"
	"millbase/solver/solvertest"
)

// TestFactorGivesTheEnginesAnswer: prices and point from the factorised basis are
// the engine's own, on formulas and on a plan with thousands of rows.
func TestFactorGivesTheEnginesAnswer(t *testing.T) {
	models := []*solver.Model{solvertest.Plan(1, 12, 20, 6)}
	for seed := range uint64(40) {
		models = append(models, solvertest.Blend(seed, 10+int(seed), 3+int(seed)/2))
	}
	for k, m := range models {
		s, err := clp.New().Solve(context.Background(), m, solver.Options{})
		if err != nil || s.Stop != solver.StopOptimal {
			t.Fatal(err, s)
		}
		f := m.Factor(s.Basis)
		if f == nil {
			t.Fatalf("model %d: no factor", k)
		}
		y, x := make([]float64, len(m.Rows)), make([]float64, len(m.Variables))
		f.Duals(m, y)
		if !f.Point(m, s.Basis, x) {
			t.Fatalf("model %d: no point", k)
		}
		for i := range y {
			if math.Abs(y[i]-s.RowDual[i]) > 1e-7*(1+math.Abs(y[i])) {
				t.Errorf("model %d: price of row %d is %g, want %g", k, i, y[i], s.RowDual[i])
			}
		}
		for j := range x {
			if math.Abs(x[j]-s.X[j]) > 1e-7*(1+math.Abs(x[j])) {
				t.Errorf("model %d: variable %d is %g, want %g", k, j, x[j], s.X[j])
			}
		}
	}
}

func TestNoFactor(t *testing.T) {
	m := solvertest.Blend(1, 6, 4)
	s, err := clp.New().Solve(context.Background(), m, solver.Options{})
	if err != nil {
		t.Fatal(err)
	}
	short := *s.Basis
	short.Rows = short.Rows[1:]
	same := &solver.Model{} // two columns alike, both basic
	same.AddRow(solver.Row{Upper: 1})
	same.AddRow(solver.Row{Upper: 1})
	for range 2 {
		same.AddVariable(solver.Variable{Upper: 1}, solver.Entry{Row: 0, Value: 1}, solver.Entry{Row: 1, Value: 1})
	}
	alike := &solver.Basis{Variables: []solver.VarStatus{solver.Basic, solver.Basic}, Rows: []solver.VarStatus{solver.AtUpper, solver.AtUpper}}
	if m.Factor(nil) != nil || m.Factor(&short) != nil || same.Factor(alike) != nil {
		t.Error("a basis that is missing, of another shape or singular has a factor")
	}
}
