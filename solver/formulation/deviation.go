package formulation

import (
	"maps"
	"math"
	"slices"

	"millbase/inventory/property"
)

// moments are variances and covariance of the numerator and the denominator of a
// limit, per kg of one candidate.
type moments struct{ num, both, den float64 }

// deviation is the standard deviation of num - ratio*den.
func (m moments) deviation(ratio float64) float64 {
	return math.Sqrt(max(0, m.num-2*ratio*m.both+ratio*ratio*m.den))
}

func (m *moments) add(num, den float64) {
	m.num, m.both, m.den = m.num+num*num, m.both+num*den, m.den+den*den
}

// slopeStep is the part of a standard deviation over which a slope is taken.
const slopeStep = 1e-4

// slope is by how much a function changes for one standard deviation, from its
// values a step below, at and a step above the nominal value. Where the two sides
// differ, at a kink, it is the larger of the two.
func slope(below, at, above float64) float64 {
	down, up := at-below, above-at
	if math.Abs(up-down) <= 0.01*(math.Abs(up)+math.Abs(down)) {
		return (up + down) / (2 * slopeStep)
	}
	if math.Abs(down) > math.Abs(up) {
		up = down
	}
	return up / slopeStep
}

// shifted is a copy of s with the value of one key moved. A key without a value
// starts from its default.
func shifted(s property.Set, key string, by float64, c Catalogue) property.Set {
	out := maps.Clone(s)
	if out == nil {
		out = property.Set{}
	}
	if _, ok := out[key]; !ok {
		name, _ := property.SplitKey(key)
		if d, known := c.Property(name); known && d.Default != nil {
			out[key] = *d.Default
		}
	}
	out[key] += by
	return out
}

// uncertain lists the keys of a candidate that have a deviation, in order.
func (c *Candidate) uncertain() []string {
	var keys []string
	for k, v := range c.Deviation {
		if v > 0 {
			keys = append(keys, k)
		}
	}
	slices.Sort(keys)
	return keys
}

// moments are those of a term for one candidate, to first order (the delta
// method): properties vary independently, and each moves numerator and
// denominator by its slope at the nominal value. So both the pigment and its tint
// strength count where a limit is on their product, and a viscosity deviates by
// the slope of its blending index.
func (t *term) moments(c *Candidate, w *wants, catalogue Catalogue) moments {
	var m moments
	for _, key := range c.uncertain() {
		var num, den [3]float64
		missing := ""
		for i, by := range [...]float64{-slopeStep, 0, slopeStep} {
			moved := *c
			moved.Properties = shifted(c.Properties, key, by*c.Deviation[key], catalogue)
			of := w.of(&moved)
			if num[i], den[i], missing = t.at(&of); missing != "" {
				break
			}
		}
		if missing == "" {
			m.add(slope(num[0], num[1], num[2]), slope(den[0], den[1], den[2]))
		}
	}
	return m
}
