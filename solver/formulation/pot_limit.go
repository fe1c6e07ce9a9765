package formulation

import (
	"maps"
	"slices"

	"millbase/inventory/property"
)

// ofLimit takes the measured value of a limit as that of the one property that
// it says most about; the others it is worked out from are taken as known.
func (m *measuring) ofLimit(test string, t *term, value float64) {
	s := m.pot.whole.Properties
	if !(value >= 0 || t.limit.Kind == Blended && value <= 0) {
		m.bad(test, "must be a number of at least 0")
		return
	}
	switch t.limit.Kind {
	case Blended:
		m.set(test, t.limit.Property, value)
	case PigmentLoading:
		m.loading(test, t, value)
	case VOCMass:
		m.set(test, property.VolatileFraction, value+s[property.WaterFraction]+s[property.ExemptFraction])
	case VOCContent:
		one := t.oneOf(&m.pot.whole)
		if _, litres, missing := vocContent(&one, t.water); missing != "" {
			m.bad(test, "the %s of the pot is needed to work it in: test that as well", missing)
		} else {
			m.set(test, property.VolatileFraction, value*litres/1000+s[property.WaterFraction]+s[property.ExemptFraction])
		}
	case MetalOnBinder:
		m.set(test, t.key, value/100*s[property.BinderSolidsFraction])
	case WaxSolids:
		m.set(test, property.WaxSolidsFraction, value)
	case WettingDemand:
		dry := s.Sum(property.PigmentFraction)
		if dry == 0 {
			m.bad(test, "there is no pigment in the pot that could take up oil")
			return
		}
		m.set(test, property.OilAbsorptionGPer100G, 100*value*s[property.WettingVehicleFraction]/dry)
	default:
		m.bad(test, "it follows from what was weighed in and can't be measured; correct the masses of the pot instead")
	}
}

// loading takes a measured pigment loading: as tint strength where the limit
// counts by strength, else as the amount.
func (m *measuring) loading(test string, t *term, value float64) {
	known := 0.0
	for i := range m.pot.components {
		one := t.oneOf(&m.pot.components[i])
		known += m.pot.kg[i] / m.pot.kgStays * t.pigment(&one)
	}
	if known == 0 {
		m.bad(test, "there is no such pigment in the pot")
		return
	}
	if t.limit.ByStrength {
		before, ok := m.pot.whole.Properties[property.TintStrengthFraction]
		if !ok {
			before = 1
		}
		m.set(test, property.TintStrengthFraction, before*value/known)
		return
	}
	if t.limit.ColourIndex == "" {
		m.pigment(test, value)
		return
	}
	m.set(test, t.key, value)
}

// pigment takes measured dry pigment of every kind.
func (m *measuring) pigment(test string, value float64) {
	s := m.pot.whole.Properties
	known := s.Sum(property.PigmentFraction)
	if known == 0 {
		m.bad(test, "there is no pigment in the pot by what went in: correct its components")
		return
	}
	for _, key := range slices.Sorted(maps.Keys(s)) {
		if name, _ := property.SplitKey(key); name == property.PigmentFraction {
			m.set(test, key, s[key]*value/known)
		}
	}
}

// oneOf are the facts of a candidate.
func (t *term) oneOf(c *Candidate) facts {
	w := wants{dry: true, voc: true, binder: true}
	return w.of(c)
}

// inPot is the numerator and denominator of the term for the whole pot per kg of
// what is in it. missing says what would have to be measured.
func (p *pot) inPot(t *term) (num, den float64, missing string) {
	if p.readsMeasured(t) {
		one := t.oneOf(&p.whole)
		return t.at(&one)
	}
	for i := range p.components {
		one := t.oneOf(&p.components[i])
		n, d, miss := t.at(&one)
		if miss != "" {
			return 0, 0, miss
		}
		num += p.kg[i] / p.kgStays * n
		den += p.kg[i] / p.kgStays * d
	}
	return num, den, ""
}
