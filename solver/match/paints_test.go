package match_test

import (
	"context"
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/colour"
	"millbase/solver/engines"
	"millbase/solver/formulation"
	"millbase/solver/match"
)

// paints are the measured absorption and scattering of 19 artists' paints: R. S.
// Berns, Artist Paint Spectral Database, 2016. Two of them are left out: their
// reflectance is so low in parts that K and S are mostly noise.
func paints(t testing.TB) (names []string, of map[string]match.Colourant, grid colour.Curve) {
	t.Helper()
	f, err := os.Open("testdata/artist_paint_ks_19.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	first, _ := strconv.Atoi(rows[0][3])
	grid = colour.Curve{First: first, Step: 10, Values: make([]float64, 36)} // to 730 nm
	for i := range grid.Values {
		grid.Values[i] = 0.5
	}
	of = map[string]match.Colourant{}
	for _, row := range rows[1:] {
		values := make([]float64, len(grid.Values))
		for i := range values {
			if values[i], err = strconv.ParseFloat(row[3+i], 64); err != nil {
				t.Fatal(err)
			}
		}
		c := of[row[0]]
		if row[2] == "K" {
			c.K = values
		} else {
			c.S = values
		}
		of[row[0]] = c
	}
	for name := range of {
		if name != "PyrroleOrange" && name != "DioxazinePurple" {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names, of, grid
}

// catalogue is the built-in one.
var catalogue = func() *property.Catalogue {
	c, err := property.NewCatalogue()
	if err != nil {
		panic(err)
	}
	return c
}()

// surface is the usual one of a paint film, measured with the gloss excluded.
var surface = colour.Surface{K1: 0.03, K2: 0.6}

// mixture is a problem of some paints, and the curve of a recipe of them as its
// target.
func mixture(names []string, of map[string]match.Colourant, grid colour.Curve, recipe []float64) *match.Problem {
	p := &match.Problem{Mode: match.Opaque, Substrate: grid, Surface: surface,
		Viewing: colour.Viewing{Illuminant: colour.D65, Observer: colour.TenDegree}, Tolerance: 1,
		Blend: &formulation.Problem{Quantity: 100 * mass.Kilogram, Catalogue: catalogue, Currency: "EUR"}}
	var optics []colour.Optics
	for i, name := range names {
		p.Blend.Candidates = append(p.Blend.Candidates, formulation.Candidate{ID: name, Material: name, Available: -1, CostPerKg: float64(3 + (i*7)%11)})
		p.Colourants = append(p.Colourants, of[name])
		optics = append(optics, colour.Optics{K: of[name].K, S: of[name].S})
	}
	target := colour.Opaque(grid, optics, recipe, surface)
	p.Target.Curve = &target
	return p
}

func TestRecipesOfMeasuredPaintsAreRecovered(t *testing.T) {
	names, of, grid := paints(t)
	r := rand.New(rand.NewPCG(1, 2))
	engine := engines.New()
	worst, worstDE := 0.0, 0.0
	for range 60 {
		r.Shuffle(len(names), func(i, j int) { names[i], names[j] = names[j], names[i] })
		five := names[:5]
		recipe, sum := make([]float64, 5), 0.0
		for i := range recipe {
			recipe[i] = 0.05 + r.Float64()
			sum += recipe[i]
		}
		for i := range recipe {
			recipe[i] /= sum
		}
		p := mixture(five, of, grid, recipe)
		got, err := match.Match(context.Background(), engine, p, match.Want{Kinds: []match.Kind{match.Closest}})
		if err != nil {
			t.Fatalf("%v %v: %v", five, recipe, err)
		}
		if got.Outcome != match.Matched {
			t.Fatalf("%v %v: outcome %d, %+v", five, recipe, got.Outcome, got.Reach)
		}
		o := got.Offers[0]
		found := make([]float64, 5)
		for _, c := range o.Answer.Components {
			found[c.Candidate] = c.Mass.Kilograms() / 100
		}
		for i := range found {
			worst = max(worst, math.Abs(found[i]-recipe[i]))
		}
		worstDE = max(worstDE, o.DE00)
		if o.DE00 >= 0.05 {
			t.Errorf("%v %v: found %v, %.3f away", five, recipe, found, o.DE00)
		}
		for i := range found {
			if math.Abs(found[i]-recipe[i]) >= 0.001 {
				t.Errorf("%v: %s is %.4f in the recipe, found %.4f", five, five[i], recipe[i], found[i])
			}
		}
	}
	t.Logf("off by at most %.4f percentage points, %.5f in CIEDE2000", 100*worst, worstDE)
}
