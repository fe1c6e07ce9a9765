package solvertest

import (
	"context"
	"fmt"
	"math"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"millbase/solver"
	"millbase/solver/certify"
)

// RunWhole runs the suite for models with whole-number variables. The engine
// must solve models without any as well.
func RunWhole(t *testing.T, newEngine func() solver.Engine) {
	t.Run("known answers", func(t *testing.T) { wholeKnown(t, newEngine()) })
	t.Run("no answers", func(t *testing.T) { wholeNoAnswers(t, newEngine()) })
	t.Run("knapsacks by dynamic programming", func(t *testing.T) { knapsacks(t, newEngine()) })
	t.Run("small ones by trying all", func(t *testing.T) { tryingAll(t, newEngine()) })
	t.Run("random against glpsol", func(t *testing.T) { wholeAgainstGLPK(t, newEngine()) })
	t.Run("formulas against glpsol", func(t *testing.T) { weighableAgainstGLPK(t, newEngine()) })
	t.Run("none is whole", func(t *testing.T) { noneWhole(t, newEngine()) })
	t.Run("the relaxation is whole", func(t *testing.T) { relaxationWhole(t, newEngine()) })
	t.Run("gap", func(t *testing.T) { gap(t, newEngine()) })
	t.Run("time limit", func(t *testing.T) { wholeTimeLimit(t, newEngine()) })
	t.Run("cancel", func(t *testing.T) { wholeCancelled(t, newEngine()) })
	t.Run("bad figures", func(t *testing.T) { badFigures(t, newEngine()) })
	t.Run("many at once", func(t *testing.T) { wholeManyAtOnce(t, newEngine()) })
}

// wholeOptimum solves and insists on a certified optimum whose bound is its
// objective.
func wholeOptimum(t tester, e solver.Engine, m *solver.Model) *solver.Solution {
	t.Helper()
	s := solve(t, e, m, solver.Options{})
	if s.Stop != solver.StopOptimal {
		t.Fatalf("%s: %v, want optimal", e.Name(), s.Stop)
	}
	wholeProven(t, m, s)
	return s
}

// wholeProven checks an answer as far as it can be, and that whole numbers are
// exactly whole.
func wholeProven(t tester, m *solver.Model, s *solver.Solution) {
	t.Helper()
	if c := certify.Check(m, s); !c.OK {
		t.Fatalf("%v answer does not pass: %s", s.Stop, c.Reason)
	}
	if s.Primal != solver.FeasiblePoint {
		return
	}
	for j, v := range m.Variables {
		if v.Kind == solver.Integer && s.X[j] != math.Round(s.X[j]) {
			t.Fatalf("variable %d is %.17g, want a whole number", j, s.X[j])
		}
	}
}

// noneWhole: a model without whole numbers gets all that a linear engine gives.
func noneWhole(t *testing.T, e solver.Engine) {
	m := Blend(4, 30, 10)
	s := optimum(t, e, m, solver.Options{Ranging: true})
	if s.Basis == nil || s.Ranging == nil {
		t.Errorf("basis %v, ranging %v, want both", s.Basis, s.Ranging)
	}
}

// relaxationWhole: an assignment is whole by itself, and its prices prove it.
func relaxationWhole(t *testing.T, e solver.Engine) {
	m := &solver.Model{}
	for range 12 {
		m.AddRow(equal(1))
	}
	var cost float64
	for k := range 36 {
		cost = math.Mod(cost*7+13+float64(k), 31)
		m.AddVariable(solver.Variable{Cost: cost, Upper: 1, Kind: solver.Integer},
			solver.Entry{Row: k / 6, Value: 1}, solver.Entry{Row: 6 + k%6, Value: 1})
	}
	s := wholeOptimum(t, e, m)
	if c := certify.Check(m, s); !c.Proven {
		t.Errorf("not proven by the relaxation: %+v", c)
	}
	if stop, objective := glpk(t, t.TempDir(), m); stop != s.Stop || !near(s.Objective, objective, 1e-9) {
		t.Errorf("%v %g, glpsol says %v %g", s.Stop, s.Objective, stop, objective)
	}
}

// gap: a solve that may stop early still tells the truth about both ends.
func gap(t *testing.T, e solver.Engine) {
	for seed := range uint64(6) {
		m := Weighable(seed, 20, 8, 6)
		want := wholeOptimum(t, e, m).Objective
		for _, g := range []float64{0.002, 0.02, 0.2} {
			s := solve(t, e, m, solver.Options{Gap: g})
			limits := certify.Default
			limits.Whole = g
			if c := limits.Check(m, s); !c.OK || s.Stop != solver.StopOptimal {
				t.Fatalf("gap %g: %v, %s", g, s.Stop, c.Reason)
			}
			if tiny := 1e-7 * want; s.Bound > want+tiny || s.Objective < want-tiny {
				t.Errorf("gap %g: %.9g to %.9g, the optimum is %.9g", g, s.Bound, s.Objective, want)
			}
		}
	}
}

// hard takes any engine long to prove.
func hard() *solver.Model { return Weighable(2, 80, 30, 12) }

func wholeTimeLimit(t *testing.T, e solver.Engine) {
	m := hard()
	lowest := optimum(t, e, m.Relaxed(), solver.Options{}).Objective
	for _, limit := range []time.Duration{time.Nanosecond, 20 * time.Millisecond, 700 * time.Millisecond} {
		begun := time.Now()
		s := solve(t, e, m, solver.Options{TimeLimit: limit})
		took := time.Since(begun)
		if s.Stop != solver.StopLimit {
			t.Fatalf("limit %v: %v, want stopped at a limit", limit, s.Stop)
		}
		if took > limit+time.Second {
			t.Errorf("took %v under a limit of %v", took, limit)
		}
		if s.Primal == solver.FeasiblePoint {
			wholeProven(t, m, s)
		}
		if limit == 700*time.Millisecond && s.Bound < lowest-1e-9 {
			t.Errorf("limit %v: %v with a bound of %g, want at least the relaxation's %g", limit, s.Primal, s.Bound, lowest)
		}
	}
	easy := Weighable(1, 12, 6, 5)
	if s := solve(t, e, easy, solver.Options{TimeLimit: time.Minute}); s.Stop != solver.StopOptimal {
		t.Errorf("%v within a minute, want optimal", s.Stop)
	}
}

// wholeCancelled wants an engine back within 200 ms of the context being done,
// from wherever in its search. The machine may be busy, so the best of a few
// attempts at each moment counts.
func wholeCancelled(t *testing.T, e solver.Engine) {
	m := hard()
	for _, after := range []time.Duration{time.Millisecond, 10 * time.Millisecond, 60 * time.Millisecond, 300 * time.Millisecond} {
		best := time.Hour
		for attempt := 0; attempt < 5 && best > 200*time.Millisecond; attempt++ {
			ctx, cancel := context.WithTimeout(t.Context(), after)
			begun := time.Now()
			s, err := e.Solve(ctx, m, solver.Options{})
			best = min(best, time.Since(begun)-after)
			cancel()
			if err != nil || s.Stop != solver.StopCancelled {
				t.Fatalf("after %v: %+v, %v, want cancelled", after, s, err)
			}
		}
		if best > 200*time.Millisecond {
			t.Errorf("came back %v after the context was done, want 200 ms at most", best)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if s, err := e.Solve(ctx, m, solver.Options{}); err != nil || s.Stop != solver.StopCancelled {
		t.Errorf("done beforehand: %+v, %v, want cancelled", s, err)
	}
}

// wholeManyAtOnce solves the same models from several goroutines and compares.
func wholeManyAtOnce(t *testing.T, e solver.Engine) {
	models, want := make([]*solver.Model, 12), make([]float64, 12)
	for k := range models {
		models[k] = Weighable(uint64(k), 10+k/2, 6, 5)
		want[k] = wholeOptimum(t, e, models[k]).Objective
	}
	var group sync.WaitGroup
	for g := range 8 {
		group.Go(func() {
			for n := range 40 {
				k := (g + n) % len(models)
				s, err := e.Solve(t.Context(), models[k], solver.Options{})
				if err != nil || !near(s.Objective, want[k], 1e-7) {
					t.Errorf("model %d: %+v, %v, want %g", k, s, err, want[k])
					return
				}
			}
		})
	}
	group.Wait()
}

func wholeAgainstGLPK(t *testing.T, e solver.Engine) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		m := drawn(t)
		makeWhole(t, m)
		s := solve(t, e, m, solver.Options{})
		wholeProven(t, m, s)
		if len(m.Variables) == 0 || len(m.Rows) == 0 {
			return // glpsol refuses these
		}
		stop, objective := glpk(t, dir, m)
		agree(t, s, stop, objective)
	})
}

func weighableAgainstGLPK(t *testing.T, e solver.Engine) {
	for seed := range uint64(24) {
		for name, m := range map[string]*solver.Model{
			"at most": Weighable(seed, 10+int(seed)%8, 6, 4+int(seed)%3),
			"divided": Divided(seed, 6+int(seed)%4, 4, 50),
		} {
			t.Run(fmt.Sprintf("%s %d", name, seed), func(t *testing.T) {
				s := solve(t, e, m, solver.Options{})
				wholeProven(t, m, s)
				stop, objective := glpk(t, t.TempDir(), m)
				agree(t, s, stop, objective)
			})
		}
	}
}
