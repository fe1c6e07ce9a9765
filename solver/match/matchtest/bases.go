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

// Base is an invented base ink.
type Base struct {
	Name  string
	Price float64 // per kg
	bands []band
}

// band is an absorption band: its height in K/S of the full-strength print, its
// middle and width, nm.
type band struct{ height, middle, width float64 }

// Bases are the twelve base inks; the last is transparent.
var Bases = []Base{
	{"yellow PY13", 6.2, []band{{9, 415, 42}, {5, 455, 22}}},
	{"yellow PY83", 8.4, []band{{9, 420, 44}, {6, 470, 22}}},
	{"orange PO34", 7.6, []band{{8, 430, 45}, {8, 500, 28}}},
	{"red PR48:2", 7.1, []band{{4, 430, 40}, {9, 525, 38}, {4, 560, 18}}},
	{"bluish red PR57:1", 7.0, []band{{2.5, 410, 35}, {9, 540, 34}, {5, 572, 14}}},
	{"magenta PR122", 13.5, []band{{1.2, 400, 30}, {8, 545, 30}, {4, 568, 12}}},
	{"violet PV23", 15.8, []band{{1.0, 390, 25}, {9, 560, 45}, {6, 610, 25}}},
	{"blue PB15:3", 6.6, []band{{0.6, 380, 25}, {9, 620, 48}, {6, 690, 45}}},
	{"green PG7", 8.9, []band{{3, 395, 40}, {8, 640, 50}, {5, 715, 50}}},
	{"black PBk7", 4.1, []band{{9, 560, 900}}},
	{"grey PW6 and PBk7", 4.9, []band{{0.9, 560, 1200}}},
	{"transparent", 2.9, nil},
}

// Grid is 380 to 730 nm at 10 nm.
const points = 36

// K is the K/S that the full-strength base adds per wavelength; nil where it is
// transparent.
func (b *Base) K() []float64 {
	if b.bands == nil {
		return nil
	}
	out := make([]float64, points)
	for i := range out {
		nm := 380 + 10*float64(i)
		for _, a := range b.bands {
			d := (nm - a.middle) / a.width
			out[i] += a.height * math.Exp(-d*d/2)
		}
		out[i] += 0.01
	}
	return out
}

// Paper is an invented uncoated white paper.
func Paper() colour.Curve {
	c := colour.Curve{First: 380, Step: 10, Values: make([]float64, points)}
	for i := range c.Values {
		c.Values[i] = 0.86 - 0.25*math.Exp(-float64(i)/3)
	}
	return c
}

// Problem is a match of some bases (indices into Bases), 100 kg, with the limits of
// a sheetfed ink: a bound on total base, on tack and on drier, which a varnish and
// a drier paste complete.
func Problem(of []int, target colour.Curve) *match.Problem {
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
	p := &match.Problem{Blend: blend, Substrate: Paper(), Viewing: colour.Viewing{Illuminant: colour.D50}, Tolerance: 1}
	p.Target.Curve = &target
	for _, i := range of {
		b := &Bases[i]
		blend.Candidates = append(blend.Candidates, formulation.Candidate{ID: b.Name, Material: b.Name, Class: inventory.BaseInk,
			CostPerKg: b.Price, Available: -1, Properties: property.Set{property.TackUnits: 8 + 0.25*float64(i%6), property.VolatileFraction: 0.02 + 0.004*float64(i%5),
				property.DensityKgPerL: 1.02 + 0.03*float64(i%4), property.PigmentFraction: pigment(b)}})
		p.Colourants = append(p.Colourants, match.Colourant{K: b.K()})
	}
	return p
}

func pigment(b *Base) float64 {
	if b.bands == nil {
		return 0
	}
	return 0.26
}

// Target is the curve of a random mixture of two to four of the bases and the
// transparent one, and its shares.
func Target(r *rand.Rand, of []int) (colour.Curve, []float64) {
	shares := make([]float64, len(of))
	sum := 0.0
	for range 2 + r.IntN(3) {
		i := r.IntN(len(of))
		shares[i] += 0.03 + r.Float64()
		sum = 0
		for _, s := range shares {
			sum += s
		}
	}
	strength := 0.1 + 0.8*r.Float64()
	var units [][]float64
	var used []float64
	for i := range shares {
		shares[i] *= strength / sum
		if k := Bases[of[i]].K(); k != nil && shares[i] > 0 {
			units, used = append(units, k), append(used, shares[i])
		}
	}
	return colour.Film(Paper(), units, used, colour.Surface{}), shares
}
