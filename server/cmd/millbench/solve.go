package main

import (
	"context"
	"fmt"
	"math"
	"time"

	"millbase/solver"
	"millbase/solver/clp"
	"millbase/solver/engines"
	"millbase/solver/solvertest"
)

// measureSolve compares one certified solve by our engine with plain lanl/clp
// on the same model: cold, and again from the last basis after one limit or a
// few prices moved.
func measureSolve(ctx context.Context, s settings) ([]bar, error) {
	var bars []bar
	for _, c := range []struct {
		variables, rows int
		goal            float64
	}{{60, 20, 0.5}, {300, 40, 0.4}} {
		var questions []question
		for seed := range uint64(40) {
			questions = append(questions, question{solvertest.Blend(seed, c.variables, c.rows), nil})
		}
		name := fmt.Sprintf("solve_over_lanl_%dx%d", c.variables, c.rows)
		ratio, err := overLanl(ctx, s, name, questions)
		if err != nil {
			return nil, err
		}
		bars = append(bars, bar{name: name, value: ratio, goal: c.goal})
	}
	questions, err := movedQuestions(ctx)
	if err != nil {
		return nil, err
	}
	const name = "resolve_over_lanl_60x20"
	ratio, err := overLanl(ctx, s, name, questions)
	return append(bars, bar{name: name, value: ratio, goal: 0.15}), err
}

// question is a model with the basis to start from, nil for none.
type question struct {
	model *solver.Model
	start *solver.Basis
}

// movedQuestions are models in which one limit (the even ones) or five prices
// moved so far that the old point is no longer the answer, with the basis from
// before.
func movedQuestions(ctx context.Context) ([]question, error) {
	engine := engines.New()
	var list []question
	for seed := uint64(0); len(list) < 40; seed++ {
		m := solvertest.Blend(seed, 60, 20)
		before, err := engine.Solve(ctx, m, solver.Options{})
		if err != nil {
			return nil, err
		}
		moved := m.Variant()
		if len(list)%2 == 0 {
			tightenOne(moved, before)
		} else {
			raiseFive(moved, before)
		}
		after, err := engine.Solve(ctx, moved, solver.Options{})
		if err != nil {
			return nil, err
		}
		if after.Stop == solver.StopOptimal && math.Abs(after.Objective-moved.Cost(before.X)) > 1e-9 {
			list = append(list, question{moved, before.Basis})
		}
	}
	return list, nil
}

// tightenOne draws in by a hundredth the first limit that binds.
func tightenOne(m *solver.Model, s *solver.Solution) {
	for i := 1; i < len(m.Rows); i++ {
		r := &m.Rows[i]
		switch y := s.RowDual[i]; {
		case y > 0:
			r.Lower = min(r.Lower*1.01, r.Upper)
			return
		case y < 0:
			r.Upper = max(r.Upper*0.99, r.Lower)
			return
		}
	}
}

// raiseFive makes five of the used candidates 5 % dearer.
func raiseFive(m *solver.Model, s *solver.Solution) {
	left := 5
	for j := range m.Variables {
		if s.X[j] > 0 && left > 0 {
			m.Variables[j].Cost *= 1.05
			left--
		}
	}
}

// overLanl lets our engine and lanl/clp take turns at the questions. Every cost
// of the one is held to that of the other.
func overLanl(ctx context.Context, s settings, name string, questions []question) (float64, error) {
	engine := engines.New()
	costs := make([]float64, len(questions))
	by := ""
	ours := func() (float64, error) {
		return each(s, questions, func(k int) error {
			a, c, err := engine.SolveProven(ctx, questions[k].model, solver.Options{Start: questions[k].start})
			if err != nil {
				return err
			}
			if !c.OK {
				return fmt.Errorf("%s: question %d: %s", name, k, c.Reason)
			}
			costs[k], by = a.Objective, a.Engine
			return nil
		})
	}
	theirs := func() (float64, error) {
		return each(s, questions, func(k int) error {
			if got := clp.Yardstick(questions[k].model); math.Abs(got-costs[k]) > 1e-6*(1+math.Abs(got)) {
				return fmt.Errorf("%s: question %d: %g, lanl/clp says %g", name, k, costs[k], got)
			}
			return nil
		})
	}
	ratio, a, b, err := turns(s.rounds, ours, theirs)
	fmt.Printf("%s: %.1f us with its certificate, by %s; plain lanl/clp on the same model: %.1f us\n", name, 1e6*a, by, 1e6*b)
	return ratio, err
}

// each asks all questions for the length of a turn and returns the seconds per
// question.
func each(s settings, questions []question, ask func(k int) error) (float64, error) {
	start := time.Now()
	n := 0
	for time.Since(start) < s.duration {
		for k := range questions {
			if err := ask(k); err != nil {
				return 0, err
			}
			n++
		}
	}
	return time.Since(start).Seconds() / float64(n), nil
}
