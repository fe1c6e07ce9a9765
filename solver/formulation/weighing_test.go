package formulation_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/solver"
	"millbase/solver/cbc"
	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

type routed struct{ linear, whole solver.Engine }

func (r routed) Name() string { return "routed" }
func (r routed) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	if m.HasInteger() {
		return r.whole.Solve(ctx, m, o)
	}
	return r.linear.Solve(ctx, m, o)
}

var wholeEngine = routed{engine, cbc.New()}

func TestTry(t *testing.T) {
	for seed := range uint64(20) {
		p := formulationtest.Problem(seed, 40, 16)
		p.Weighing = &formulation.Weighing{Balances: []formulation.Balance{{Division: 10 * mass.Gram}}, Tolerance: 10 * mass.Gram,
			AtMost: 9, Least: 20 * mass.Gram, Gap: 1e-4, TimeLimit: 2 * time.Second}
		begun := time.Now()
		a, err := formulation.Optimise(context.Background(), wholeEngine, p)
		took := time.Since(begun)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Println(seed, a.Outcome, took, len(a.Components), a.CostPerKg)
		if a.Weighed != nil {
			fmt.Printf("   %+v\n", *a.Weighed)
		}
	}
	_ = rand.N[int]
	_ = inventory.Drier
}
