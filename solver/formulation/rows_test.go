package formulation_test

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"millbase/inventory/mass"
	"millbase/solver/engines"
	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

// halfShare is a limit on a random half of the candidates of p, and the same as a row.
func halfShare(r *rand.Rand, p *formulation.Problem, a *formulation.Answer) (formulation.Limit, formulation.Row) {
	row := formulation.Row{Title: "the shade", Coefficients: make([]float64, len(p.Candidates)), Lower: math.Inf(-1), Upper: math.Inf(1)}
	limit := formulation.Limit{ID: "half", Kind: formulation.Share}
	for j := range p.Candidates {
		p.Candidates[j].Material, p.Candidates[j].MadeOf = p.Candidates[j].ID, nil
		if r.IntN(2) == 0 {
			row.Coefficients[j] = 1
			limit.Materials = append(limit.Materials, p.Candidates[j].Material)
		}
	}
	sum := 0.0
	for _, c := range a.Components {
		sum += row.Coefficients[c.Candidate] * c.Mass.Kilograms() / p.Quantity.Kilograms()
	}
	if r.IntN(2) == 0 {
		row.Upper = sum * 0.97
		limit.Upper = &row.Upper
	} else {
		row.Lower = sum*0.97 + 0.02
		limit.Lower = &row.Lower
	}
	return limit, row
}

// TestARowIsALimit: a row from outside asks for just what a limit on the same
// shares does, in whole milligrams and on scales.
func TestARowIsALimit(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	same, moved, inTheWay := 0, 0, 0
	for seed := range uint64(60) {
		p := formulationtest.Problem(seed, 14+int(seed%20), 4+int(seed%8))
		free := optimal(t, p)
		limit, row := halfShare(r, p, free)
		if limit.Materials == nil {
			continue
		}
		limited, rowed := clone(p), clone(p)
		limited.Limits = append(limited.Limits, limit)
		rowed.Rows = []formulation.Row{row}
		if seed%6 == 0 {
			scales := &formulation.Weighing{Balances: []formulation.Balance{{Name: "floor", Division: 10 * mass.Gram}}, Gap: 1e-5}
			limited.Weighing, rowed.Weighing = scales, scales
		}
		want, got := optimise(t, limited), optimise(t, rowed)
		if got.Outcome != want.Outcome {
			t.Fatalf("seed %d: %s with the row, %s with the limit", seed, got.Outcome, want.Outcome)
		}
		if got.Outcome != formulation.Optimal {
			inTheWay++
			if got.Clash == nil || !got.Clash.Rows || len(got.Clash.Limits) > 0 {
				t.Errorf("seed %d: the row is in the way: %+v", seed, got.Clash)
			}
			continue
		}
		same++
		if d := math.Abs(got.CostPerKg - want.CostPerKg); d > 3e-5*want.CostPerKg {
			t.Errorf("seed %d: costs %g with the row, %g with the limit", seed, got.CostPerKg, want.CostPerKg)
		}
		if got.CostPerKg > free.CostPerKg*(1+1e-6) {
			moved++
		}
		sum := 0.0
		for _, c := range got.Components {
			sum += row.Coefficients[c.Candidate] * c.Mass.Kilograms() / p.Quantity.Kilograms()
		}
		if sum < row.Lower-2e-6 || sum > row.Upper+2e-6 {
			t.Errorf("seed %d: the row is %g, wanted from %g to %g", seed, sum, row.Lower, row.Upper)
		}
	}
	t.Logf("%d formulas, %d dearer for the row, %d without one", same, moved, inTheWay)
	if same < 30 || moved < 20 {
		t.Errorf("%d formulas, %d dearer for the row, %d without one", same, moved, inTheWay)
	}
}

// TestARowNobodyCanMeet: the row is said to be in the way, and no limit is asked to
// move; where the limits clash by themselves that clash is given.
func TestARowNobodyCanMeet(t *testing.T) {
	row := func(p *formulation.Problem) []formulation.Row {
		out := formulation.Row{Title: "the shade", Coefficients: make([]float64, len(p.Candidates)), Lower: 2, Upper: 3}
		for j := range out.Coefficients {
			out.Coefficients[j] = 1e-3
		}
		return []formulation.Row{out}
	}
	for seed := range uint64(10) {
		p := formulationtest.Problem(seed, 20, 8)
		p.Rows = row(p)
		if a := optimise(t, p); a.Outcome != formulation.Infeasible || a.Clash == nil || !a.Clash.Rows || len(a.Clash.Limits) > 0 {
			t.Errorf("seed %d: %s, %+v", seed, a.Outcome, a.Clash)
		}
		p = formulationtest.Impossible(seed, 20, 8)
		p.Rows = row(p)
		if a := optimise(t, p); a.Outcome != formulation.Infeasible || a.Clash == nil || a.Clash.Rows || len(a.Clash.Limits) == 0 {
			t.Errorf("seed %d: limits that clash: %s, %+v", seed, a.Outcome, a.Clash)
		}
	}
}

func TestBadRowsAreRefused(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(*formulation.Row)
		field string
	}{
		"too few":        {func(r *formulation.Row) { r.Coefficients = r.Coefficients[1:] }, "rows[0].coefficients"},
		"not a number":   {func(r *formulation.Row) { r.Coefficients[2] = math.NaN() }, "rows[0].coefficients[2]"},
		"infinite":       {func(r *formulation.Row) { r.Coefficients[2] = math.Inf(1) }, "rows[0].coefficients[2]"},
		"crossed bounds": {func(r *formulation.Row) { r.Lower, r.Upper = 2, 1 }, "rows[0].lower"},
		"no bound":       {func(r *formulation.Row) { r.Lower = math.NaN() }, "rows[0].lower"},
		"below nothing":  {func(r *formulation.Row) { r.Lower, r.Upper = math.Inf(-1), math.Inf(-1) }, "rows[0].lower"},
	} {
		p := formulationtest.Problem(1, 20, 8)
		p.Rows = []formulation.Row{{Title: "the shade", Coefficients: make([]float64, 20), Lower: 0, Upper: 1}}
		c.spoil(&p.Rows[0])
		_, err := formulation.Optimise(context.Background(), engines.New(), p)
		var errs formulation.FieldErrors
		if !errors.As(err, &errs) || len(errs) != 1 || errs[0].Field != c.field {
			t.Errorf("%s: %v, want one error on %s", name, err, c.field)
		}
	}
}
