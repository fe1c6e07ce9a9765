package formulation

import (
	"errors"
	"fmt"
	"math"

	"millbase/inventory/property"
)

// tolerance is the part of a limit by which a value may be beyond it and still
// count as met: less than any test or scale can tell.
const tolerance = 1e-5

// Evaluate works out every limit of p for a given blend: actual weights of a
// batch, a version of a formula. kg[j] is the mass of p.Candidates[j]; only the
// proportions matter, neither stock nor quantity. It shares no code with the
// rows that Optimise solves, and Optimise checks its answers with it.
//
// A limit is met when its value is within the bounds to one part in 100,000 of
// the larger bound. The reports carry no prices. Errors are FieldErrors: p is not
// valid, or kg is not one finite, non-negative mass per candidate.
func Evaluate(p *Problem, kg []float64) ([]LimitReport, error) {
	v := validator{p: p}
	if p.Catalogue == nil {
		return nil, FieldErrors{{"catalogue", "give the catalogue of properties"}}
	}
	v.limits()
	v.candidates()
	if len(kg) != len(p.Candidates) {
		v.add(fmt.Sprintf("give one mass for each of the %d candidates", len(p.Candidates)), "kg")
	}
	for j, m := range kg {
		if !(m >= 0 && m <= 1e9) {
			v.add("must be from 0 to 1e9 kg", "kg[%d]", j)
		}
	}
	if len(v.errs) > 0 {
		return nil, v.errs
	}
	used := make([]int, 0, 32)
	for j, m := range kg {
		if m > 0 {
			used = append(used, j)
		}
	}
	terms := make([]term, len(p.Limits))
	for i := range terms {
		if l := &p.Limits[i]; l.Kind == Blended {
			terms[i].def, _, _ = l.blended(p.Catalogue)
		}
	}
	return evaluate(p, terms, newBlend(p, used, func(j int) float64 { return kg[j] })), nil
}

// blend is what is in the pot.
type blend struct {
	of     []*Candidate
	sets   []property.Set
	kg     []float64
	stays  float64 // kg that stays in the ink, the finished mass
	stayed []float64
}

func newBlend(p *Problem, used []int, kg func(candidate int) float64) *blend {
	n := len(used)
	b := &blend{of: make([]*Candidate, n), sets: make([]property.Set, n), kg: make([]float64, 2*n)}
	b.kg, b.stayed = b.kg[:n:n], b.kg[n:]
	for k, j := range used {
		b.of[k], b.sets[k], b.kg[k] = &p.Candidates[j], p.Candidates[j].Properties, kg(j)
		b.stayed[k] = b.kg[k] * b.sets[k].Retained()
		b.stays += b.stayed[k]
	}
	return b
}

// evaluate works out every limit; of the terms it uses the definition of what is
// blended, nothing else.
func evaluate(p *Problem, terms []term, b *blend) []LimitReport {
	out := make([]LimitReport, len(p.Limits))
	for i := range p.Limits {
		out[i] = b.report(p, i, &terms[i].def)
	}
	return out
}

// report works out one limit.
func (b *blend) report(p *Problem, i int, d *property.Definition) LimitReport {
	r := b.value(&p.Limits[i], p, d)
	r.Limit = i
	return r
}

// value works out what a limit is on, and how far it is from the bounds.
func (b *blend) value(l *Limit, p *Problem, d *property.Definition) LimitReport {
	var r LimitReport
	num, den, err := b.totals(l, p, d)
	if err == nil && den == 0 {
		err = property.ErrNothingCounts
	}
	var missing *property.MissingError
	switch {
	case errors.As(err, &missing):
		r.Why = fmt.Sprintf("%s has no %s", b.of[missing.Component].Name(), missing.Key)
		return r
	case err != nil && num == 0:
		r.Met = true
		r.Why = "nothing in the blend counts towards it"
		return r
	case err != nil:
		r.Value = math.Inf(1)
		r.Met = l.Upper == nil
		r.Why = "there is nothing in the blend to relate it to"
		return r
	}
	r.Value = d.Inverse(num / den)
	r.Met, r.Slack = within(l, r.Value)
	switch {
	case !l.guarded():
	case b.deviates():
		b.doubt(&r, l, p, d)
	case r.Met:
		r.Confidence = 1
	}
	return r
}

// within reports whether v is within the bounds of l, and the distance to the
// nearer one (negative when it is beyond).
func within(l *Limit, v float64) (met bool, slack float64) {
	slack = math.Inf(1)
	allowed := tolerance * l.size()
	met = !math.IsNaN(v)
	if l.Lower != nil {
		slack = v - *l.Lower
		met = met && slack >= -allowed
	}
	if l.Upper != nil {
		slack = min(slack, *l.Upper-v)
		met = met && *l.Upper-v >= -allowed
	}
	return met, slack
}

// size is the size of the limit: its larger bound, 1 where that is 0.
func (l *Limit) size() float64 {
	s := 0.0
	if l.Lower != nil {
		s = math.Abs(*l.Lower)
	}
	if l.Upper != nil {
		s = max(s, math.Abs(*l.Upper))
	}
	if s == 0 {
		return 1
	}
	return s
}

// totals are numerator and denominator of a limit over the whole blend; the value
// is their ratio, of which a Blended limit takes the inverse of its index.
func (b *blend) totals(l *Limit, p *Problem, d *property.Definition) (num, den float64, err error) {
	switch l.Kind {
	case PigmentLoading:
		return b.sum(func(k int) float64 { return b.dryPigment(k, l) }), b.stays, nil
	case VOCMass:
		return b.sum(func(k int) float64 { return voc(b.sets[k]) }), b.stays, nil
	case VOCContent:
		return b.vocTotals(p)
	case MetalOnBinder:
		metal := property.Key(property.MetalFraction, l.Metal)
		return 100 * b.sumOf(metal), b.sumOf(property.BinderSolidsFraction), nil
	case Share:
		return b.sum(func(k int) float64 { return l.counted(b.of[k]) }), b.stays, nil
	case WaxSolids:
		return b.sumOf(property.WaxSolidsFraction), b.stays, nil
	case WettingDemand:
		return b.wettingTotals()
	}
	_, qualifier := property.SplitKey(l.Property)
	return property.Totals(d, qualifier, b.sets, b.kg)
}

func (b *blend) sum(per func(k int) float64) float64 {
	total := 0.0
	for k, kg := range b.kg {
		total += kg * per(k)
	}
	return total
}

func (b *blend) sumOf(key string) float64 {
	total := 0.0
	for k, kg := range b.kg {
		total += kg * b.sets[k][key]
	}
	return total
}

func (b *blend) dryPigment(k int, l *Limit) float64 {
	s, strength := b.sets[k], 1.0
	if v, ok := s[property.TintStrengthFraction]; ok && l.ByStrength {
		strength = v
	}
	if l.ColourIndex == "" {
		return strength * s.Sum(property.PigmentFraction)
	}
	dry := s[property.Key(property.PigmentFraction, l.ColourIndex)]
	if b.of[k].ColourIndex == l.ColourIndex {
		dry += s[property.PigmentFraction]
	}
	return strength * dry
}

// vocTotals is (Wv-Ww-Wec) in g and (V-Vw-Vec) in L. A component counts for no
// less than nothing: the density of a water lot and that in the rule differ in
// the third figure.
func (b *blend) vocTotals(p *Problem) (grams, litres float64, err error) {
	water := p.Settings.water()
	for k, s := range b.sets {
		if voc := s[property.VolatileFraction] - s[property.WaterFraction] - s[property.ExemptFraction]; voc > 0 {
			grams += 1000 * b.kg[k] * voc
		}
		if b.stayed[k] == 0 {
			continue
		}
		rho, ok := s[property.DensityKgPerL]
		if !ok {
			return 0, 0, &property.MissingError{Component: k, Key: property.DensityKgPerL}
		}
		v := b.stayed[k]/rho - b.kg[k]*s[property.WaterFraction]/water
		if e := s[property.ExemptFraction]; e > 0 {
			of, ok := s[property.ExemptDensityKgPerL]
			if !ok {
				return 0, 0, &property.MissingError{Component: k, Key: property.ExemptDensityKgPerL}
			}
			v -= b.kg[k] * e / of
		}
		litres += max(0, v)
	}
	return grams, litres, nil
}

func (b *blend) wettingTotals() (taken, vehicle float64, err error) {
	for k, s := range b.sets {
		vehicle += b.kg[k] * s[property.WettingVehicleFraction]
		dry := s.Sum(property.PigmentFraction)
		if dry == 0 {
			continue
		}
		oil, ok := s[property.OilAbsorptionGPer100G]
		if !ok {
			return 0, 0, &property.MissingError{Component: k, Key: property.OilAbsorptionGPer100G}
		}
		taken += b.kg[k] * dry * oil / 100
	}
	return taken, vehicle, nil
}
