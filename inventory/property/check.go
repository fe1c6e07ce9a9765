package property

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"sort"
)

// Lookup finds a definition by name, without qualifier. A Catalogue is one.
type Lookup interface {
	Property(name string) (Definition, bool)
}

// Largest is the largest magnitude of any number in a definition or a value.
const Largest = 1e12

var (
	namePattern      = regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)+$`)
	qualifierPattern = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9:._-]{0,39}$`)
)

// Check reports what is wrong with a definition: a name that is not lower-case
// words with the unit last, an index that is not known or not defined at Min, a
// basis that is neither mass, volume nor a property that blends by mass.
func (d *Definition) Check(known Lookup) error {
	if len(d.Name) > 63 || !namePattern.MatchString(d.Name) {
		return fmt.Errorf("property %q: use at most 63 lower-case letters and digits in words joined by _, with the unit last (gloss_units)", d.Name)
	}
	if d.Title == "" || d.Unit == "" {
		return d.bad("give it a title and a unit")
	}
	for _, v := range []float64{d.Scale, d.Offset, d.Exponent, d.Min, d.Max} {
		if !finite(v) {
			return d.bad("every number must be finite and at most 1e12")
		}
	}
	if d.Min >= d.Max {
		return d.bad(fmt.Sprintf("its least plausible value (%g) must be below its greatest (%g)", d.Min, d.Max))
	}
	if v := d.Default; v != nil && !(*v >= d.Min && *v <= d.Max) {
		return d.bad(fmt.Sprintf("its default (%g) must lie between %g and %g", *v, d.Min, d.Max))
	}
	if err := d.checkIndex(); err != nil {
		return err
	}
	return d.checkBasis(known)
}

func (d *Definition) bad(why string) error {
	return fmt.Errorf("property %s: %s", d.Name, why)
}

func (d *Definition) checkIndex() error {
	switch d.Index {
	case Linear, Reciprocal, Logarithm:
	case DoubleLog:
		if d.Scale < 0 {
			return d.bad("the scale of its double-log index must be above 0")
		}
	case Power:
		if d.Exponent == 0 {
			return d.bad("the exponent of its power index must not be 0")
		}
	default:
		return d.bad(fmt.Sprintf("index %q is not known: use linear, reciprocal, logarithm, double_log or power", d.Index))
	}
	if d.Min <= d.Domain() {
		return d.bad(fmt.Sprintf("its least plausible value must be above %g: the %s index is not defined there", d.Domain(), d.Index))
	}
	for _, p := range []float64{d.Min, d.Max} {
		if t := d.Forward(p); !finite(t) || !finite(d.Slope(p)) {
			return d.bad(fmt.Sprintf("its %s index is too large or not defined at %g", d.Index, p))
		}
	}
	return nil
}

func (d *Definition) checkBasis(known Lookup) error {
	if d.Basis == BasisMass || d.Basis == BasisVolume {
		return nil
	}
	b, ok := known.Property(d.Basis)
	if !ok {
		return d.bad(fmt.Sprintf("its basis %q is not known: use mass, volume or the name of a property", d.Basis))
	}
	if b.Index != Linear || b.Basis != BasisMass || b.Min < 0 {
		return d.bad(fmt.Sprintf("its basis %s must be an amount: linear, by mass and never negative", d.Basis))
	}
	return nil
}

func finite(v float64) bool { return math.Abs(v) <= Largest } // false for NaN

// Violation is one value of a Set that can't be right.
type Violation struct {
	Key     string
	Problem string // what to change
}

// CheckValue reports why v can't be a value of d under this qualifier, or "".
func (d *Definition) CheckValue(qualifier string, v float64) string {
	switch {
	case d.Qualified && qualifier == "":
		return fmt.Sprintf("say which one: %s/...", d.Name)
	case !d.Qualified && qualifier != "":
		return fmt.Sprintf("%s is one value per material: drop %q", d.Name, "/"+qualifier)
	case qualifier != "" && !qualifierPattern.MatchString(qualifier):
		return fmt.Sprintf("%q is not a name: use letters, digits, colon, dot and hyphen", qualifier)
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "must be a finite number"
	case v < d.Min || v > d.Max:
		return fmt.Sprintf("%g %s is not plausible: %s lies between %g and %g", v, d.Unit, d.Name, d.Min, d.Max)
	}
	return ""
}

// Check lists what can't be right in s, in the order of the keys: unknown
// properties, a qualifier missing or too many, values that are not finite or not
// plausible, and amounts that can't be in one kg together. The plain
// "pigment_fraction" is accepted where colourIndex names the pigment.
func (c *Catalogue) Check(s Set, colourIndex string) []Violation {
	var out []Violation
	for key, v := range s {
		name, qualifier := SplitKey(key)
		d, ok := c.Property(name)
		if !ok {
			out = append(out, Violation{key, fmt.Sprintf("property %q is not known", name)})
			continue
		}
		if name == PigmentFraction && qualifier == "" {
			qualifier = colourIndex
		}
		if why := d.CheckValue(qualifier, v); why != "" {
			out = append(out, Violation{key, why})
		}
	}
	if len(out) == 0 {
		out = s.checkAmounts()
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Key < out[j].Key })
	return out
}

// rounding is what a certificate's rounded figures may add to in excess of 1.
const rounding = 0.001

// checkAmounts compares amounts with each other: water and exempt solvent are
// part of what is volatile, and what a kg holds can't be more than a kg.
func (s Set) checkAmounts() []Violation {
	var out []Violation
	volatile, water, exempt := s[VolatileFraction], s[WaterFraction], s[ExemptFraction]
	if water+exempt > volatile+rounding {
		out = append(out, Violation{VolatileFraction, fmt.Sprintf(
			"volatile (%g) includes water (%g) and exempt solvent (%g): it can't be less than their sum", volatile, water, exempt)})
	}
	held := s.Sum(PigmentFraction) + s[BinderSolidsFraction] + volatile + s[WaxSolidsFraction]
	if held > 1+rounding {
		out = append(out, Violation{BinderSolidsFraction, fmt.Sprintf(
			"pigment, binder solids, wax solids and volatile add up to %g kg in 1 kg", held)})
	}
	if metal := s.Sum(MetalFraction); metal > 1 {
		out = append(out, Violation{MetalFraction, fmt.Sprintf("the metals add up to %g kg in 1 kg", metal)})
	}
	if r, ok := s[RetainedFraction]; ok && held > r+rounding {
		out = append(out, Violation{RetainedFraction, fmt.Sprintf(
			"%g kg stays in the ink, but its parts add up to %g: give amounts that reach the ink", r, held)})
	}
	return out
}

// Err joins violations into one error, nil when there are none.
func Err(vs []Violation) error {
	var out []error
	for _, v := range vs {
		out = append(out, errors.New(v.Key+": "+v.Problem))
	}
	return errors.Join(out...)
}
