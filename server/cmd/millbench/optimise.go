package main

import (
	"context"
	"fmt"
	"math"
	"time"

	"millbase/solver"
	"millbase/solver/clp"
	"millbase/solver/engines"
	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

// spy keeps the first model that it is asked to solve.
type spy struct {
	solver.Engine
	first *solver.Model
}

func (s *spy) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	if s.first == nil {
		s.first = m.Clone()
	}
	return s.Engine.Solve(ctx, m, o)
}

// measureOptimise compares the whole of an optimise call below the API (validate,
// build, solve, certify, round, check, explain) with plain lanl/clp solving the
// same model and no more.
func measureOptimise(ctx context.Context, s settings) ([]bar, error) {
	var problems []*formulation.Problem
	var models []*solver.Model
	for seed := range uint64(40) {
		p := formulationtest.Problem(seed, 60, 20)
		catch := &spy{Engine: clp.New()}
		if _, err := formulation.Optimise(ctx, catch, p); err != nil {
			return nil, err
		}
		problems, models = append(problems, p), append(models, catch.first)
	}
	engine := engines.New()
	costs := make([]float64, len(problems))
	ours := func() (float64, error) {
		start := time.Now()
		n := 0
		for time.Since(start) < s.duration {
			for k, p := range problems {
				a, err := formulation.Optimise(ctx, engine, p)
				if err != nil {
					return 0, err
				}
				costs[k] = a.CostPerKg
				n++
			}
		}
		return time.Since(start).Seconds() / float64(n), nil
	}
	theirs := func() (float64, error) {
		start := time.Now()
		n := 0
		for time.Since(start) < s.duration {
			for k, m := range models {
				if got := clp.Yardstick(m); math.Abs(got-costs[k]) > 1e-6*(1+math.Abs(got)) {
					return 0, fmt.Errorf("problem %d: %g, lanl/clp says %g", k, costs[k], got)
				}
				n++
			}
		}
		return time.Since(start).Seconds() / float64(n), nil
	}
	ratio, a, b, err := turns(s.rounds, ours, theirs)
	fmt.Printf("optimise, 60 candidates and 20 limits: %.0f us; plain lanl/clp on the same model: %.0f us\n", 1e6*a, 1e6*b)
	return []bar{{name: "optimise_over_lanl_60x20", value: ratio, goal: 0.9}}, err
}
