package checked_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"millbase/solver"
	"millbase/solver/cbc"
	"millbase/solver/checked"
	"millbase/solver/clp"
)

// spoiledWhole spoils what another engine answers.
type spoiledWhole struct {
	solver.Engine
	spoil func(s *solver.Solution)
}

func (e spoiledWhole) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	s, err := e.Engine.Solve(ctx, m, o)
	if err == nil {
		e.spoil(s)
	}
	return s, err
}

// knapsack is worth 9 at most: the second and the third of three things.
func knapsack() *solver.Model {
	m := &solver.Model{}
	m.AddRow(solver.Row{Lower: -solver.Inf, Upper: 10})
	for _, thing := range [][2]float64{{6, 7}, {5, 6}, {4, 4}} {
		m.AddVariable(solver.Variable{Cost: -thing[0], Upper: 1, Kind: solver.Integer}, solver.Entry{Row: 0, Value: thing[1]})
	}
	return m
}

func TestWholeNumbersGoToTheirEngine(t *testing.T) {
	e := checked.New(clp.New(), clp.NewLanl())
	e.Whole = cbc.New()
	s, c, err := e.SolveProven(t.Context(), knapsack(), solver.Options{})
	if err != nil || s.Objective != -9 || s.Engine != "cbc" || !c.OK || c.Proven || c.Word == "" {
		t.Errorf("got %+v, %+v, %v, want -9 by cbc, on its word", s, c, err)
	}
	s, c, err = e.SolveProven(t.Context(), knapsack().Relaxed(), solver.Options{})
	if err != nil || s.Objective >= -9 || s.Engine != "clp" || !c.Proven {
		t.Errorf("got %+v, %+v, %v, want the relaxation proven by clp", s, c, err)
	}
}

func TestWholeNumbersAreChecked(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(s *solver.Solution)
		says  string
	}{
		"not whole":       {func(s *solver.Solution) { s.X[1] -= 0.5 }, "whole number"},
		"too heavy":       {func(s *solver.Solution) { s.X[0] = 1 }, "is broken"},
		"bound above":     {func(s *solver.Solution) { s.Bound = -8 }, "below its bound"},
		"far from proven": {func(s *solver.Solution) { s.Bound = -9.5 }, "further apart"},
		"limit":           {func(s *solver.Solution) { s.Stop = solver.StopLimit; s.X[0] = 1 }, "is broken"},
		"gave up":         {func(s *solver.Solution) { s.Stop = solver.StopNumerical }, "numerical"},
	} {
		e := checked.New(clp.New(), clp.NewLanl())
		e.Whole = spoiledWhole{cbc.New(), c.spoil}
		_, err := e.Solve(t.Context(), knapsack(), solver.Options{})
		var failed *checked.Error
		if !errors.As(err, &failed) || len(failed.Attempts) != 1 || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want an Error with %q", name, err, c.says)
		}
	}
	e := checked.New(clp.New(), nil)
	e.Whole = spoiledWhole{cbc.New(), func(s *solver.Solution) { s.Bound = -9.08 }}
	if s, err := e.Solve(t.Context(), knapsack(), solver.Options{Gap: 0.01}); err != nil || s.Objective != -9 {
		t.Errorf("within the gap that was asked for: %+v, %v", s, err)
	}
}
