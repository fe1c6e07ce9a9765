package formulation

import (
	"context"
	"fmt"
	"strings"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver"
)

// nothing is the part of a pot below which keeping it is pointless.
const nothing = 1e-6

// shorter are the parts of the largest that are tried until the additions can be
// weighed.
var shorter = []float64{1, 1 - 1e-6, 1 - 1e-4, 0.999, 0.99, 0.95, 0.9}

// inPart answers with the largest part of the pot that can be brought back.
func (c *corrector) inPart(a *Correction) (*Correction, error) {
	part, sure, err := c.largestPart()
	switch {
	case err != nil:
		return nil, err
	case !sure:
		a.Outcome = NoTime
		return a, nil
	}
	for _, by := range shorter {
		at := c.keep(part*by).Kilograms() / c.pot.kgStays
		if at < nothing {
			break
		}
		s, _, err := solve(c.ctx, c.engine, c.model(fixed, at), solver.Options{})
		if err = unlessNumerical(err); err != nil {
			return nil, err
		}
		if s == nil || s.Stop != solver.StopOptimal {
			continue
		}
		switch err := c.weighed(a, s, at); err {
		case nil:
			a.Outcome = InPart
			return a, nil
		case errNotWeighable:
		default:
			return nil, err
		}
	}
	a.Outcome, a.Kept = Impossible, 0
	return a, nil
}

// largestPart is the largest part of the pot that can be brought back, 0 when
// there is none; sure is false when there was no time to find it.
func (c *corrector) largestPart() (part float64, sure bool, err error) {
	s, _, err := solve(c.ctx, c.engine, c.model(largest, 0), solver.Options{})
	switch {
	case isNumerical(err):
		return c.bisected()
	case err != nil:
		return 0, false, err
	case s.Stop == solver.StopOptimal:
		return s.X[len(c.active)], true, nil
	}
	// Infeasible: what must be added does not meet the limits by itself.
	return 0, s.Stop == solver.StopInfeasible, nil
}

// keep is the mass to keep when a part of the pot is kept: what is taken out can
// be weighed.
func (c *corrector) keep(part float64) mass.Mass {
	pot := mass.RoundKilograms(c.pot.kgStays, mass.RoundFloor)
	out := mass.RoundKilograms((1-part)*c.pot.kgStays, mass.RoundCeil)
	if c.p.Weighing == nil || part >= 1 {
		return pot - out
	}
	all := Candidate{ID: "taken out", Available: -1}
	up := mass.Mass(-1)
	for _, b := range (&Weighing{Balances: c.p.Weighing.Balances}).bands(&all) {
		if m := max(out, b.low).RoundTo(b.division, mass.RoundUp); (b.high < 0 || m <= b.high) && (up < 0 || m < up) {
			up = m
		}
	}
	if up < 0 {
		up = out
	}
	return max(0, pot-up)
}

// bisected is largestPart by halving, for the rare pot whose largest part by one
// solve does not pass its check.
func (c *corrector) bisected() (part float64, sure bool, err error) {
	low, high := 0.0, 1.0
	for high-low > nothing {
		mid := (low + high) / 2
		s, _, err := solve(c.ctx, c.engine, c.model(fixed, mid), solver.Options{})
		switch {
		case unlessNumerical(err) != nil:
			return 0, false, err
		case err != nil || s.Stop == solver.StopInfeasible:
			high = mid
		case s.Stop == solver.StopOptimal:
			low = mid
		default:
			return 0, false, nil
		}
	}
	return low, true, nil
}

// MostShare is the largest share that candidate j can have in an ink that meets
// p's limits, kg per kg, whatever it costs; false when no ink meets them. The
// stock of j itself counts. why says why it can't take part, where that is so.
// Errors are those of Optimise.
func MostShare(ctx context.Context, engine solver.Engine, p *Problem, j int) (share float64, ok bool, why string, err error) {
	if err := p.Validate(); err != nil {
		return 0, false, "", err
	}
	b, err := build(p, false)
	if err != nil {
		return 0, false, "", err
	}
	for _, l := range b.leftOut {
		if l.Candidate == j {
			return 0, false, l.Why, nil
		}
	}
	for k := range b.active {
		v := &b.model.Variables[k]
		v.Cost = 0
		if int(b.active[k]) == j {
			v.Cost = -1
		}
	}
	s, _, err := b.optimum(ctx, engine, solver.Options{})
	if err != nil {
		return 0, false, "", err
	}
	return max(0, -s.Objective), s.Stop == solver.StopOptimal, "", nil
}

// AsWorkOff is the pot's ink as a candidate for another ink: leftover ink with
// what was measured on it.
func (a *Correction) AsWorkOff(id, title, material string, available mass.Mass) Candidate {
	return Candidate{ID: id, Title: title, Material: material, Class: inventory.WorkOff,
		Properties: a.Whole.Properties, MadeOf: a.Whole.MadeOf, Available: available, FromStock: true}
}

// assumed says which limits rest on a test and which on what was weighed in.
func (c *corrector) assumed(a *Correction) {
	var tested, computed []string
	for i := range c.terms {
		if c.pot.tested[i] {
			tested = append(tested, c.terms[i].limit.Name())
		} else {
			computed = append(computed, c.terms[i].limit.Name())
		}
	}
	if len(tested) > 0 {
		a.Assumed = append(a.Assumed, "Measured on the pot, or worked out with what was measured: "+list(tested)+".")
	}
	if len(computed) > 0 {
		a.Assumed = append(a.Assumed, "Worked out from what was weighed in: "+list(computed)+".")
	}
	if c.pot.measured[property.TintStrengthFraction] {
		return
	}
	var unknown []string
	for i := range c.pot.components {
		of := &c.pot.components[i]
		if _, known := of.Properties[property.TintStrengthFraction]; !known && of.Properties.Sum(property.PigmentFraction) > 0 {
			unknown = append(unknown, of.Name())
		}
	}
	for i := range c.terms {
		if l := c.terms[i].limit; l.Kind == PigmentLoading && l.ByStrength && !c.pot.tested[i] && len(unknown) > 0 {
			a.Assumed = append(a.Assumed, fmt.Sprintf("Tint strength of %s in the pot taken as 100 %%: no certificate value.", list(unknown)))
			return
		}
	}
}

// Validate reports every fault of p that its caller can correct, as FieldErrors.
// It is part of Correct. The components of the pot are "pot[i]".
func (p *CorrectionProblem) Validate() error {
	if p.Catalogue == nil {
		return FieldErrors{{"catalogue", "give the catalogue of properties"}}
	}
	v := validator{p: &Problem{Limits: p.Limits, Candidates: p.Candidates, Catalogue: p.Catalogue, Settings: p.Settings, Weighing: p.Weighing, Quantity: mass.Kilogram}}
	if len(p.Candidates) == 0 { // what is in limits needs nothing
		v.limits()
		v.weighing()
	} else {
		v.problem()
	}
	inside := validator{p: &Problem{Candidates: p.Pot.Components, Catalogue: p.Catalogue}}
	inside.candidates()
	for _, f := range inside.errs {
		v.errs = append(v.errs, FieldError{"pot" + strings.TrimPrefix(f.Field, "candidates"), f.Problem})
	}
	p.validatePot(&v)
	if len(v.errs) > 0 {
		return v.errs
	}
	return nil
}

func (p *CorrectionProblem) validatePot(v *validator) {
	switch {
	case len(p.Pot.Components) == 0:
		v.add("say what is in the pot", "pot")
		return
	case len(p.Pot.Components) > MaxCandidates:
		v.add(fmt.Sprintf("%d components are too many: give at most %d", len(p.Pot.Components), MaxCandidates), "pot")
		return
	case len(p.Pot.Masses) != len(p.Pot.Components):
		v.add(fmt.Sprintf("give one mass for each of the %d components", len(p.Pot.Components)), "pot")
		return
	}
	stays, ok := 0.0, true
	for i, m := range p.Pot.Masses {
		if m <= 0 || m > mass.Max {
			v.add("must be above 0 and at most 1,000,000 t", "pot[%d].mass_kg", i)
			ok = false
		}
		stays += m.Kilograms() * p.Pot.Components[i].Properties.Retained()
	}
	switch {
	case !ok:
	case !(stays >= mass.Milligram.Kilograms()):
		v.add("nothing of what went in stays in the pot", "pot")
	case stays > mass.Max.Kilograms():
		v.add("more than 1,000,000 t can't be worked out", "pot")
	case p.Capacity <= 0 || p.Capacity > mass.Max || p.Capacity.Kilograms() < stays*(1-1e-9):
		v.add(fmt.Sprintf("the pot already holds %.6g kg: give a capacity of at least that, and at most 1,000,000 t", stays), "capacity_kg")
	}
	if w := p.Weighing; w != nil {
		if w.AtMost != 0 || w.LotsPerMaterial != 0 || len(w.Rules) > 0 || w.Tolerance != 0 {
			v.add("a correction is weighed by scales, containers and the least amount only: leave rules, counts and the tolerance out", "weighing")
		}
	}
}
