package match_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"millbase/inventory/mass"
	"millbase/solver/colour"
	"millbase/solver/engines"
	"millbase/solver/formulation"
	"millbase/solver/match"
	"millbase/solver/match/matchtest"
)

// TestAdditionsAgainstAGrid: with two bases to add, no point of a fine grid of
// amounts brings the pot in for less money, or with less mass. The bases are as they
// were characterised, so that the grid needs nothing of the correction's own.
func TestAdditionsAgainstAGrid(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 4))
	bases := matchtest.Pick(3, 7, 11)
	compared := 0
	for i := range 10 {
		aim := []float64{0.1 + 0.2*r.Float64(), 0.1 + 0.2*r.Float64(), 0}
		p := matchtest.Problem(bases, matchtest.Paper(), matchtest.Print(bases, matchtest.Paper(), aim))
		p.Blend.Limits = nil
		c := &match.CorrectProblem{Problem: *p, Capacity: 130 * mass.Kilogram, LeastMass: i%2 == 1}
		red, blue := aim[0]*(0.8+0.15*r.Float64()), aim[1]*(0.8+0.15*r.Float64())
		for j, share := range []float64{red, blue, 1 - red - blue} {
			c.Pot.Components = append(c.Pot.Components, p.Blend.Candidates[j])
			c.Pot.Masses = append(c.Pot.Masses, mass.RoundKilograms(100*share, mass.RoundHalfEven))
		}
		c.PotColourants = p.Colourants
		c.Measured = matchtest.Print(bases, matchtest.Paper(), []float64{red, blue, 0})
		blend := *p.Blend // only the two coloured ones may be added
		blend.Candidates, c.Blend = p.Blend.Candidates[:2], &blend
		c.Colourants = p.Colourants[:2]
		got, err := match.Correct(t.Context(), engines.New(), c)
		if err != nil {
			t.Fatal(err)
		}
		best := math.Inf(1)
		seen := p.Target.Curve.Seen(p.Viewing)
		for a := range 300 {
			for b := range 300 {
				x, y := float64(a)/15, float64(b)/15 // kg, to 20 kg
				value := x*bases[0].Price + y*bases[1].Price
				if c.LeastMass {
					value = x + y
				}
				if value >= best || x+y > 30 {
					continue
				}
				print := matchtest.Print(bases, matchtest.Paper(), []float64{(100*red + x) / (100 + x + y), (100*blue + y) / (100 + x + y), 0})
				if colour.Difference2000(seen, print.Seen(p.Viewing)) <= p.Tolerance {
					best = value
				}
			}
		}
		if math.IsInf(best, 1) || got.Outcome == formulation.InLimits {
			continue
		}
		compared++
		value := got.Cost
		if c.LeastMass {
			value = got.Added.Kilograms()
		}
		if got.Outcome != formulation.Corrected || value > best*1.002+1e-3 {
			t.Errorf("pot %d: %s at %g, the grid has %g", i, got.Outcome, value, best)
		}
		t.Logf("pot %d: %g, the grid has %g", i, value, best)
	}
	if compared < 5 {
		t.Errorf("%d compared", compared)
	}
}
