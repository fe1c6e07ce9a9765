package plan_test

import (
	"context"
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"millbase/solver"
	"millbase/solver/engines"
	"millbase/solver/formulation"
	"millbase/solver/plan"
	"millbase/solver/plan/plantest"
	"millbase/solver/solvertest"
)

// made plans and holds the plan to its check; nil where there is none to be had.
func made(t solvertest.TB, p *plan.Problem) *plan.Plan {
	t.Helper()
	engine := engines.New()
	got, err := plan.Make(context.Background(), engine, engine, p)
	var bad formulation.FieldErrors
	if errors.As(err, &bad) && len(bad) == 1 && bad[0].Field == "materials" {
		return nil
	}
	if err != nil {
		t.Fatalf("%v", err)
	}
	if wrong := plan.Check(p, got); len(wrong) > 0 {
		t.Fatalf("%s", wrong[0])
	}
	return got
}

// asGLPK holds a plan with orders of any amount to glpsol's optimum of the model in
// which nothing is merged.
func asGLPK(t solvertest.TB, dir string, p *plan.Problem, got *plan.Plan) {
	t.Helper()
	m, fixed, err := plan.Model(p)
	if err != nil {
		t.Fatalf("%v", err)
	}
	stop, want := solvertest.GLPK(t, dir, m)
	if got == nil {
		if stop != solver.StopInfeasible {
			t.Fatalf("no plan, by glpsol: %v, %g", stop, want+fixed)
		}
		return
	}
	if stop != solver.StopOptimal || math.Abs(got.Cost-want-fixed) > 1e-5*(1+math.Abs(got.Cost)) || got.Gap > 1e-5 || got.Outcome != plan.Optimal {
		t.Fatalf("a plan at %g (%s, gap %g), by glpsol %v, %g", got.Cost, got.Outcome, got.Gap, stop, want+fixed)
	}
}

// Any small plan costs what glpsol (Debian glpk-utils) says.
func TestSmallPlansAgainstGLPK(t *testing.T) {
	dir := t.TempDir()
	planned := 0
	rapid.Check(t, func(r *rapid.T) {
		p := drawn(r, false)
		got := made(r, p)
		asGLPK(r, dir, p, got)
		if got != nil {
			planned++
		}
	})
	if planned < 40 {
		t.Errorf("only %d plans were compared", planned)
	}
}

// So does the plan of a plant, in which lots and batches are merged.
func TestPlantsAgainstGLPK(t *testing.T) {
	for seed := range uint64(4) {
		p := plantest.Plant(seed, plantest.Options{Batches: 14, Weeks: 4, Sorts: 24, Specs: 3, Late: int(seed % 3), Different: seed == 3})
		got := made(t, p)
		if got == nil || got.Size.Merged == 0 && seed != 3 {
			t.Fatalf("seed %d: nothing was merged", seed)
		}
		asGLPK(t, t.TempDir(), p, got)
	}
}
