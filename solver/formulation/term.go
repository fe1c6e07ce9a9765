package formulation

import (
	"math"

	"millbase/inventory/property"
)

// term is a limit made ready for the rows: its numerator and denominator per kg
// of candidate, and its bounds as bounds of the ratio of the two.
//
// The ratio t and the value of the limit are the same thing but for the blending
// index: t = f(value). Where f falls, the bounds change places.
type term struct {
	limit *Limit
	def   property.Definition // f; linear but for Blended limits
	key   string              // of the value that is looked up
	basis string              // property that the denominator is made of
	ofInk bool                // the denominator is the finished mass
	lower float64             // of t, -Inf for none
	upper float64             // of t, +Inf for none
	water float64             // density, kg/L
	perKg bool                // an amount per kg as weighed: see property.Definition
	named string              // qualifier of key
}

// facts are what several limits ask of one candidate, worked out once. Only what
// is wanted is worked out.
type facts struct {
	*Candidate
	stays  float64 // what of a kg stays in the ink
	dry    float64 // dry pigment of every kind
	voc    float64 // volatile less water and exempt
	binder float64 // binder solids
}

// wants says which facts the terms of a problem need.
type wants struct{ dry, voc, binder bool }

func (w *wants) add(t *term) {
	switch t.limit.Kind {
	case VOCMass, VOCContent:
		w.voc = true
	case MetalOnBinder:
		w.binder = true
	}
	w.dry = w.dry || t.wantsDry()
}

func (w *wants) of(c *Candidate) facts {
	f := facts{Candidate: c, stays: c.Properties.Retained()}
	if w.dry {
		f.dry = c.Properties.Sum(property.PigmentFraction)
	}
	if w.voc {
		f.voc = voc(c.Properties)
	}
	if w.binder {
		f.binder = c.Properties[property.BinderSolidsFraction]
	}
	return f
}

// wantsDry reports whether the term counts dry pigment of every kind.
func (t *term) wantsDry() bool {
	k := t.limit.Kind
	return k == WettingDemand || k == PigmentLoading && t.limit.ColourIndex == "" || t.basis == property.PigmentFraction
}

var linear = property.Definition{Index: property.Linear, Basis: property.BasisMass}

// newTerm prepares a limit that has passed validation.
func newTerm(l *Limit, p *Problem) term {
	t := term{limit: l, def: linear, ofInk: true, water: p.Settings.water()}
	switch l.Kind {
	case PigmentLoading:
		t.key = property.Key(property.PigmentFraction, l.ColourIndex)
	case MetalOnBinder:
		t.key, t.ofInk = property.Key(property.MetalFraction, l.Metal), false
	case VOCContent, WettingDemand:
		t.ofInk = false
	case WaxSolids:
		t.key = property.WaxSolidsFraction
	case Blended:
		t.def, _, _ = l.blended(p.Catalogue)
		t.key = l.Property
		t.ofInk = t.def.Basis == property.BasisMass
		t.basis, t.perKg = t.def.Basis, t.def.PerKgWeighed()
		_, t.named = property.SplitKey(l.Property)
	}
	t.lower, t.upper = t.ratios(l.Lower, l.Upper)
	return t
}

func (s *Settings) water() float64 {
	if s.WaterDensityKgPerL == 0 {
		return 0.997
	}
	return s.WaterDensityKgPerL
}

// ratios turns bounds of the value into bounds of the ratio.
func (t *term) ratios(lower, upper *float64) (lo, hi float64) {
	lo, hi = math.Inf(-1), math.Inf(1)
	if upper != nil {
		hi = t.def.Forward(*upper)
	}
	if lower != nil && *lower > t.def.Domain() {
		lo = t.def.Forward(*lower)
	}
	if t.def.Increasing() {
		return lo, hi
	}
	if math.IsInf(lo, -1) {
		lo = math.Inf(1)
	}
	if math.IsInf(hi, 1) {
		hi = math.Inf(-1)
	}
	return hi, lo
}

// value is the value of the limit at ratio r, kept inside the domain of the
// index.
func (t *term) value(r float64) float64 {
	v := t.def.Inverse(r)
	switch {
	case t.def.Index == property.Linear:
		return v
	case t.def.Index == property.Reciprocal && r <= 0, t.def.Index == property.Power && t.def.Exponent < 0 && r <= 0:
		return math.Inf(1)
	case t.def.Index == property.Power && r < 0:
		return 0
	}
	return v
}

// at is the numerator and denominator per kg of a candidate. missing is the key of a value that would be needed and has neither
// a value nor a default.
func (t *term) at(c *facts) (num, den float64, missing string) {
	s, stays := c.Properties, c.stays
	switch t.limit.Kind {
	case PigmentLoading:
		return t.pigment(c), stays, ""
	case VOCMass:
		return c.voc, stays, ""
	case VOCContent:
		num, den, missing = vocContent(c, t.water)
		return num, den, missing
	case MetalOnBinder:
		return 100 * s[t.key], c.binder, ""
	case Share:
		return t.limit.counted(c.Candidate), stays, ""
	case WaxSolids:
		return s[t.key], stays, ""
	case WettingDemand:
		return wetting(c)
	}
	return t.blend(c)
}

func (t *term) pigment(c *facts) float64 {
	s := c.Properties
	var dry float64
	switch {
	case t.limit.ColourIndex == "":
		dry = c.dry
	case t.limit.ColourIndex == c.ColourIndex:
		dry = s[t.key] + s[property.PigmentFraction]
	default:
		dry = s[t.key]
	}
	if dry == 0 || !t.limit.ByStrength {
		return dry
	}
	if strength, ok := s[property.TintStrengthFraction]; ok {
		return dry * strength
	}
	return dry // of standard strength
}

// voc is volatile less water and exempt, kg per kg.
func voc(s property.Set) float64 {
	v := s[property.VolatileFraction]
	if v == 0 {
		return 0
	}
	return max(0, v-s[property.WaterFraction]-s[property.ExemptFraction])
}

// vocContent is 40 CFR 59.104(a)(1) for one kg: g of volatile organic compounds
// and L of volume, both less water and exempt compounds. What is all water has
// no volume left.
func vocContent(c *facts, water float64) (grams, litres float64, missing string) {
	s, stays := c.Properties, c.stays
	rho, ok := s[property.DensityKgPerL]
	if !ok {
		if stays == 0 {
			return 1000 * c.voc, 0, ""
		}
		return 0, 0, property.DensityKgPerL
	}
	litres = stays/rho - s[property.WaterFraction]/water
	if e := s[property.ExemptFraction]; e > 0 {
		of, ok := s[property.ExemptDensityKgPerL]
		if !ok {
			return 0, 0, property.ExemptDensityKgPerL
		}
		litres -= e / of
	}
	return 1000 * c.voc, max(0, litres), ""
}

// wetting is the kg of oil that the dry pigment of one kg takes up (oil
// absorption, ISO 787-5, is g of oil per 100 g of pigment) and the kg of wetting
// vehicle.
func wetting(c *facts) (taken, vehicle float64, missing string) {
	s := c.Properties
	vehicle = s[property.WettingVehicleFraction]
	if c.dry == 0 {
		return 0, vehicle, ""
	}
	oil, ok := s[property.OilAbsorptionGPer100G]
	if !ok {
		return 0, 0, property.OilAbsorptionGPer100G
	}
	return c.dry * oil / 100, vehicle, ""
}

// blend is the rule of package property, for one kg.
func (t *term) blend(c *facts) (num, den float64, missing string) {
	s, d := c.Properties, &t.def
	switch {
	case t.ofInk:
		den = c.stays
	case t.basis == property.BasisVolume:
		if c.stays == 0 {
			return 0, 0, ""
		}
		rho, ok := s[property.DensityKgPerL]
		if !ok {
			return 0, 0, property.DensityKgPerL
		}
		den = c.stays / rho
	case t.basis == property.PigmentFraction:
		den = c.dry
	default:
		den = s.Sum(t.basis)
	}
	if den == 0 && !t.perKg {
		return 0, 0, ""
	}
	v, ok := s[t.key]
	if !ok {
		if v, ok = d.ValueIn(s, t.named); !ok {
			return 0, 0, t.key
		}
	}
	if t.perKg {
		return v, den, ""
	}
	if d.Index == property.Linear {
		return den * v, den, ""
	}
	return den * d.Forward(v), den, ""
}
