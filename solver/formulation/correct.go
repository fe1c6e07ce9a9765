package formulation

import (
	"context"
	"fmt"
	"math"

	"millbase/inventory/mass"
	"millbase/solver"
	"millbase/solver/certify"
)

// CorrectionProblem asks for the additions that bring an ink in the pot back
// within its limits.
type CorrectionProblem struct {
	Pot        Pot
	Limits     []Limit
	Candidates []Candidate // what may be added
	Catalogue  Catalogue
	Settings   Settings
	Currency   string
	// Capacity is what the pot holds, the additions as weighed in included.
	Capacity mass.Mass
	// LeastMass asks for the least mass of additions instead of the least cost.
	LeastMass bool
	// Weighing says how additions are weighed, by its balances, handling and least
	// amount; nil is to the milligram. Rules and counts are not for corrections.
	Weighing *Weighing
}

// CorrectionOutcome says what kind of answer a Correction is.
type CorrectionOutcome string

// The outcomes.
const (
	InLimits   CorrectionOutcome = "in_limits"  // nothing to add
	Corrected  CorrectionOutcome = "corrected"  // additions for the whole pot
	InPart     CorrectionOutcome = "in_part"    // additions for Kept; the rest is taken out
	Impossible CorrectionOutcome = "impossible" // no part of the pot can be brought back
	NoTime     CorrectionOutcome = "no_time"    // deadline or cancel came first
)

// Correction is the answer to a CorrectionProblem.
type Correction struct {
	Outcome CorrectionOutcome
	// Pot is the mass of what is in the pot; Kept is what stays in it and
	// Capacity allows for, all of it but InPart.
	Pot, Kept mass.Mass
	Additions []Addition // in weighing order
	Added     mass.Mass
	Cost      float64 // of the additions, money
	// Before and After are the limits of the pot as it stands, with the tests, and
	// with the additions. After is empty when Impossible.
	Before, After []LimitReport
	// Clash is set when not all of the pot can be brought back.
	Clash   *CorrectionClash
	Assumed []string
	LeftOut []LeftOut
	// Proof is of the answer: of the additions as the best, or that all of the
	// pot can't be brought back.
	Proof  certify.Certificate
	Engine string
	// Whole is the pot as one material, with what was measured on it: what it is
	// as work-off.
	Whole Candidate
}

// Addition is something to add.
type Addition struct {
	Candidate int // index into CorrectionProblem.Candidates
	Mass      mass.Mass
	CostPerKg float64
	AtLimit   bool // all that is available is used
}

// Components are the additions as components of the whole ink, kept part included.
func (a *Correction) Components() []Component {
	out := make([]Component, len(a.Additions))
	for i, x := range a.Additions {
		out[i] = Component{Candidate: x.Candidate, Mass: x.Mass, Share: float64(x.Mass) / float64(a.Kept+a.Added),
			CostPerKg: x.CostPerKg, CostRange: solver.Range{Lower: -solver.Inf, Upper: solver.Inf}, AtLimit: x.AtLimit}
	}
	return out
}

// CorrectionClash names a smallest set that clashes: drop any one of them and the
// rest can be met with all of the pot.
type CorrectionClash struct {
	Limits   []int // indices into CorrectionProblem.Limits
	Stock    []int // indices into CorrectionProblem.Candidates
	Capacity bool
	// Smallest is true when no set with fewer bounds clashes.
	Smallest bool
}

// Correct finds the additions of least cost, or of least mass, that bring every
// limit of a pot back within its capacity; when there are none, why not, and the
// largest part of the pot for which there are.
//
// The pot is a fixed mass, and the mass of the ink is free between it and the
// capacity, so every limit is a ratio row num(x) - v den(x) in the masses added.
// When only a part k of the pot is kept the same rows hold with k as a variable:
// the parts that can be brought back are an interval from 0, and its end is a
// linear program.
//
// The errors are FieldErrors, ErrNumerical, and whatever the engine could not do.
// The additions were checked against every limit by Evaluate's own arithmetic,
// from whole masses.
func Correct(ctx context.Context, engine solver.Engine, p *CorrectionProblem) (*Correction, error) {
	c, err := newCorrector(ctx, engine, p)
	if err != nil {
		return nil, err
	}
	a := &Correction{Pot: mass.RoundKilograms(c.pot.kgStays, mass.RoundHalfEven), Before: c.evaluate(1, nil), Whole: c.pot.whole, LeftOut: c.leftOut}
	a.Kept = a.Pot
	c.assumed(a)
	if c.inLimits(a) {
		a.Outcome, a.After = InLimits, a.Before
		a.Proof = certify.Certificate{OK: true, Claim: solver.StopOptimal}
		return a, nil
	}
	s, proof, err := solve(ctx, engine, c.model(fixed, 1), solver.Options{})
	switch {
	case isNumerical(err): // on the very edge, where prices have no end
		a.Assumed = append(a.Assumed, "Whether all of the pot can be brought back is too close to call.")
		return c.inPart(a)
	case err != nil:
		return nil, err
	}
	a.Proof, a.Engine = proof, s.Engine
	switch s.Stop {
	case solver.StopOptimal:
		err = c.weighed(a, s, 1)
		if err == nil {
			a.Outcome = Corrected
			return a, nil
		}
		if err != errNotWeighable {
			return nil, err
		}
		a.Assumed = append(a.Assumed, "For all of the pot no additions that can be weighed and meet every limit were found.")
		return c.inPart(a)
	case solver.StopInfeasible:
		if err := c.clash(a); err != nil {
			return nil, err
		}
		return c.inPart(a)
	case solver.StopLimit, solver.StopCancelled:
		a.Outcome = NoTime
		return a, nil
	}
	return nil, ErrNumerical
}

// corrector is a CorrectionProblem made ready.
type corrector struct {
	ctx    context.Context
	engine solver.Engine
	p      *CorrectionProblem
	pot    *pot
	// built has the coefficients of the additions, by term and column.
	built
	potNum, potDen []float64 // per term, per kg of pot
	// whole is the problem that Evaluate's arithmetic works on: the components of
	// the pot, the pot as one material, the additions.
	whole Problem
	rows  []boundRow
}

// boundRow is the row of one bound of a limit.
type boundRow struct {
	term  int
	low   bool // of the ratio
	bound float64
	scale float64
}

func newCorrector(ctx context.Context, engine solver.Engine, p *CorrectionProblem) (*corrector, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	own := *p // a pot is corrected by what was measured: nominal values
	own.Limits = (&Problem{Limits: p.Limits}).nominal().Limits
	p = &own
	c := &corrector{ctx: ctx, engine: engine, p: p}
	c.built.p = &Problem{Limits: p.Limits, Candidates: p.Candidates, Catalogue: p.Catalogue, Settings: p.Settings}
	c.terms = make([]term, len(p.Limits))
	for i := range p.Limits {
		c.terms[i] = newTerm(&p.Limits[i], c.built.p)
	}
	var err error
	if c.pot, err = newPot(&p.Pot, p.Limits, p.Catalogue, c.terms); err != nil {
		return nil, err
	}
	if err := c.coefficients(); err != nil {
		return nil, err
	}
	return c, c.readPot()
}

// readPot works out what the pot brings to each limit, and its rows.
func (c *corrector) readPot() error {
	c.whole = *c.built.p
	c.whole.Candidates = append(append(append([]Candidate{}, c.pot.components...), c.pot.whole), c.p.Candidates...)
	c.potNum, c.potDen = make([]float64, len(c.terms)), make([]float64, len(c.terms))
	var errs FieldErrors
	for i := range c.terms {
		t := &c.terms[i]
		num, den, missing := c.pot.inPot(t)
		if missing != "" {
			errs = append(errs, FieldError{"tests", fmt.Sprintf("%s can't be worked out from what is in the pot (no %s of all of it): test the pot's %s", t.limit.Name(), missing, missing)})
			continue
		}
		c.potNum[i], c.potDen[i] = num, den
		for _, low := range []bool{true, false} {
			if r := t.bound(low); !math.IsInf(r, 0) {
				c.rows = append(c.rows, boundRow{term: i, low: low, bound: r, scale: t.scale(r, c.with(c.num, i, num), c.with(c.den, i, den))})
			}
		}
	}
	if len(errs) > 0 {
		return errs
	}
	return nil
}

// with are the coefficients of a term with that of the pot at the end.
func (c *corrector) with(of []float64, i int, pot float64) []float64 {
	return append(append([]float64{}, of[i*c.width():][:len(c.active)]...), pot)
}

// inLimits reports whether the pot meets every limit as it is and nothing must be
// added.
func (c *corrector) inLimits(a *Correction) bool {
	for _, r := range a.Before {
		if !r.Met {
			return false
		}
	}
	for _, j := range c.active {
		if c.p.Candidates[j].AtLeast > 0 {
			return false
		}
	}
	return true
}
