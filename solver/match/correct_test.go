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

// batch is a mix whose bases are off their characterised strength by up to a tenth.
type batch struct {
	problem *match.CorrectProblem
	truth   []float64 // strength of each base
}

// newBatch mixes the cheapest match of a random target from bases that are off, and
// measures its drawdown with the noise of a good instrument.
func newBatch(t *testing.T, r *rand.Rand, off float64) *batch {
	t.Helper()
	target, _ := matchtest.Target(r, matchtest.Bases, matchtest.Paper())
	p := matchtest.Problem(matchtest.Bases, matchtest.Paper(), target)
	p.Blend.Limits = nil
	got, err := match.Match(t.Context(), engines.New(), p, match.Want{Kinds: []match.Kind{match.Cheapest}})
	if err != nil || got.Outcome != match.Matched {
		t.Fatalf("%v %+v", err, got)
	}
	b := &batch{truth: make([]float64, len(matchtest.Bases))}
	for i := range b.truth {
		b.truth[i] = 1 + off*(2*r.Float64()-1)
	}
	b.problem = &match.CorrectProblem{Problem: *p, Capacity: 160 * mass.Kilogram}
	for _, c := range got.Offers[0].Answer.Components {
		b.problem.Pot.Components = append(b.problem.Pot.Components, p.Blend.Candidates[c.Candidate])
		b.problem.Pot.Masses = append(b.problem.Pot.Masses, c.Mass)
		b.problem.PotColourants = append(b.problem.PotColourants, p.Colourants[c.Candidate])
	}
	b.problem.Measured = b.real(nil)
	for i, v := range b.problem.Measured.Values {
		b.problem.Measured.Values[i] = max(1e-3, v+0.001*r.NormFloat64())
	}
	return b
}

// real is the curve that the pot with additions really prints.
func (b *batch) real(additions []formulation.Addition) colour.Curve {
	p := b.problem
	total := 0.0
	var units [][]float64
	var shares []float64
	use := func(of match.Colourant, id string, kg float64) {
		total += kg
		for i := range p.Blend.Candidates {
			if p.Blend.Candidates[i].ID == id && of.K != nil {
				units, shares = append(units, of.K), append(shares, kg*b.truth[i])
			}
		}
	}
	for i, m := range p.Pot.Masses {
		use(p.PotColourants[i], p.Pot.Components[i].ID, m.Kilograms())
	}
	for _, a := range additions {
		use(p.Colourants[a.Candidate], p.Blend.Candidates[a.Candidate].ID, a.Mass.Kilograms())
	}
	for i := range shares {
		shares[i] /= total
	}
	return colour.Film(p.Substrate, units, shares, p.Surface)
}

// away is how far a print is from the target.
func (b *batch) away(c colour.Curve) float64 {
	return colour.Difference2000(b.problem.Target.Curve.Seen(b.problem.Viewing), c.Seen(b.problem.Viewing))
}

// TestCorrectionsBringBatchesIn: bases are off by up to 10 %, nothing but the
// drawdown of the pot is known, and what counts is the colour that comes out.
func TestCorrectionsBringBatchesIn(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	before, nearer, within, off, corrected := 0.0, 0, 0, 0, 0
	const n = 30
	for i := range n {
		b := newBatch(t, r, 0.1)
		b.problem.Tolerance = 0.5 // aims well inside the customer's 1.0
		was := b.away(b.real(nil))
		before += was / n
		got, err := match.Correct(t.Context(), engines.New(), b.problem)
		if err != nil {
			t.Fatalf("batch %d: %v", i, err)
		}
		if math.Abs(got.Measured.DE00-was) > 0.5 {
			t.Errorf("batch %d: measured %.2f away, it is %.2f", i, got.Measured.DE00, was)
		}
		if got.Outcome == formulation.InLimits {
			continue
		}
		off++
		if got.Outcome != formulation.Corrected {
			t.Logf("batch %d: %s, %+v", i, got.Outcome, got.Reach)
			continue
		}
		corrected++
		if got.After.DE00 > b.problem.Tolerance+1e-3 {
			t.Errorf("batch %d: predicted %.3f away after the additions", i, got.After.DE00)
		}
		now := b.away(b.real(got.Additions))
		if now < was {
			nearer++
		}
		if now <= 1 {
			within++
		}
		if total := got.Pot + got.Added; total > b.problem.Capacity {
			t.Errorf("batch %d: %s in a pot for %s", i, total, b.problem.Capacity)
		}
	}
	t.Logf("of %d batches %.2f away on average %d were off, %d corrected, %d nearer, %d within 1.0", n, before, off, corrected, nearer, within)
	if off < n/3 || corrected < off*8/10 || nearer < corrected*9/10 || within < corrected*8/10 {
		t.Errorf("%d off, %d corrected, %d nearer, %d within 1.0", off, corrected, nearer, within)
	}
}
