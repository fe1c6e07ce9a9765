package plan_test

import (
	"math"
	"os"
	"testing"

	"pgregory.net/rapid"

	"millbase/solver/plan"
)

// FuzzPlan holds plans of whatever the fuzzer draws to glpsol.
func FuzzPlan(f *testing.F) {
	f.Fuzz(rapid.MakeFuzz(func(r *rapid.T) {
		whole := rapid.Bool().Draw(r, "whole")
		p := drawn(r, whole)
		got := made(r, p)
		dir, err := os.MkdirTemp("", "plan")
		if err != nil {
			r.Fatal(err)
		}
		defer os.RemoveAll(dir)
		want, ok := plainCost(r, dir, p)
		if ok != (got != nil) {
			r.Fatalf("a plan: %v, by the plain program: %v", got != nil, ok)
		}
		near := 1e-5 * (1 + math.Abs(want))
		if ok && (got.Cost < want-near || got.Bound > want+near || !whole && got.Cost > want+near) {
			r.Fatalf("cost %g, bound %g, by the plain program %g", got.Cost, got.Bound, want)
		}
	}))
}

// Orders in packs, with minima, breaks and charges: the plan is as near to glpsol's
// optimum of the plain program as it says, and its bound is one.
func TestWholeOrdersAgainstGLPK(t *testing.T) {
	dir := t.TempDir()
	planned, exact := 0, 0
	rapid.Check(t, func(r *rapid.T) {
		p := drawn(r, true)
		p.Gap = rapid.SampledFrom([]float64{0, 1e-6, 0.1}).Draw(r, "gap")
		got := made(r, p)
		want, ok := plainCost(r, dir, p)
		if ok != (got != nil) {
			r.Fatalf("a plan: %v, by the plain program: %v", got != nil, ok)
		}
		if got == nil {
			return
		}
		planned++
		near := 1e-5 * (1 + math.Abs(want))
		switch {
		case got.Cost < want-near:
			r.Fatalf("a plan at %g, the least by the plain program is %g", got.Cost, want)
		case got.Bound > want+near:
			r.Fatalf("a bound of %g, but a plan can be had at %g", got.Bound, want)
		case got.Cost-got.Bound > got.Gap*math.Abs(got.Cost)+near:
			r.Fatalf("cost %g, bound %g, a gap of %g", got.Cost, got.Bound, got.Gap)
		case got.Outcome != plan.Optimal && got.Cost > want+0.05*math.Max(1, math.Abs(want)):
			r.Fatalf("a plan at %g (%s), the best is %g", got.Cost, got.Outcome, want)
		}
		if got.Cost < want+near {
			exact++
		}
	})
	t.Logf("%d of %d plans are the best", exact, planned)
	if planned < 40 {
		t.Errorf("only %d plans were compared", planned)
	}
}
