package formulation_test

import (
	"context"
	"errors"
	"math"
	"reflect"
	"testing"

	"millbase/inventory/mass"
	"millbase/solver"
	"millbase/solver/engines"
	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

// TestProgramReadsAsOptimised: a program solved apart and read gives the formula
// of Optimise, and other prices or stock change its costs and upper bounds alone.
func TestProgramReadsAsOptimised(t *testing.T) {
	ctx, engine := context.Background(), engines.New()
	for seed := range uint64(20) {
		p := formulationtest.Problem(seed, 20+int(seed), 4+int(seed)%12)
		p.Candidates[3].Available = 0 // left out
		program, err := formulation.NewProgram(p)
		if err != nil {
			t.Fatal(err)
		}
		want, err := formulation.Optimise(ctx, engine, p)
		if err != nil {
			t.Fatal(err)
		}
		s, err := engine.Solve(ctx, program.Model, solver.Options{Ranging: true})
		if err != nil {
			t.Fatal(err)
		}
		if want.Outcome != formulation.Optimal {
			continue
		}
		got, err := formulation.Read(ctx, engine, p, s)
		if err != nil || !reflect.DeepEqual(got.Components, want.Components) || !reflect.DeepEqual(got.Limits, want.Limits) || got.CostPerKg != want.CostPerKg {
			t.Fatalf("seed %d: %v\n%+v\n%+v", seed, err, got, want)
		}
		for k, j := range program.Columns {
			c := &p.Candidates[j]
			if most := p.Most(c, program.Stays[k]); most != program.Model.Variables[k].Upper || program.Model.Variables[k].Name != c.ID {
				t.Errorf("seed %d: column %d is %+v, %s has at most %g", seed, k, program.Model.Variables[k], c.ID, most)
			}
			c.CostPerKg *= 1 + float64(k%5)/10
			if c.Available > 0 {
				c.Available += 30 * mass.Gram
			}
		}
		moved, err := formulation.NewProgram(p)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(moved.Model.Value, program.Model.Value) || !reflect.DeepEqual(moved.Model.Rows, program.Model.Rows) {
			t.Errorf("seed %d: prices and stock moved the rows", seed)
		}
		if _, err := formulation.Read(ctx, engine, p, s); !errors.Is(err, formulation.ErrNumerical) && costMoved(p, program, s) {
			t.Errorf("seed %d: the answer at other prices is read: %v", seed, err)
		}
	}
}

// costMoved reports whether the cost of the old point has moved, so that the old
// answer can't be that of p.
func costMoved(p *formulation.Problem, program *formulation.Program, s *solver.Solution) bool {
	cost := 0.0
	for k, j := range program.Columns {
		cost += p.Candidates[j].CostPerKg * s.X[k]
	}
	return math.Abs(cost-s.Objective) > 1e-3
}
