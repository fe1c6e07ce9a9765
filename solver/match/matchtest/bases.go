package matchtest

import (
	"math"
	"math/rand/v2"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/colour"
	"millbase/solver/formulation"
	"millbase/solver/match"
)

// Base is a base ink.
type Base struct {
	Name  string
	Price float64   // per kg
	K     []float64 // K/S that it adds to a print at full strength, per value of Grid; nil: transparent
}

// Grid is a curve of nothing from 380 to 730 nm at 10 nm.
func Grid() colour.Curve { return colour.Curve{First: 380, Step: 10, Values: make([]float64, 36)} }

// band is an absorption band: its height in K/S of the full-strength print, its
// middle and width, nm.
type band struct{ height, middle, width float64 }

// invented makes a base of absorption bands.
func invented(name string, price float64, bands ...band) Base {
	b := Base{Name: name, Price: price}
	if bands == nil {
		return b
	}
	b.K = Grid().Values
	for i := range b.K {
		nm := 380 + 10*float64(i)
		for _, a := range bands {
			d := (nm - a.middle) / a.width
			b.K[i] += a.height * math.Exp(-d*d/2)
		}
		b.K[i] += 0.01
	}
	return b
}

// Bases are the twelve invented base inks; the last is transparent.
var Bases = []Base{
	invented("yellow PY13", 6.2, band{9, 415, 42}, band{5, 455, 22}),
	invented("yellow PY83", 8.4, band{9, 420, 44}, band{6, 470, 22}),
	invented("orange PO34", 7.6, band{8, 430, 45}, band{8, 500, 28}),
	invented("red PR48:2", 7.1, band{4, 430, 40}, band{9, 525, 38}, band{4, 560, 18}),
	invented("bluish red PR57:1", 7.0, band{2.5, 410, 35}, band{9, 540, 34}, band{5, 572, 14}),
	invented("magenta PR122", 13.5, band{1.2, 400, 30}, band{8, 545, 30}, band{4, 568, 12}),
	invented("violet PV23", 15.8, band{1.0, 390, 25}, band{9, 560, 45}, band{6, 610, 25}),
	invented("blue PB15:3", 6.6, band{0.6, 380, 25}, band{9, 620, 48}, band{6, 690, 45}),
	invented("green PG7", 8.9, band{3, 395, 40}, band{8, 640, 50}, band{5, 715, 50}),
	invented("black PBk7", 4.1, band{9, 560, 900}),
	invented("grey PW6 and PBk7", 4.9, band{0.9, 560, 1200}),
	invented("transparent", 2.9),
}

// Pick is some of the Bases.
func Pick(of ...int) []Base {
	out := make([]Base, len(of))
	for i, k := range of {
		out[i] = Bases[k]
	}
	return out
}

// Paper is an invented uncoated white paper.
func Paper() colour.Curve {
	c := Grid()
	for i := range c.Values {
		c.Values[i] = 0.86 - 0.25*math.Exp(-float64(i)/3)
	}
	return c
}

// Properties of the base at place i of a problem, so that its four limits tell the
// bases apart.
func properties(i int, b *Base) property.Set {
	pigment := 0.0
	if b.K != nil {
		pigment = 0.26
	}
	return property.Set{property.TackUnits: 8 + 0.25*float64(i%6), property.VolatileFraction: 0.02 + 0.004*float64(i%5),
		property.DensityKgPerL: 1.02 + 0.03*float64(i%4), property.PigmentFraction: pigment}
}

// Problem is a match of 100 kg on a paper within 1.0 under D50/2, with four limits of a
// sheetfed ink: on tack, volatile organic compounds, pigment and density.
func Problem(bases []Base, paper, target colour.Curve) *match.Problem {
	catalogue, err := property.NewCatalogue()
	if err != nil {
		panic(err)
	}
	at := func(v float64) *float64 { return &v }
	blend := &formulation.Problem{Quantity: 100 * mass.Kilogram, Catalogue: catalogue, Currency: "EUR", Limits: []formulation.Limit{
		{ID: "tack", Kind: formulation.Blended, Property: property.TackUnits, Lower: at(7), Upper: at(11)},
		{ID: "voc", Kind: formulation.VOCMass, Upper: at(0.06)},
		{ID: "pigment", Kind: formulation.PigmentLoading, Upper: at(0.24)},
		{ID: "density", Kind: formulation.Blended, Property: property.DensityKgPerL, Upper: at(1.25)},
	}}
	p := &match.Problem{Blend: blend, Substrate: paper, Viewing: colour.Viewing{Illuminant: colour.D50}, Tolerance: 1}
	p.Target.Curve = &target
	for i := range bases {
		b := &bases[i]
		blend.Candidates = append(blend.Candidates, formulation.Candidate{ID: b.Name, Material: b.Name, Class: inventory.BaseInk,
			CostPerKg: b.Price, Available: -1, Properties: properties(i, b)})
		p.Colourants = append(p.Colourants, match.Colourant{K: b.K})
	}
	return p
}

// Target is the curve of a random mixture of one to four of the bases in the
// transparent one, and its shares. It meets the limits of Problem.
func Target(r *rand.Rand, bases []Base, paper colour.Curve) (colour.Curve, []float64) {
	var coloured []int
	for i := range bases {
		if bases[i].K != nil {
			coloured = append(coloured, i)
		}
	}
	shares := make([]float64, len(bases))
	sum := 0.0
	for range 2 + r.IntN(3) {
		v := 0.03 + r.Float64()
		shares[coloured[r.IntN(len(coloured))]] += v
		sum += v
	}
	strength := 0.1 + 0.8*r.Float64()
	for i := range shares {
		shares[i] *= strength / sum
	}
	return Print(bases, paper, shares), shares
}

// Print is the curve of a mixture of bases on a paper.
func Print(bases []Base, paper colour.Curve, shares []float64) colour.Curve {
	var units [][]float64
	var used []float64
	for i := range bases {
		if bases[i].K != nil && shares[i] > 0 {
			units, used = append(units, bases[i].K), append(used, shares[i])
		}
	}
	return colour.Film(paper, units, used, colour.Surface{})
}
