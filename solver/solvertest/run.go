package solvertest

import (
	"context"
	"math"
	"testing"

	"millbase/solver"
	"millbase/solver/certify"
)

// Run runs the whole suite.
func Run(t *testing.T, newEngine func() solver.Engine) {
	t.Run("known answers", func(t *testing.T) { knownAnswers(t, newEngine()) })
	t.Run("no answers", func(t *testing.T) { noAnswers(t, newEngine()) })
	t.Run("sizes of nothing", func(t *testing.T) { sizesOfNothing(t, newEngine()) })
	t.Run("signs", func(t *testing.T) { signs(t, newEngine()) })
	t.Run("random against glpsol", func(t *testing.T) { randomAgainstGLPK(t, newEngine()) })
	t.Run("random against gonum", func(t *testing.T) { randomAgainstGonum(t, newEngine()) })
	t.Run("random against exact fractions", func(t *testing.T) { randomAgainstExact(t, newEngine()) })
	t.Run("blends against glpsol", func(t *testing.T) { blendsAgainstGLPK(t, newEngine()) })
	t.Run("ranging", func(t *testing.T) { ranging(t, newEngine()) })
	t.Run("ranging when degenerate", func(t *testing.T) { rangingDegenerate(t, newEngine()) })
	t.Run("starting basis", func(t *testing.T) { startingBasis(t, newEngine()) })
	t.Run("cancel", func(t *testing.T) { cancelled(t, newEngine()) })
	t.Run("time limit", func(t *testing.T) { timeLimit(t, newEngine()) })
	t.Run("bad figures", func(t *testing.T) { badFigures(t, newEngine()) })
	t.Run("many at once", func(t *testing.T) { manyAtOnce(t, newEngine()) })
}

// testing.T and rapid.T have these in common.
type tester interface {
	Helper()
	Fatalf(format string, args ...any)
	Errorf(format string, args ...any)
}

// solve solves and insists on an answer.
func solve(t tester, e solver.Engine, m *solver.Model, o solver.Options) *solver.Solution {
	t.Helper()
	s, err := e.Solve(context.Background(), m, o)
	if err != nil {
		t.Fatalf("%s: %v", e.Name(), err)
	}
	if s.Engine == "" {
		t.Errorf("the answer does not name its engine")
	}
	return s
}

// optimum solves and insists on a certified optimum.
func optimum(t tester, e solver.Engine, m *solver.Model, o solver.Options) *solver.Solution {
	t.Helper()
	s := solve(t, e, m, o)
	if s.Stop != solver.StopOptimal {
		t.Fatalf("%s: %v, want optimal", e.Name(), s.Stop)
	}
	proven(t, m, s)
	return s
}

// proven checks whatever the answer claims.
func proven(t tester, m *solver.Model, s *solver.Solution) {
	t.Helper()
	if c := certify.Check(m, s); !c.OK {
		t.Fatalf("%v answer not proven: %s", s.Stop, c.Reason)
	}
	if s.Stop == solver.StopOptimal && !near(s.Bound, s.Objective, 1e-9) {
		t.Errorf("bound %g, objective %g of an optimal linear program", s.Bound, s.Objective)
	}
}

// near compares relative to the larger of 1 and b.
func near(a, b, tolerance float64) bool {
	return a == b || !math.IsInf(b, 0) && math.Abs(a-b) <= tolerance*max(1, math.Abs(b))
}
