package engines_test

import (
	"testing"

	"millbase/solver"
	"millbase/solver/engines"
	"millbase/solver/solvertest"
)

func TestConforms(t *testing.T) {
	solvertest.Run(t, func() solver.Engine { return engines.New() })
}

// TestRoutes: each kind of model is solved where it belongs.
func TestRoutes(t *testing.T) {
	whole := solvertest.Blend(1, 20, 8)
	whole.Variables[0].Kind = solver.Integer
	for want, m := range map[string]*solver.Model{
		"dense": solvertest.Blend(1, 60, 20),
		"clp":   solvertest.Plan(1, 30, 120, 8),
		"cbc":   whole,
	} {
		s, c, err := engines.New().SolveProven(t.Context(), m, solver.Options{})
		if err != nil || !c.OK || s.Engine != want {
			t.Errorf("%d variables, %d rows: %+v, %+v, %v, want an answer by %s", len(m.Variables), len(m.Rows), s, c, err, want)
		}
	}
}
