package formulationtest

import (
	"fmt"
	"math"
	"math/rand/v2"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
)

// Problem makes an ink problem with the given numbers of candidates (at least
// 10) and limits (at least 1) that has an answer.
func Problem(seed uint64, candidates, limits int) *formulation.Problem {
	p, _ := Hidden(seed, candidates, limits)
	return p
}

// Hidden is Problem, with the masses in kg, per candidate, of a formula that
// meets every limit.
func Hidden(seed uint64, candidates, limits int) (*formulation.Problem, []float64) {
	m := maker{rand.New(rand.NewPCG(seed, 20))}
	p := &formulation.Problem{Quantity: 250 * mass.Kilogram, Catalogue: property.BuiltIn(), Currency: "EUR"}
	for j := range candidates {
		p.Candidates = append(p.Candidates, m.candidate(j))
	}
	kg := m.pot(p)
	m.limits(p, limits)
	reports, err := formulation.Evaluate(p, kg)
	if err != nil {
		panic(fmt.Sprintf("formulationtest: the problem is not valid: %v", err))
	}
	for i := range p.Limits {
		m.around(&p.Limits[i], reports[i].Value)
	}
	return p, kg
}

// Impossible is Problem with one limit moved to where no blend can meet it
// together with the others.
func Impossible(seed uint64, candidates, limits int) *formulation.Problem {
	p := Problem(seed, candidates, limits)
	m := maker{rand.New(rand.NewPCG(seed, 21))}
	l := &p.Limits[m.IntN(len(p.Limits))]
	switch l.Kind {
	case formulation.VOCMass, formulation.VOCContent, formulation.WettingDemand:
		*l.Upper *= 0.02
	case formulation.Blended:
		l.Upper, l.Lower = nil, upTo(3e5)
		if l.Property != property.ViscosityPaS {
			*l.Lower = 11
		}
		if l.Property == property.TackUnits {
			*l.Lower = 60
		}
	default:
		l.Upper, l.Lower = nil, upTo(101)
	}
	return p
}

func upTo(v float64) *float64 { return &v }

// pot is a formula of the usual proportions, and stock enough for it.
func (m maker) pot(p *formulation.Problem) []float64 {
	want := map[inventory.Class]float64{inventory.Pigment: 0.19, inventory.Varnish: 0.58, inventory.Oil: 0.09,
		inventory.Drier: 0.02, inventory.Wax: 0.04, inventory.WorkOff: 0.05, inventory.Additive: 0.03}
	kg := make([]float64, len(p.Candidates))
	weight := map[inventory.Class]float64{}
	for j := range kg {
		if m.IntN(3) > 0 || weight[p.Candidates[j].Class] == 0 {
			kg[j] = 0.2 + m.Float64()
			weight[p.Candidates[j].Class] += kg[j]
		}
	}
	total := 0.0
	for _, class := range inventory.Classes { // in a fixed order: the same sum to the last bit
		if weight[class] > 0 {
			total += want[class]
		}
	}
	for j := range kg {
		c := &p.Candidates[j]
		if kg[j] == 0 {
			continue
		}
		kg[j] *= p.Quantity.Kilograms() * want[c.Class] / (weight[c.Class] * total)
		if need := mass.RoundKilograms(kg[j], mass.RoundUp); c.Available >= 0 && c.Available < need {
			c.Available = need.RoundTo(mass.Gram, mass.RoundUp)
		}
	}
	return kg
}

// limits adds limits without meaningful bounds yet: those of every ink first,
// then single pigments and sets of materials.
func (m maker) limits(p *formulation.Problem, n int) {
	kinds := []formulation.Limit{
		{ID: "pigment", Kind: formulation.PigmentLoading, ByStrength: true},
		{ID: "voc", Kind: formulation.VOCContent},
		{ID: "cobalt", Kind: formulation.MetalOnBinder, Metal: "cobalt"},
		{ID: "tack", Kind: formulation.Blended, Property: property.TackUnits},
		{ID: "viscosity", Kind: formulation.Blended, Property: property.ViscosityPaS},
		{ID: "work-off", Kind: formulation.Share, Classes: []inventory.Class{inventory.WorkOff}},
		{ID: "wax", Kind: formulation.WaxSolids},
		{ID: "manganese", Kind: formulation.MetalOnBinder, Metal: "manganese"},
		{ID: "wetting", Kind: formulation.WettingDemand},
		{ID: "density", Kind: formulation.Blended, Property: property.DensityKgPerL},
		{ID: "drier", Kind: formulation.Share, Classes: []inventory.Class{inventory.Drier}},
		{ID: "voc-mass", Kind: formulation.VOCMass},
		{ID: "blue", Kind: formulation.PigmentLoading, ColourIndex: "PB15:3"},
		{ID: "oils", Kind: formulation.Share, Classes: []inventory.Class{inventory.Oil}},
		{ID: "viscosity-double-log", Kind: formulation.Blended, Property: property.ViscosityPaS, Index: property.DoubleLog},
		{ID: "calcium", Kind: formulation.MetalOnBinder, Metal: "calcium"},
	}
	for i := range n {
		l := formulation.Limit{ID: fmt.Sprintf("set-%d", i), Kind: formulation.Share}
		if i < len(kinds) {
			l = kinds[i]
		} else {
			for range 2 + m.IntN(4) {
				l.Materials = append(l.Materials, p.Candidates[m.IntN(len(p.Candidates))].Material)
			}
		}
		l.Title = l.ID
		l.Lower = upTo(1e-9) // until around gives it its bounds
		p.Limits = append(p.Limits, l)
	}
}

// around sets the bounds of a limit on both sides of v, rounded outward to three
// figures as a specification would have them.
func (m maker) around(l *formulation.Limit, v float64) {
	lower, upper := figures(v*(1-0.01-0.07*m.Float64()), math.Floor), figures(v*(1+0.01+0.07*m.Float64()), math.Ceil)
	l.Lower, l.Upper = &lower, &upper
	switch l.Kind {
	case formulation.VOCContent, formulation.VOCMass, formulation.WettingDemand:
		l.Lower = nil
	case formulation.Share:
		if m.IntN(2) == 0 {
			l.Lower = nil
		}
	case formulation.WaxSolids:
		l.Upper = nil
	case formulation.PigmentLoading:
		if l.ColourIndex == "" {
			l.Upper = nil
		}
	}
}

func figures(v float64, round func(float64) float64) float64 {
	if v == 0 {
		return 0
	}
	scale := math.Pow(10, 2-math.Floor(math.Log10(math.Abs(v))))
	return round(v*scale) / scale
}
