package matchtest

import (
	"math"
	"slices"

	"millbase/inventory/property"
	"millbase/solver/colour"
	"millbase/solver/match"
)

// Grid's fineness: values per base of the first grid over everything, and of each
// finer one around the most promising mixtures of the one before.
const (
	coarse   = 25
	fine     = 9
	levels   = 15
	hopeful  = 14
	narrower = 0.7
)

// mixture is a point of the grid.
type mixture struct {
	shares [3]float64
	cost   float64
	de     float64
}

// CheapestOnGrid tries every mixture of three bases in the transparent one, on a
// grid that is finer where little is mixed in, and on ever finer grids around the
// best. It is what a match is held against: it shares nothing with it, and works
// limits (those of Problem, in their order), cost and colour out on its own. The first three candidates of p are the
// bases, the fourth is transparent. ok is false when no mixture of the grid comes
// within the tolerance.
func CheapestOnGrid(p *match.Problem) (costPerKg float64, shares []float64, ok bool) {
	g := grid{p: p, target: p.Target.Curve.Seen(p.Viewing), weights: colour.WeightsFor(p.Viewing, p.Substrate)}
	var first []mixture
	var at [3]float64
	for a := range coarse {
		for b := range coarse {
			for c := range coarse {
				for i, v := range [...]int{a, b, c} {
					x := float64(v) / (coarse - 1)
					at[i] = x * x
				}
				if m, in := g.look(at); in {
					first = append(first, m)
				}
			}
		}
	}
	near := g.best(first)
	step := 1.0 / coarse
	for range levels {
		next := slices.Clone(near)
		for i := range near {
			next = g.around(near[i].shares, step, next)
		}
		near = g.best(next)
		step *= narrower
	}
	if len(near) == 0 || near[0].de > p.Tolerance {
		return 0, nil, false
	}
	m := near[0]
	return m.cost, []float64{m.shares[0], m.shares[1], m.shares[2], 1 - m.shares[0] - m.shares[1] - m.shares[2]}, true
}

type grid struct {
	p       *match.Problem
	target  colour.Lab
	weights *colour.Weights
}

// around adds the mixtures of a finer grid around one: step in the square root of
// each share to either side.
func (g *grid) around(middle [3]float64, step float64, to []mixture) []mixture {
	var at [3]float64
	for a := range fine {
		for b := range fine {
			for c := range fine {
				for i, v := range [...]int{a, b, c} {
					root := max(0, math.Sqrt(middle[i])+step*(2*float64(v)/(fine-1)-1))
					at[i] = root * root
				}
				if m, in := g.look(at); in {
					to = append(to, m)
				}
			}
		}
	}
	return to
}

// best are the most promising mixtures: the cheapest within the tolerance, then
// the nearest beyond it, no two of them alike.
func (g *grid) best(of []mixture) []mixture {
	slices.SortFunc(of, func(a, b mixture) int {
		inA, inB := a.de <= g.p.Tolerance, b.de <= g.p.Tolerance
		switch {
		case inA != inB && inA, inA && inB && a.cost < b.cost, !inA && !inB && a.de < b.de:
			return -1
		case a == b:
			return 0
		}
		return 1
	})
	of = slices.Compact(of)
	return of[:min(len(of), hopeful)]
}

// look works a mixture out; in is false where it breaks a limit.
func (g *grid) look(shares [3]float64) (m mixture, in bool) {
	rest := 1 - shares[0] - shares[1] - shares[2]
	if rest < 0 {
		return m, false
	}
	m.shares = shares
	var tack, voc, pigment, volume float64
	var units [][]float64
	for i, x := range [...]float64{shares[0], shares[1], shares[2], rest} {
		c := &g.p.Blend.Candidates[i]
		m.cost += x * c.CostPerKg
		tack += x * c.Properties[property.TackUnits]
		voc += x * c.Properties[property.VolatileFraction]
		pigment += x * c.Properties[property.PigmentFraction]
		volume += x / c.Properties[property.DensityKgPerL]
		if i < 3 {
			units = append(units, g.p.Colourants[i].K)
		}
	}
	value := [...]float64{tack, voc, pigment, 1 / volume}
	for i := range g.p.Blend.Limits {
		l := &g.p.Blend.Limits[i]
		if v := value[i]; l.Lower != nil && v < *l.Lower || l.Upper != nil && v > *l.Upper {
			return m, false
		}
	}
	print := colour.Film(g.p.Substrate, units, shares[:], g.p.Surface)
	m.de = colour.Difference2000(g.target, g.weights.XYZ(print).Lab(g.weights.White()))
	return m, true
}
