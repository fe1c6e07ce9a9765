package cbc

import (
	"math"
	"testing"

	"millbase/solver"
	"millbase/solver/certify"
)

// TestMetalBlend: Winston, Operations Research: 71 units of a metal from two
// pure metals and a third, two raws, two scraps and whole ingots; the product
// is 5-10, 30-40 and 60-80 % of the metals.
func TestMetalBlend(t *testing.T) {
	m := &solver.Model{}
	m.AddRow(solver.Row{Name: "whole", Lower: 71, Upper: 71})
	for k, b := range [][2]float64{{.05, .10}, {.30, .40}, {.60, .80}} {
		m.AddRow(solver.Row{Name: string(rune('A' + k)), Lower: 71 * b[0], Upper: 71 * b[1]})
	}
	for k, c := range []struct {
		cost  float64
		metal [3]float64
	}{
		{22, [3]float64{1, 0, 0}}, {10, [3]float64{0, 1, 0}}, {13, [3]float64{0, 0, 1}},
		{6, [3]float64{.20, .05, .05}}, {5, [3]float64{.01, 0, .30}},
		{7, [3]float64{0, .60, .40}}, {8, [3]float64{.01, 0, .70}}, {9, [3]float64{.10, .45, .45}},
	} {
		v := solver.Variable{Cost: c.cost, Upper: solver.Inf}
		if k == 7 {
			v.Kind = solver.Integer
		}
		m.AddVariable(v, solver.Entry{Row: 1, Value: c.metal[0]}, solver.Entry{Row: 2, Value: c.metal[1]},
			solver.Entry{Row: 3, Value: c.metal[2]}, solver.Entry{Row: 0, Value: c.metal[0] + c.metal[1] + c.metal[2]})
	}
	s, err := New().Solve(t.Context(), m, solver.Options{})
	if err != nil || s.Stop != solver.StopOptimal {
		t.Fatal(s, err)
	}
	if math.Abs(s.Objective-653.61) > 1e-6 || s.X[7] != 32 {
		t.Errorf("cost %.9g with %g ingots, want 653.61 with 32", s.Objective, s.X[7])
	}
	if c := certify.Check(m, s); !c.OK {
		t.Error(c.Reason)
	}
}
