package certify_test

import (
	"math"
	"strings"
	"testing"

	"millbase/solver"
	"millbase/solver/certify"
)

// bags is a model in which 7 kg are wanted from bags of 2 kg at 3 and loose at
// 2 a kg, at most 2 loose: three bags and one loose cost 11.
func bags() *solver.Model {
	m := &solver.Model{}
	m.AddRow(solver.Row{Lower: 7, Upper: solver.Inf})
	m.AddVariable(solver.Variable{Cost: 3, Upper: 9, Kind: solver.Integer}, solver.Entry{Row: 0, Value: 2})
	m.AddVariable(solver.Variable{Cost: 2, Upper: 2}, solver.Entry{Row: 0, Value: 1})
	return m
}

// TestWhole: what is checked of answers with whole numbers, and what of them is
// proven.
func TestWhole(t *testing.T) {
	answer := func(stop solver.Stop, bound float64, x ...float64) *solver.Solution {
		s := &solver.Solution{Stop: stop, Primal: solver.FeasiblePoint, X: x, Bound: bound}
		s.Activity, s.Objective = bags().Activities(x), bags().Cost(x)
		return s
	}
	wrong := answer(solver.StopOptimal, 11, 3, 1)
	wrong.Objective = 10
	one := certify.Default
	one.Whole = 0.01
	for name, c := range map[string]struct {
		tolerances certify.Tolerances
		answer     *solver.Solution
		says       string // reason; empty: OK
	}{
		"optimum":               {certify.Default, answer(solver.StopOptimal, 11, 3, 1), ""},
		"not whole":             {certify.Default, answer(solver.StopOptimal, 10.5, 3.5, 0), "whole number"},
		"breaks its row":        {certify.Default, answer(solver.StopOptimal, 11, 3, 0.9), "is broken"},
		"objective misstated":   {certify.Default, wrong, "objective"},
		"bound too low":         {certify.Default, answer(solver.StopOptimal, 10.95, 3, 1), "further apart"},
		"within the gap":        {one, answer(solver.StopOptimal, 10.95, 3, 1), ""},
		"not within the gap":    {one, answer(solver.StopOptimal, 10.5, 3, 1), "further apart"},
		"bound above":           {certify.Default, answer(solver.StopOptimal, 11.1, 3, 1), "below its bound"},
		"no bound":              {certify.Default, answer(solver.StopOptimal, math.NaN(), 3, 1), "below its bound"},
		"limit":                 {certify.Default, answer(solver.StopLimit, 10.5, 3, 1), ""},
		"limit, nothing proven": {certify.Default, answer(solver.StopLimit, math.Inf(-1), 3, 1), ""},
		"limit, bound above":    {certify.Default, answer(solver.StopLimit, 12, 3, 1), "below its bound"},
		"limit, not whole":      {certify.Default, answer(solver.StopLimit, 10.5, 3.5, 0), "whole number"},
		"limit, no point":       {certify.Default, &solver.Solution{Stop: solver.StopLimit}, "nothing to check"},
		"none":                  {certify.Default, &solver.Solution{Stop: solver.StopInfeasible}, ""},
		"none, false proof":     {certify.Default, &solver.Solution{Stop: solver.StopInfeasible, Dual: solver.Ray, Farkas: []float64{1}}, "proof"},
	} {
		got := c.tolerances.Check(bags(), c.answer)
		if got.OK != (c.says == "") || !strings.Contains(got.Reason, c.says) {
			t.Errorf("%s: %+v, want %q", name, got, c.says)
		}
		if got.Proven || got.OK && got.Word == "" {
			t.Errorf("%s: %+v, want the engine's word for it", name, got)
		}
	}
	// The relaxation proves it: at 1.4 a bag all comes from bags, and 8 kg are
	// a whole number of them.
	m := bags()
	m.Rows[0].Lower, m.Variables[0].Cost = 8, 1.4
	s := solved(t, m.Relaxed())
	if got := certify.Check(m, s); !got.OK || !got.Proven || got.Word != "" {
		t.Errorf("proven by the relaxation: %+v", got)
	}
}
