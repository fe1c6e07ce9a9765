package certify_test

import (
	"context"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"millbase/solver"
	"millbase/solver/certify"
	"millbase/solver/clp"
	"millbase/solver/solvertest"
)

func solved(t interface{ Fatal(...any) }, m *solver.Model) *solver.Solution {
	s, err := clp.New().Solve(context.Background(), m, solver.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if c := certify.Check(m, s); !c.OK {
		t.Fatal(c.Reason)
	}
	return s
}

// TestSpoiledAnswersFail: a sound answer passes, and the same answer with any
// one figure moved by a thousandth does not.
func TestSpoiledAnswersFail(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := solvertest.Blend(rapid.Uint64().Draw(t, "seed"), 12, 6)
		s := solved(t, m)
		by := rapid.SampledFrom([]float64{1e-3, -1e-3, 1, math.NaN(), math.Inf(1)}).Draw(t, "by")
		lists := map[string][]float64{"x": s.X, "activity": s.Activity, "price": s.RowDual, "reduced cost": s.ReducedCost}
		name := rapid.SampledFrom([]string{"x", "activity", "price", "reduced cost", "objective"}).Draw(t, "figure")
		if name == "objective" {
			s.Objective += 10 * by
		} else {
			list := lists[name]
			list[rapid.IntRange(0, len(list)-1).Draw(t, "place")] += by
		}
		if c := certify.Check(m, s); c.OK || c.Reason == "" {
			t.Fatalf("%s moved by %g still passes: %+v", name, by, c)
		}
	})
}

// TestOtherVertexFails: a feasible point with fitting prices of its own that is
// not optimal is found out by the signs of the prices.
func TestOtherVertexFails(t *testing.T) {
	m := solvertest.Blend(5, 12, 6)
	turned := m.Clone()
	for j := range turned.Variables {
		turned.Variables[j].Cost *= -1
	}
	s := solved(t, turned)
	for j, v := range m.Variables {
		s.ReducedCost[j] *= -1
		if v.Cost == 0 {
			t.Fatal("the test wants costs")
		}
	}
	for i := range s.RowDual {
		s.RowDual[i] *= -1
	}
	s.Objective, s.Bound = -s.Objective, -s.Bound
	if c := certify.Check(m, s); c.OK || c.Primal > 1e-6 {
		t.Errorf("the dearest mix passes as the cheapest: %+v", c)
	}
}

func TestClaimsWithoutProof(t *testing.T) {
	m := solvertest.Blend(1, 6, 4)
	s := solved(t, m)
	for name, c := range map[string]struct {
		answer *solver.Solution
		says   string
	}{
		"nothing":          {nil, "no answer"},
		"infeasible":       {&solver.Solution{Stop: solver.StopInfeasible}, "proof"},
		"infeasible, ray":  {&solver.Solution{Stop: solver.StopInfeasible, Dual: solver.Ray, Farkas: []float64{1, 1, 1, 1}}, "proof"},
		"unbounded":        {&solver.Solution{Stop: solver.StopUnbounded, Primal: solver.Ray, X: s.X}, "fall for ever"},
		"cancelled":        {&solver.Solution{Stop: solver.StopCancelled}, "cancelled"},
		"no point":         {&solver.Solution{Stop: solver.StopOptimal}, "without a feasible point"},
		"no prices":        {&solver.Solution{Stop: solver.StopOptimal, Primal: solver.FeasiblePoint, X: s.X, Activity: s.Activity}, "without prices"},
		"wrong size":       {&solver.Solution{Stop: solver.StopOptimal, Primal: solver.FeasiblePoint, X: s.X[1:], Activity: s.Activity}, "size"},
		"wrong price size": {&solver.Solution{Stop: solver.StopOptimal, Primal: solver.FeasiblePoint, Dual: solver.FeasiblePoint, X: s.X, Activity: s.Activity}, "size"},
	} {
		got := certify.Check(m, c.answer)
		if got.OK || !strings.Contains(got.Reason, c.says) {
			t.Errorf("%s: %+v, want a reason with %q", name, got, c.says)
		}
	}
}

// TestPoint: rounding a mix to whole units is checked on its own.
func TestPoint(t *testing.T) {
	m := &solver.Model{}
	m.AddRow(solver.Row{Name: "whole", Lower: 10, Upper: 10})
	m.AddVariable(solver.Variable{Name: "bags", Upper: 8, Kind: solver.Integer}, solver.Entry{Row: 0, Value: 2})
	m.AddVariable(solver.Variable{Name: "oil", Upper: 8}, solver.Entry{Row: 0, Value: 1})
	for _, c := range []struct {
		x    []float64
		says string
	}{
		{[]float64{3, 4}, ""},
		{[]float64{3, 4.001}, `row "whole" is broken by 0.0001`},
		{[]float64{2.5, 5}, "0.5 away from a whole number"},
		{[]float64{1, 8.01}, `variable "oil" is broken`},
		{[]float64{math.NaN(), 4}, "is broken by NaN"},
		{[]float64{3}, "1 values for 2 variables"},
	} {
		got := certify.Default.Point(m, c.x)
		if got.OK != (c.says == "") || !strings.Contains(got.Reason, c.says) {
			t.Errorf("%v: %+v, want %q", c.x, got, c.says)
		}
	}
}

func BenchmarkCheck60x20(b *testing.B) {
	m := solvertest.Blend(1, 60, 20)
	s := solved(b, m)
	for b.Loop() {
		certify.Check(m, s)
	}
}
