package match_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"millbase/inventory/mass"
	"millbase/solver/engines"
	"millbase/solver/formulation"
	"millbase/solver/match"
)

func TestBadCorrectionsAreRefusedByField(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(*match.CorrectProblem)
		field string
	}{
		"not a number":  {func(p *match.CorrectProblem) { p.Measured.Values[3] = math.NaN() }, "measured"},
		"another grid":  {func(p *match.CorrectProblem) { p.Measured.Values = p.Measured.Values[:20] }, "measured"},
		"colourants":    {func(p *match.CorrectProblem) { p.PotColourants = p.PotColourants[1:] }, "pot_colourants"},
		"negative K":    {func(p *match.CorrectProblem) { p.Colourants[0].K = negative(p.Colourants[0].K) }, "colourants[0].k"},
		"no tolerance":  {func(p *match.CorrectProblem) { p.Tolerance = 0 }, "tolerance_de00"},
		"a small pot":   {func(p *match.CorrectProblem) { p.Capacity = mass.Kilogram }, "capacity_kg"},
		"nothing in it": {func(p *match.CorrectProblem) { p.Pot.Masses[0] = -1 }, "pot[0].mass_kg"},
	} {
		b := newBatch(t, rand.New(rand.NewPCG(1, 1)), 0.1)
		c.spoil(b.problem)
		_, err := match.Correct(t.Context(), engines.New(), b.problem)
		var errs formulation.FieldErrors
		if !errors.As(err, &errs) || len(errs) == 0 || errs[0].Field != c.field {
			t.Errorf("%s: %v, want an error on %s", name, err, c.field)
		}
	}
}

func negative(k []float64) []float64 { return append([]float64{-1}, k[1:]...) }
