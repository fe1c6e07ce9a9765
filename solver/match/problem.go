package match

import (
	"fmt"
	"math"

	"millbase/inventory/property"
	"millbase/solver/colour"
	"millbase/solver/formulation"
)

// Mode says how the print is predicted.
type Mode uint8

// The modes.
const (
	// Film is a translucent film on a substrate: the K/S of the substrate plus that
	// of each colourant by its share (one constant).
	Film Mode = iota
	// Opaque is a mixture that hides what is below it: the sum of the K over the sum
	// of the S (two constants).
	Opaque
)

// Colourant is what one candidate does to the curve. The zero Colourant is
// colourless.
type Colourant struct {
	// K is the absorption per value of the grid at share 1 and strength 1; of a Film
	// it is the K/S that the candidate adds.
	K []float64
	// S is the scattering, likewise; only of an Opaque mixture.
	S []float64
}

// coloured reports whether c does anything to the curve.
func (c *Colourant) coloured() bool {
	for _, v := range c.K {
		if v > 0 {
			return true
		}
	}
	return false
}

// Target is the colour to be matched: a measured curve on the problem's grid, or
// CIELAB values under the problem's viewing.
type Target struct {
	Curve *colour.Curve
	Lab   colour.Lab // where there is no curve
}

// Problem asks for mixtures that look like a target.
type Problem struct {
	// Blend is everything but the shade: candidates, stock, costs, limits, quantity,
	// how it is weighed.
	Blend *formulation.Problem
	// Colourants are one per candidate of Blend. The tint_strength_fraction of a
	// candidate multiplies K (and S).
	Colourants []Colourant
	Mode       Mode
	// Substrate is the bare substrate as measured; its grid is the grid of all. Of
	// an Opaque mixture only the grid matters.
	Substrate colour.Curve
	Surface   colour.Surface
	Target    Target
	Viewing   colour.Viewing  // under which the difference counts
	Second    *colour.Viewing // for metamerism; nil: A with the same observer
	// Tolerance is the CIEDE2000 difference that is allowed, above 0 to MaxTolerance.
	Tolerance float64
	// MaxBases is the largest number of coloured components, counted by material; 0:
	// any.
	MaxBases int
}

// The sizes that a Problem may have.
const (
	MaxTolerance = 50
	MaxK         = 1e6 // of a colourant at share 1
	MaxColoured  = 200
)

// SecondViewing is the second light.
func (p *Problem) SecondViewing() colour.Viewing {
	if p.Second != nil {
		return *p.Second
	}
	return colour.Viewing{Illuminant: colour.A, Observer: p.Viewing.Observer}
}

// target is the colour to be matched under a viewing; false when only CIELAB
// values under another are known.
func (p *Problem) target(v colour.Viewing) (colour.Lab, bool) {
	if p.Target.Curve != nil {
		return p.Target.Curve.Seen(v), true
	}
	return p.Target.Lab, v == p.Viewing
}

// Validate reports what is wrong with p as formulation.FieldErrors.
func (p *Problem) Validate() error {
	if p.Blend == nil {
		return formulation.FieldErrors{{Field: "blend", Problem: "give the candidates and limits"}}
	}
	if err := p.Blend.Validate(); err != nil {
		return err
	}
	var errs formulation.FieldErrors
	say := func(problem, field string, args ...any) {
		errs = append(errs, formulation.FieldError{Field: fmt.Sprintf(field, args...), Problem: problem})
	}
	if !(p.Tolerance > 0 && p.Tolerance <= MaxTolerance) {
		say(fmt.Sprintf("a CIEDE2000 tolerance is above 0 and at most %d", MaxTolerance), "tolerance_de00")
	}
	if p.MaxBases < 0 {
		say("give 0 for any number of bases, or how many at most", "max_bases")
	}
	if p.Mode > Opaque {
		say("is a film on a substrate or an opaque mixture", "mode")
	}
	if !p.Viewing.Known() || p.Second != nil && !p.Second.Known() {
		say("use D50, D65 or A with the 2 or the 10 degree observer", "viewing")
	}
	if s := p.Surface; !(s.K1 >= 0 && s.K1 < 1 && s.K2 >= 0 && s.K2 < 1) {
		say("the coefficients of the surface are from 0 to below 1", "surface")
	}
	if err := p.Substrate.Validate(); err != nil {
		say(err.Error(), "substrate")
	} else {
		p.checkColours(say)
	}
	if len(errs) > 0 {
		return errs
	}
	return nil
}

// checkColours checks what is on the grid of the substrate.
func (p *Problem) checkColours(say func(problem, field string, args ...any)) {
	if c := p.Target.Curve; c != nil {
		if err := c.Validate(); err != nil {
			say(err.Error(), "target.curve")
		} else if !c.SameGrid(p.Substrate) {
			say("measure the target at the wavelengths of the substrate's curve", "target.curve")
		}
	} else if l := p.Target.Lab; !(l.L >= 0 && l.L <= 100 && math.Abs(l.A) <= 200 && math.Abs(l.B) <= 200) {
		say("L* lies between 0 and 100, a* and b* between -200 and 200", "target.lab")
	}
	if len(p.Colourants) != len(p.Blend.Candidates) {
		say(fmt.Sprintf("give one for each of the %d candidates", len(p.Blend.Candidates)), "colourants")
		return
	}
	coloured := 0
	for j := range p.Colourants {
		c := &p.Colourants[j]
		if c.coloured() {
			coloured++
		}
		p.checkColourant(c, say, fmt.Sprintf("colourants[%d]", j))
	}
	switch {
	case coloured == 0:
		say("none of the candidates has a colour: characterise a base ink on this substrate", "colourants")
	case coloured > MaxColoured:
		say(fmt.Sprintf("%d coloured candidates are too many: give at most %d", coloured, MaxColoured), "colourants")
	}
}

// checkColourant checks the figures of a colourant on the grid of the substrate.
func (p *Problem) checkColourant(c *Colourant, say func(problem, field string, args ...any), field string) {
	n := len(p.Substrate.Values)
	if p.Mode == Opaque && (c.K == nil) != (c.S == nil) {
		say("an opaque mixture needs absorption and scattering of each component", "%s", field)
	}
	for _, part := range [...]struct {
		name   string
		values []float64
	}{{"k", c.K}, {"s", c.S}} {
		if part.values != nil && len(part.values) != n {
			say(fmt.Sprintf("give %d values, one per wavelength of the substrate's curve", n), "%s.%s", field, part.name)
		}
		for _, v := range part.values {
			if !(v >= 0 && v <= MaxK) {
				say("absorption and scattering are from 0 to 1e6", "%s.%s", field, part.name)
				break
			}
		}
	}
}

// strength is what the absorption of a candidate is multiplied by.
func strength(c *formulation.Candidate) float64 {
	if v, ok := c.Properties[property.TintStrengthFraction]; ok {
		return v
	}
	return 1
}
