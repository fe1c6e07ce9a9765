package formulation

import (
	"fmt"
	"maps"
	"slices"
	"sort"
	"strings"

	"millbase/inventory/mass"
	"millbase/inventory/property"
)

// Pot is an ink as it stands in the pot: what went in, and what was measured on
// it.
type Pot struct {
	// Components went in. Neither their price nor their stock matters.
	Components []Candidate
	Masses     []mass.Mass // as weighed in, one per component
	// Tests are measured values by property key ("tack_units",
	// "metal_fraction/cobalt"), or by the id of a limit in the limit's unit. A test
	// takes the place of what the components say; tint strength scales that of
	// every pigment in the pot.
	Tests map[string]float64
}

// pot is a Pot with its tests worked in.
type pot struct {
	components []Candidate // tint strength as measured
	kg         []float64
	// whole is the pot as one material, with what was measured on it; amounts per
	// kg are of what stayed.
	whole    Candidate
	kgStays  float64
	measured map[string]bool // property keys, but for tint strength
	// tested says of each limit that a test takes part in it.
	tested []bool
}

// reads reports whether the limit is worked out from the property.
func (t *term) reads(name string) bool {
	switch name {
	case property.PigmentFraction:
		return t.limit.Kind == PigmentLoading || t.limit.Kind == WettingDemand || t.basis == name || t.readsKey(name)
	case property.TintStrengthFraction:
		return t.limit.Kind == PigmentLoading && t.limit.ByStrength || t.readsKey(name)
	case property.VolatileFraction, property.WaterFraction, property.ExemptFraction:
		return t.limit.Kind == VOCMass || t.limit.Kind == VOCContent || t.basis == name || t.readsKey(name)
	case property.DensityKgPerL:
		return t.limit.Kind == VOCContent || t.basis == property.BasisVolume || t.readsKey(name)
	case property.ExemptDensityKgPerL:
		return t.limit.Kind == VOCContent || t.readsKey(name)
	case property.BinderSolidsFraction:
		return t.limit.Kind == MetalOnBinder || t.basis == name || t.readsKey(name)
	case property.OilAbsorptionGPer100G, property.WettingVehicleFraction:
		return t.limit.Kind == WettingDemand || t.basis == name || t.readsKey(name)
	}
	return t.basis == name || t.readsKey(name)
}

func (t *term) readsKey(name string) bool {
	own, _ := property.SplitKey(t.key)
	return own == name
}

// readsMeasured reports whether the limit is worked out from the pot as a whole:
// something that it reads was measured. Of a qualified property only the metal or
// pigment in question counts.
func (p *pot) readsMeasured(t *term) bool {
	for key := range p.measured {
		name, qualifier := property.SplitKey(key)
		if !t.reads(name) {
			continue
		}
		_, own := property.SplitKey(t.key)
		if own == "" || qualifier == "" || own == qualifier || t.basis == name {
			return true
		}
	}
	return false
}

// newPot works the tests in. Faults of tests are FieldErrors.
func newPot(of *Pot, limits []Limit, catalogue Catalogue, terms []term) (*pot, error) {
	p := &pot{components: slices.Clone(of.Components), measured: map[string]bool{}, tested: make([]bool, len(limits))}
	sets := make([]property.Set, len(p.components))
	for i := range p.components {
		kg := of.Masses[i].Kilograms()
		p.kg = append(p.kg, kg)
		p.kgStays += kg * p.components[i].Properties.Retained()
		sets[i] = named(&p.components[i])
	}
	p.whole = Candidate{ID: "pot", Title: "the pot", Properties: blendedSet(catalogue, sets, p.kg)}
	for i := range p.components {
		c := &p.components[i]
		p.whole.MadeOf = append(p.whole.MadeOf, Content{c.Material, c.Class, p.kg[i] / p.kgStays})
	}
	m := &measuring{pot: p, catalogue: catalogue, terms: terms, by: map[string]string{}}
	m.all(of.Tests)
	if len(m.errs) > 0 {
		return nil, m.errs
	}
	for i := range terms {
		strong := m.by[property.TintStrengthFraction] != "" && terms[i].reads(property.TintStrengthFraction)
		p.tested[i] = strong || p.readsMeasured(&terms[i])
	}
	return p, nil
}

// named are the properties of a candidate with its plain pigment fraction under
// its Colour Index name.
func named(c *Candidate) property.Set {
	dry, plain := c.Properties[property.PigmentFraction]
	if !plain || c.ColourIndex == "" {
		return c.Properties
	}
	s := maps.Clone(c.Properties)
	delete(s, property.PigmentFraction)
	s[property.Key(property.PigmentFraction, c.ColourIndex)] += dry
	return s
}

// blendedSet is every value of the blend of sets that can be worked out.
func blendedSet(catalogue Catalogue, sets []property.Set, kg []float64) property.Set {
	out := property.Set{}
	for _, s := range sets {
		for key := range s {
			name, qualifier := property.SplitKey(key)
			d, ok := catalogue.Property(name)
			if _, done := out[key]; done || !ok || name == property.RetainedFraction {
				continue
			}
			if qualifier == "" {
				d.Qualified = false // a pigment without a Colour Index name
			}
			if v, err := property.Blend(&d, qualifier, sets, kg); err == nil {
				out[key] = v
			}
		}
	}
	return out
}

// measuring puts tests into a pot.
type measuring struct {
	pot       *pot
	catalogue Catalogue
	terms     []term
	by        map[string]string // the test that gave a property, by its key
	errs      FieldErrors
}

func (m *measuring) bad(test, problem string, args ...any) {
	m.errs = append(m.errs, FieldError{"tests[" + test + "]", fmt.Sprintf(problem, args...)})
}

// all takes the tests, by the id of a limit or by a property key: properties
// first, because what a limit says is worked out with them.
func (m *measuring) all(tests map[string]float64) {
	const first, last = 0, 2
	for pass := first; pass <= last; pass++ {
		for _, name := range slices.Sorted(maps.Keys(tests)) {
			t, of := m.term(name), 0
			if t != nil {
				if of = 1; t.limit.Kind != Blended {
					of = last
				}
			}
			switch {
			case of != pass:
			case t != nil:
				m.ofLimit(name, t, tests[name])
			case name == property.PigmentFraction:
				m.pigment(name, tests[name])
			default:
				m.set(name, name, tests[name])
			}
		}
	}
}

// term is the limit with the id; nil when there is none.
func (m *measuring) term(id string) *term {
	for i := range m.terms {
		if m.terms[i].limit.ID == id {
			return &m.terms[i]
		}
	}
	return nil
}

// set takes a measured property.
func (m *measuring) set(test, key string, value float64) {
	name, qualifier := property.SplitKey(key)
	d, ok := m.catalogue.Property(name)
	if !ok {
		m.bad(test, "%q is neither a limit nor a property: test one of the limits (%s) or a property of the catalogue", test, m.limitIDs())
		return
	}
	if key == property.PigmentFraction {
		d.Qualified = false // a pigment without a Colour Index name
	}
	if why := d.CheckValue(qualifier, value); why != "" {
		m.bad(test, "%s", why)
		return
	}
	if earlier := m.by[key]; earlier != "" {
		m.bad(test, "it gives the same %s as the test %q: give one of the two", d.Title, earlier)
		return
	}
	m.by[key] = test
	if key == property.TintStrengthFraction {
		m.strength(test, value)
		return
	}
	m.pot.whole.Properties[key] = value
	m.pot.measured[key] = true
}

func (m *measuring) limitIDs() string {
	var ids []string
	for i := range m.terms {
		ids = append(ids, m.terms[i].limit.ID)
	}
	sort.Strings(ids)
	return strings.Join(ids[:min(len(ids), 20)], ", ")
}

// strength scales the tint strength of every pigment so that the pot has the
// measured one.
func (m *measuring) strength(test string, value float64) {
	before, ok := m.pot.whole.Properties[property.TintStrengthFraction]
	if !ok {
		if m.pot.whole.Properties.Sum(property.PigmentFraction) == 0 {
			m.bad(test, "there is no pigment in the pot that could have a tint strength")
			return
		}
		before = 1 // no certificate: of standard strength
	}
	m.pot.whole.Properties[property.TintStrengthFraction] = value
	for i := range m.pot.components {
		c := &m.pot.components[i]
		if c.Properties.Sum(property.PigmentFraction) == 0 {
			continue
		}
		own, ok := c.Properties[property.TintStrengthFraction]
		if !ok {
			own = 1
		}
		c.Properties = c.Properties.Merge(property.Set{property.TintStrengthFraction: own * value / before})
	}
}

// Whole is the pot as one material, with what was measured on it, and the mass that
// stays of it, kg. Its available mass and price are 0. Errors are FieldErrors.
func (p *CorrectionProblem) Whole() (whole Candidate, stays float64, err error) {
	if err := p.Validate(); err != nil {
		return whole, 0, err
	}
	terms := make([]term, len(p.Limits))
	for i := range terms {
		terms[i] = newTerm(&p.Limits[i], &Problem{Limits: p.Limits, Catalogue: p.Catalogue, Settings: p.Settings})
	}
	of, err := newPot(&p.Pot, p.Limits, p.Catalogue, terms)
	if err != nil {
		return whole, 0, err
	}
	return of.whole, of.kgStays, nil
}
