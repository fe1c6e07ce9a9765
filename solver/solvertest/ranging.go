package solvertest

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"millbase/solver"
)

// ranging solves again just inside and just outside of every range, on models
// whose optimum is not degenerate: inside, the objective moves in proportion;
// outside it does not.
func ranging(t *testing.T, e solver.Engine) {
	for seed := range uint64(3) {
		m := Blend(100+seed, 16, 7)
		s := optimum(t, e, m, solver.Options{Ranging: true})
		if !hasRanging(t, m, s) {
			return
		}
		for j := range m.Variables {
			costRange(t, e, m, s, j, true)
		}
		for i := range m.Rows {
			rowRange(t, e, m, s, i, true)
		}
	}
	if s := optimum(t, e, Blend(1, 16, 7), solver.Options{}); s.Ranging != nil {
		t.Error("ranging that was not asked for")
	}
}

// rangingDegenerate checks the inside only: at a degenerate optimum the range
// of a basis may be narrower than that of the objective's slope.
func rangingDegenerate(t *testing.T, e solver.Engine) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawn(t)
		s := solve(t, e, m, solver.Options{Ranging: true})
		if s.Stop != solver.StopOptimal || len(m.Index) == 0 || !hasRanging(t, m, s) {
			return
		}
		for j := range m.Variables {
			costRange(t, e, m, s, j, false)
		}
		for i := range m.Rows {
			rowRange(t, e, m, s, i, false)
		}
	})
}

// hasRanging holds an engine with a basis to giving ranging, and one without
// to giving none.
func hasRanging(t tester, m *solver.Model, s *solver.Solution) bool {
	t.Helper()
	if s.Basis == nil {
		if s.Ranging != nil {
			t.Errorf("ranging without a basis")
		}
		return false
	}
	if s.Ranging == nil || len(s.Ranging.Cost) != len(m.Variables) || len(s.Ranging.RowBound) != len(m.Rows) {
		t.Fatalf("asked for ranging, got %+v", s.Ranging)
	}
	return true
}

// probes returns points inside the range on both sides of at, and outside of
// its finite ends.
func probes(r solver.Range, at float64) (inside, outside []float64) {
	for _, end := range []float64{r.Lower, r.Upper} {
		way := math.Copysign(1, end-at)
		if math.IsInf(end, 0) {
			inside = append(inside, at+2*way)
			continue
		}
		inside = append(inside, at+0.95*(end-at))
		outside = append(outside, end+way*max(0.2*math.Abs(end-at), 0.01))
	}
	return inside, outside
}

func costRange(t tester, e solver.Engine, m *solver.Model, s *solver.Solution, j int, outsideToo bool) {
	t.Helper()
	r, c := s.Ranging.Cost[j], m.Variables[j].Cost
	if !(r.Lower <= c+1e-9 && r.Upper >= c-1e-9) {
		t.Fatalf("variable %d: cost %g outside of its range %v", j, c, r)
	}
	at := func(cost float64) (objective, straight float64) {
		moved := m.Clone()
		moved.Variables[j].Cost = cost
		return optimum(t, e, moved, solver.Options{}).Objective, s.Objective + (cost-c)*s.X[j]
	}
	inside, outside := probes(r, c)
	for _, p := range inside {
		if got, want := at(p); !near(got, want, 1e-6) {
			t.Errorf("variable %d, cost %g in %v: objective %.10g, want %.10g", j, p, r, got, want)
		}
	}
	for _, p := range outside {
		if !outsideToo {
			return
		}
		if got, straight := at(p); got >= straight-1e-9 {
			t.Errorf("variable %d, cost %g outside of %v: objective %.10g still in proportion", j, p, r, got)
		}
	}
}

func rowRange(t tester, e solver.Engine, m *solver.Model, s *solver.Solution, i int, outsideToo bool) {
	t.Helper()
	r, row, y := s.Ranging.RowBound[i], m.Rows[i], s.RowDual[i]
	if math.Abs(y) < 1e-12 {
		y = 0 // rounding has no side
	}
	if math.IsInf(r.Lower, -1) && math.IsInf(r.Upper, 1) && y == 0 {
		return // does not bind
	}
	bound := row.Lower
	lower := y > 0 || y == 0 && near(s.Activity[i], row.Lower, 1e-9)
	if !lower {
		bound = row.Upper
	}
	at := func(b float64) (s *solver.Solution) {
		moved := m.Clone()
		switch {
		case row.Lower == row.Upper:
			moved.Rows[i].Lower, moved.Rows[i].Upper = b, b
		case lower:
			moved.Rows[i].Lower = b
		default:
			moved.Rows[i].Upper = b
		}
		return solve(t, e, moved, solver.Options{})
	}
	inside, outside := probes(r, bound)
	for _, p := range inside {
		got, want := at(p), s.Objective+(p-bound)*y
		if got.Stop != solver.StopOptimal || !near(got.Objective, want, 1e-6) {
			t.Errorf("row %d, bound %g in %v: %v, objective %.10g, want %.10g", i, p, r, got.Stop, got.Objective, want)
		}
	}
	for _, p := range outside {
		// Beyond its own other bound a row makes no sense.
		if !outsideToo || row.Lower < row.Upper && (lower && p > row.Upper || !lower && p < row.Lower) {
			continue
		}
		got, straight := at(p), s.Objective+(p-bound)*y
		if got.Stop == solver.StopOptimal && got.Objective <= straight+1e-9 {
			t.Errorf("row %d, bound %g outside of %v: objective %.10g still in proportion", i, p, r, got.Objective)
		}
	}
}

// startingBasis solves again from the basis of a like model.
func startingBasis(t *testing.T, e solver.Engine) {
	m := Blend(7, 60, 20)
	cold := optimum(t, e, m, solver.Options{})
	again := optimum(t, e, m, solver.Options{Start: cold.Basis})
	if !near(again.Objective, cold.Objective, 1e-9) {
		t.Errorf("objective %.12g from its own basis, %.12g without", again.Objective, cold.Objective)
	}
	if cold.Basis == nil {
		return // an engine without bases ignores them
	}
	if again.Iterations > cold.Iterations/4 {
		t.Errorf("%d iterations from the optimal basis, %d without", again.Iterations, cold.Iterations)
	}
	dearer := m.Variant()
	for j := range dearer.Variables {
		dearer.Variables[j].Cost *= 1 + 0.01*float64(j%5)
	}
	warm := optimum(t, e, dearer, solver.Options{Start: cold.Basis})
	fresh := optimum(t, e, dearer, solver.Options{})
	if !near(warm.Objective, fresh.Objective, 1e-9) {
		t.Errorf("objective %.12g from the old basis, %.12g without", warm.Objective, fresh.Objective)
	}
	short := &solver.Basis{Variables: cold.Basis.Variables[:59], Rows: cold.Basis.Rows}
	if _, err := e.Solve(t.Context(), m, solver.Options{Start: short}); !errors.Is(err, solver.ErrStart) {
		t.Errorf("a basis of another shape: got %v, want ErrStart", err)
	}
	for _, place := range []solver.VarStatus{solver.Basic, solver.AtLower, solver.AtUpper, solver.Free, 200} {
		odd := &solver.Basis{Variables: make([]solver.VarStatus, 60), Rows: make([]solver.VarStatus, 20)}
		for j := range odd.Variables {
			odd.Variables[j] = place
		}
		if s := optimum(t, e, m, solver.Options{Start: odd}); !near(s.Objective, cold.Objective, 1e-9) {
			t.Errorf("objective %.12g from a basis full of %v", s.Objective, place)
		}
	}
	twisted := &solver.Basis{Variables: make([]solver.VarStatus, 60), Rows: make([]solver.VarStatus, 20)}
	for j := range 20 {
		twisted.Variables[j+40] = solver.Basic // as many as rows, likely not independent
	}
	if s := optimum(t, e, m, solver.Options{Start: twisted}); !near(s.Objective, cold.Objective, 1e-9) {
		t.Errorf("objective %.12g from an arbitrary basis", s.Objective)
	}
}
