package checked_test

import (
	"errors"
	"testing"
	"time"

	"context"

	"pgregory.net/rapid"

	"millbase/solver"
	"millbase/solver/checked"
	"millbase/solver/clp"
)

// nasty are figures that Validate lets through and that no plant has side by
// side.
var nasty = []float64{0, 1, -1, 3, 1e-7, -1e-7, 1e-9, 1e-12, 1e-18, 1e-300, 1e5, -1e5, 1e9, 1e12, -1e12, 1e15, 1 + 1e-9, 0.1, -0.3}

// TestNastyFigures: no crash, no hang, nothing unproven, on figures that Clp's
// tolerances can't tell apart.
func TestNastyFigures(t *testing.T) {
	e := checked.New(clp.New(), clp.NewLanl())
	solves, failures := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		figure := rapid.SampledFrom(nasty)
		bounds := func() (float64, float64) {
			lower, upper := figure.Draw(t, "lower"), figure.Draw(t, "upper")
			if lower > upper {
				lower, upper = upper, lower
			}
			switch rapid.IntRange(0, 3).Draw(t, "open") {
			case 0:
				lower = -solver.Inf
			case 1:
				upper = solver.Inf
			}
			return lower, upper
		}
		m := &solver.Model{}
		for range rapid.IntRange(1, 6).Draw(t, "rows") {
			lower, upper := bounds()
			m.AddRow(solver.Row{Lower: lower, Upper: upper})
		}
		for range rapid.IntRange(1, 8).Draw(t, "variables") {
			v := solver.Variable{Cost: figure.Draw(t, "cost")}
			v.Lower, v.Upper = bounds()
			var entries []solver.Entry
			for i := range m.Rows {
				if rapid.Bool().Draw(t, "there") {
					entries = append(entries, solver.Entry{Row: i, Value: figure.Draw(t, "coefficient")})
				}
			}
			m.AddVariable(v, entries...)
		}
		ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
		defer cancel()
		s, c, err := e.SolveProven(ctx, m, solver.Options{Ranging: true})
		solves++
		var failed *checked.Error
		switch {
		case errors.As(err, &failed):
			failures++
		case err != nil:
			t.Fatalf("unexpected error: %v", err)
		case !c.OK:
			t.Fatalf("%v without proof: %+v", s.Stop, c)
		}
	})
	t.Logf("%d of %d models got no answer that passes", failures, solves)
	if failures > solves/4 {
		t.Errorf("%d of %d models got no answer that passes, want a quarter at most", failures, solves)
	}
}
