package plan_test

import (
	"context"
	"testing"

	"millbase/solver/engines"
	"millbase/solver/plan"
	"millbase/solver/plan/plantest"
)

// Planning together never costs more than batch by batch, and both can be carried
// out.
func TestTogetherIsCheaperThanInTurn(t *testing.T) {
	engine := engines.New()
	ctx := context.Background()
	saved := 0
	for seed := range uint64(6) {
		p := plantest.Plant(seed, plantest.Options{Batches: 16, Late: int(seed % 3)})
		joint, err := plan.Make(ctx, engine, engine, p)
		if err != nil {
			t.Fatal(err)
		}
		turn, err := plan.InTurn(ctx, engine, engine, p)
		if err != nil {
			t.Fatal(err)
		}
		if wrong := plan.Check(p, turn); len(wrong) > 0 {
			t.Errorf("seed %d: %v", seed, wrong[:min(3, len(wrong))])
		}
		if joint.Cost > turn.Cost*(1+1e-6) {
			t.Errorf("seed %d: %g together, %g in turn", seed, joint.Cost, turn.Cost)
		}
		if turn.Cost > joint.Cost*1.005 {
			saved++
		}
		t.Logf("seed %d: %.0f together, %.0f in turn: %.1f %% saved", seed, joint.Cost, turn.Cost, 100*(1-joint.Cost/turn.Cost))
	}
	if saved == 0 {
		t.Error("planning together never saves half a percent")
	}
}
