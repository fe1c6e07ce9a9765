package match

import (
	"context"
	"fmt"
	"math"

	"millbase/inventory/mass"
	"millbase/solver"
	"millbase/solver/certify"
	"millbase/solver/colour"
	"millbase/solver/formulation"
)

// CorrectProblem asks for the additions that bring the shade of a pot in.
type CorrectProblem struct {
	// Problem holds the target, and in Blend what may be added, with the limits that
	// the ink must keep. Its Quantity does not matter, MaxBases neither.
	Problem
	Pot           formulation.Pot
	PotColourants []Colourant  // per component of the pot
	Measured      colour.Curve // the drawdown of what is in the pot
	// Capacity is what the pot holds, the additions included.
	Capacity mass.Mass
	// LeastMass asks for the least mass of additions instead of the least cost.
	LeastMass bool
}

// Correction is the answer to a CorrectProblem.
type Correction struct {
	Outcome formulation.CorrectionOutcome
	// Pot is what is in the pot, Kept what stays in it: all of it but InPart.
	Pot, Kept mass.Mass
	Additions []formulation.Addition // in weighing order
	Added     mass.Mass
	Cost      float64 // of the additions, money
	// Expected is the pot as the drawdowns of its bases predict it, Measured as it
	// is, After with the additions; they have no kind and no answer.
	Expected, Measured, After Offer
	// Strengths are what the absorption of each component of the pot is multiplied
	// by to print as measured; Common is the factor on all of it.
	Strengths []float64
	Common    float64
	Before    []formulation.LimitReport // of the pot as it stands
	Limits    []formulation.LimitReport // with the additions; empty when there are none
	Reach     *Reach                    // when not all of the pot can be brought in
	LeftOut   []formulation.LeftOut
	Assumed   []string
	Proof     certify.Certificate
}

// Correct finds the additions of least cost, or of least mass, that bring the shade
// of a pot within the tolerance, and keep the other limits; when there are none,
// how near it comes and why, and the largest part of the pot for which there are.
//
// The pot prints as it was measured, whatever its bases were thought to do: its K/S
// is the measured one. What is added is corrected by the same measurement: bases
// that are in the pot have the strengths that explain it best, others the factor on
// all of it. The total is sought between the pot and its capacity, and at each total
// it is a match with the pot as one component of fixed mass.
//
// Errors are those of Match.
func Correct(ctx context.Context, engine solver.Engine, p *CorrectProblem) (*Correction, error) {
	c, err := newCorrector(ctx, engine, p)
	if err != nil {
		return nil, err
	}
	if c.out.Measured.DE00 <= p.Tolerance && met(c.out.Before) {
		c.out.Outcome, c.out.After, c.out.Limits = formulation.InLimits, c.out.Measured, c.out.Before
		c.out.Proof = certify.Certificate{OK: true, Claim: solver.StopOptimal}
		return c.out, nil
	}
	found, err := c.total(c.pot)
	if err != nil {
		return nil, err
	}
	if found != nil {
		if err := c.answer(formulation.Corrected, c.pot, found); err == nil {
			return c.out, nil
		}
	}
	return c.inPart()
}

func met(limits []formulation.LimitReport) bool {
	for i := range limits {
		if !limits[i].Met {
			return false
		}
	}
	return true
}

// corrector is a correction under way.
type corrector struct {
	ctx    context.Context
	engine solver.Engine
	p      *CorrectProblem
	out    *Correction
	pot    mass.Mass
	whole  formulation.Candidate
	potK   Colourant   // of the pot as one component
	added  []Colourant // of what may be added, corrected
}

func newCorrector(ctx context.Context, engine solver.Engine, p *CorrectProblem) (*corrector, error) {
	limits := &formulation.CorrectionProblem{Pot: p.Pot, Capacity: p.Capacity}
	if b := p.Blend; b != nil {
		limits.Limits, limits.Candidates, limits.Catalogue, limits.Settings, limits.Currency = b.Limits, b.Candidates, b.Catalogue, b.Settings, b.Currency
	}
	whole, stays, err := limits.Whole()
	if err != nil {
		return nil, err
	}
	if err := p.validate(); err != nil {
		return nil, err
	}
	c := &corrector{ctx: ctx, engine: engine, p: p, whole: whole, pot: mass.RoundKilograms(stays, mass.RoundHalfEven), out: &Correction{}}
	c.out.Pot, c.out.Kept = c.pot, c.pot
	c.measure()
	c.out.Before, err = c.limits(c.pot, nil)
	return c, err
}

// validate checks what a correction has beside a match; its blend is put together
// with the pot, and checked, later.
func (p *CorrectProblem) validate() error {
	var errs formulation.FieldErrors
	if err := p.Measured.Validate(); err != nil {
		errs = append(errs, formulation.FieldError{Field: "measured", Problem: err.Error()})
	} else if p.Substrate.Validate() == nil && !p.Measured.SameGrid(p.Substrate) {
		errs = append(errs, formulation.FieldError{Field: "measured", Problem: "measure the drawdown at the wavelengths of the substrate's curve"})
	}
	if len(p.PotColourants) != len(p.Pot.Components) {
		errs = append(errs, formulation.FieldError{Field: "pot_colourants", Problem: fmt.Sprintf("give one for each of the %d components of the pot", len(p.Pot.Components))})
	}
	for i := range p.PotColourants {
		p.checkColourant(&p.PotColourants[i], func(problem, field string, args ...any) {
			errs = append(errs, formulation.FieldError{Field: fmt.Sprintf(field, args...), Problem: problem})
		}, fmt.Sprintf("pot_colourants[%d]", i))
	}
	if len(errs) > 0 {
		return errs
	}
	// The rest is that of a match of the pot alone.
	alone := p.Problem
	if p.Blend != nil && len(p.Blend.Candidates) == 0 {
		return nil
	}
	blend := *p.Blend
	blend.Quantity = mass.Kilogram
	alone.Blend, alone.MaxBases = &blend, 0
	return alone.Validate()
}

// measure works out what the pot is, and what its measurement says of its bases.
func (c *corrector) measure() {
	p := c.p
	shares := make([]float64, len(p.Pot.Components))
	strong := make([]Colourant, len(p.Pot.Components))
	blend := *p.Blend
	blend.Candidates, blend.Quantity = p.Pot.Components, c.pot
	expected := p.Problem
	expected.Blend, expected.Colourants = &blend, p.PotColourants
	for i, m := range p.Pot.Masses {
		of := &p.Pot.Components[i]
		shares[i] = m.Kilograms() / c.pot.Kilograms()
		strong[i] = Colourant{K: scaled(p.PotColourants[i].K, strength(of)), S: scaled(p.PotColourants[i].S, strength(of))}
	}
	c.out.Expected = expected.Predict(p.Pot.Masses)
	c.out.Strengths, c.out.Common = strengths(&p.Problem, shares, strong, p.Measured)
	c.potK = Colourant{K: make([]float64, len(p.Measured.Values))}
	if p.Mode == Opaque {
		c.potK.S = make([]float64, len(p.Measured.Values))
	}
	for i, r := range p.Measured.Values {
		ks := colour.KS(min(1, max(darkest, p.Surface.Inside(r))))
		if p.Mode == Film {
			c.potK.K[i] = max(0, ks-colour.KS(max(darkest, p.Surface.Inside(p.Substrate.Values[i]))))
			continue
		}
		for j := range strong {
			if strong[j].S != nil {
				c.potK.S[i] += shares[j] * strong[j].S[i]
			}
		}
		c.potK.K[i] = ks * c.potK.S[i]
	}
	// It prints as measured, whatever its strength counts for in the limits.
	by := 1 / strength(&c.whole)
	c.potK = Colourant{K: scaled(c.potK.K, by), S: scaled(c.potK.S, by)}
	factors := map[string]float64{}
	for i := range p.Pot.Components {
		factors[group(&p.Pot.Components[i])] = c.out.Strengths[i]
	}
	for j, of := range p.Colourants {
		factor, inPot := factors[group(&p.Blend.Candidates[j])]
		if !inPot {
			factor = c.out.Common
		}
		c.added = append(c.added, Colourant{K: scaled(of.K, factor), S: of.S})
	}
	c.out.Measured = c.problem(c.pot, c.pot).Predict(append([]mass.Mass{c.pot}, make([]mass.Mass, len(p.Blend.Candidates))...))
	if d := c.out.Common - 1; math.Abs(d) > 0.005 {
		c.out.Assumed = append(c.out.Assumed, fmt.Sprintf("The pot prints with %.1f %% of the absorption that the drawdowns of its bases predict; what is added is counted accordingly.", 100*c.out.Common))
	}
}

// problem is the match of a total with some of the pot in it: the pot is the first
// candidate, of fixed mass.
func (c *corrector) problem(kept, total mass.Mass) *Problem {
	q := c.p.Problem
	blend := *c.p.Blend
	blend.Quantity, blend.Weighing = total, nil
	pot := c.whole
	pot.Available, pot.AtLeast = kept, kept
	blend.Candidates = append([]formulation.Candidate{pot}, blend.Candidates...)
	q.Blend, q.Colourants, q.MaxBases = &blend, append([]Colourant{c.potK}, c.added...), 0
	return &q
}

// limits are those of the ink with additions.
func (c *corrector) limits(kept mass.Mass, additions []formulation.Addition) ([]formulation.LimitReport, error) {
	kg := make([]float64, len(c.p.Blend.Candidates)+1)
	kg[0] = kept.Kilograms()
	for _, a := range additions {
		kg[a.Candidate+1] = a.Mass.Kilograms()
	}
	return formulation.Evaluate(c.problem(kept, kept).Blend, kg)
}
