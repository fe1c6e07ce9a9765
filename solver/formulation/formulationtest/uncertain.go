package formulationtest

import (
	"maps"
	"math/rand/v2"
	"slices"

	"millbase/inventory/property"
	"millbase/solver/formulation"
)

// Uncertain gives most values of the candidates of p a standard deviation: up to
// 3 % of the value, or of what there could be of it.
func Uncertain(seed uint64, p *formulation.Problem) {
	m := maker{rand.New(rand.NewPCG(seed, 22))}
	for j := range p.Candidates {
		c := &p.Candidates[j]
		c.Deviation = property.Set{}
		for _, key := range slices.Sorted(maps.Keys(c.Properties)) {
			if v := c.Properties[key]; v > 0 && m.IntN(4) > 0 {
				c.Deviation[key] = v * m.between(0.002, 0.03)
			}
		}
	}
}

// Confident asks every limit of p, with one in four left as it is, to hold with a
// confidence, or under a budget.
func Confident(seed uint64, p *formulation.Problem, budget bool) {
	m := maker{rand.New(rand.NewPCG(seed, 23))}
	for i := range p.Limits {
		l := &p.Limits[i]
		if m.IntN(4) == 0 || l.Lower != nil && l.Upper != nil && *l.Lower == *l.Upper {
			continue
		}
		if budget {
			l.Budget, l.Spread = m.between(0.5, 4), m.between(0.5, 1)
		} else {
			l.Confidence = m.between(0.6, 0.95)
		}
	}
}
