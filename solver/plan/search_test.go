package plan_test

import (
	"context"
	"math"
	"testing"

	"pgregory.net/rapid"

	"millbase/solver/engines"
	"millbase/solver/plan"
	"millbase/solver/plan/plantest"
)

// The model of totals never costs more than that of every order, which costs what
// the plan with its orders does; and what Make finds and proves lies on both sides of
// it.
func TestSearchesAgreeWithThePlan(t *testing.T) {
	ctx, engine := context.Background(), engines.New()
	rapid.Check(t, func(t *rapid.T) {
		p := drawn(t, true)
		s, impossible := plan.Search(ctx, engine, p)
		got, err := plan.Make(ctx, engine, engine, p)
		if impossible != nil {
			if err == nil {
				t.Fatalf("a plan, although: %v", impossible)
			}
			return
		}
		if err != nil {
			if s.Found {
				t.Fatalf("there are orders that can be carried out, but: %v", err)
			}
			return
		}
		holds(t, s, got)
	})
}

type failer interface {
	Errorf(format string, args ...any)
}

func holds(t failer, s plan.Searched, got *plan.Plan) {
	near := 1e-5 * math.Max(10, math.Abs(got.Cost)+got.Parts.Worth+got.Parts.Salvage)
	if !s.Found || math.Abs(s.Every-s.Settled) > near {
		t.Errorf("every order: %g searched for (%t), %g settled", s.Every, s.Found, s.Settled)
	}
	if s.Totals > s.Every+near {
		t.Errorf("the totals cost %g, more than every order, %g", s.Totals, s.Every)
	}
	if got.Cost < s.Every-near || got.Bound > s.Every+near {
		t.Errorf("the plan costs %g with a bound of %g, the optimum is %g", got.Cost, got.Bound, s.Every)
	}
}

// Plants of a few batches, whose orders weigh most, come within the usual gap.
func TestFewBatchesAreWithinTheGap(t *testing.T) {
	ctx, engine := context.Background(), engines.New()
	for seed := range uint64(4) {
		p := plantest.Plant(seed, plantest.Options{Batches: 4, Weeks: 4, Specs: 3, Sorts: 24, Limits: 6, Packs: true, Breaks: seed%2 == 0})
		got, err := plan.Make(ctx, engine, engine, p)
		if err != nil {
			t.Fatal(err)
		}
		if got.Outcome != plan.Optimal || got.Gap > 0.01 {
			t.Errorf("seed %d: %s, a gap of %g", seed, got.Outcome, got.Gap)
		}
		if wrong := plan.Check(p, got); len(wrong) > 0 {
			t.Errorf("seed %d: %v", seed, wrong[0])
		}
	}
}
