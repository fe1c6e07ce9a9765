package app

import (
	"fmt"

	"millbase/solver/colour"
)

// ColourSeen is a colour: a curve, or CIELAB under the viewing of the question.
type ColourSeen struct {
	Curve *colour.Curve
	Lab   colour.Lab
}

// under is the colour under a viewing; false where it is not known.
func (c ColourSeen) under(v, asked colour.Viewing) (colour.Lab, bool) {
	if c.Curve != nil {
		return c.Curve.Seen(v), true
	}
	return c.Lab, v == asked
}

func (c ColourSeen) swatch() string {
	if c.Curve == nil {
		return ""
	}
	return c.Curve.Swatch()
}

// CompareColours asks how a sample differs from a standard, or from the aim of a
// process ink.
type CompareColours struct {
	Sample     ColourSeen
	Standard   *ColourSeen
	ProcessInk string // yellow, magenta, cyan, black; the standard is nil
	Viewing    colour.Viewing
	Second     colour.Viewing
	Tolerance  float64 // CIEDE2000; 0: none
	OverBlack  *colour.Curve
}

// ComparedColours is the answer.
type ComparedColours struct {
	Differences []ColourDifference // the first light, then the second where both are curves
	Metamerism  *float64
	Opacity     *float64 // percent
	Within      *bool
	Summary     string
}

// ColourDifference is that of two colours under one light.
type ColourDifference struct {
	Viewing                      colour.Viewing
	Sample, Standard             colour.Lab
	SampleSwatch, StandardSwatch string
	DE76, DE00                   float64
	Terms                        colour.DifferenceTerms
}

// CompareTwoColours answers it. Errors are Invalid.
func CompareTwoColours(q CompareColours) (*ComparedColours, error) {
	var aim *colour.Aim
	if q.ProcessInk != "" {
		found, ok := colour.ProcessAim(q.ProcessInk)
		if !ok {
			return nil, InvalidField("process_ink", "use yellow, magenta, cyan or black.")
		}
		if q.Viewing != (colour.Viewing{}) && q.Sample.Curve == nil {
			return nil, InvalidField("viewing", "the aims of process inks are under D50/2; give the sample's CIELAB values under it, or its curve.")
		}
		aim, q.Standard, q.Viewing = &found, &ColourSeen{Lab: found.Lab}, colour.Viewing{}
	}
	out := &ComparedColours{}
	for _, v := range []colour.Viewing{q.Viewing, q.Second} {
		a, known := q.Sample.under(v, q.Viewing)
		b, both := q.Standard.under(v, q.Viewing)
		if !known || !both || len(out.Differences) == 1 && v == q.Viewing {
			continue
		}
		out.Differences = append(out.Differences, ColourDifference{Viewing: v, Sample: a, Standard: b, SampleSwatch: q.Sample.swatch(),
			StandardSwatch: q.Standard.swatch(), DE76: colour.Difference(b, a), DE00: colour.Difference2000(b, a), Terms: colour.Terms(b, a)})
	}
	if a, b := q.Sample.Curve, q.Standard.Curve; a != nil && b != nil {
		m := colour.Metamerism(*b, *a, q.Viewing, q.Second)
		out.Metamerism = &m
	}
	if q.OverBlack != nil {
		if q.Sample.Curve == nil {
			return nil, InvalidField("over_black", "opacity needs the curve of the sample over white as well.")
		}
		o := colour.Opacity(*q.OverBlack, *q.Sample.Curve)
		out.Opacity = &o
	}
	out.judge(q, aim)
	return out, nil
}

// judge says whether the sample is within the tolerance, in words too.
func (c *ComparedColours) judge(q CompareColours, aim *colour.Aim) {
	d := c.Differences[0]
	switch {
	case aim != nil:
		why, ok := aim.Meets(d.Sample)
		c.Within = &ok
		if c.Summary = fmt.Sprintf("Within the tolerance of process %s (ISO 2846-1): %s.", q.ProcessInk, why); !ok {
			c.Summary = fmt.Sprintf("Not process %s (ISO 2846-1): %s.", q.ProcessInk, why)
		}
	case q.Tolerance > 0:
		ok := d.DE00 <= q.Tolerance
		c.Within = &ok
		if c.Summary = fmt.Sprintf("Within %g: %.2f away under %s.", q.Tolerance, d.DE00, d.Viewing); !ok {
			c.Summary = fmt.Sprintf("Beyond %g: %.2f away under %s, mostly in %s.", q.Tolerance, d.DE00, d.Viewing, d.Terms.Most())
		}
	default:
		c.Summary = fmt.Sprintf("%.2f away under %s, mostly in %s.", d.DE00, d.Viewing, d.Terms.Most())
	}
}
