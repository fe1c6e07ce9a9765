package property

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.10g, want %.10g", what, got, want)
	}
}

func definition(t *testing.T, name string) Definition {
	t.Helper()
	d, ok := BuiltIn().Property(name)
	if !ok {
		t.Fatalf("no built-in property %s", name)
	}
	return d
}

// 5 and 20 cSt at 60:40 by mass. Refutas: index 14.534 ln ln(v+0.8) + 10.975,
// whose constants cancel in the blend; ASTM D341 double log with 0.7; Arrhenius.
// The results were computed with an independent tool.
func TestViscosityBlends(t *testing.T) {
	sets := []Set{{KinematicViscosityMm2PerS: 5}, {KinematicViscosityMm2PerS: 20}}
	kg := []float64{0.6, 0.4}
	astm := definition(t, KinematicViscosityMm2PerS)
	refutas, arrhenius := astm, astm
	refutas.Offset = 0.8
	arrhenius.Index = Logarithm
	for _, c := range []struct {
		name string
		d    Definition
		want float64
	}{{"ASTM double log", astm, 8.0813}, {"Refutas", refutas, 8.1085}, {"Arrhenius", arrhenius, 8.7055}} {
		got, err := Blend(&c.d, "", sets, kg)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.name, got, c.want, 5e-5)
	}
	// The Refutas index itself, as a check of the double log: from the textbook
	// form of the index, blended by mass and inverted.
	vbn := func(v float64) float64 { return 14.534*math.Log(math.Log(v+0.8)) + 10.975 }
	mix := 0.6*vbn(5) + 0.4*vbn(20)
	near(t, "Refutas by its textbook form", math.Exp(math.Exp((mix-10.975)/14.534))-0.8, 8.1085, 5e-5)
}

// Density of a mix: 1/rho = sum w/rho (conservation of volume, common practice).
func TestDensityOfAMix(t *testing.T) {
	d := definition(t, DensityKgPerL)
	got, err := Blend(&d, "", []Set{{DensityKgPerL: 0.8}, {DensityKgPerL: 1.6}}, []float64{3, 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "density", got, 4/(3/0.8+1/1.6), 1e-12)
}

// CPVC = 1/(1 + OA rho/93.5) (linseed oil of 0.935 kg/L); OA 20, rho 4.2 gives
// 0.5268. The catalogue's oil absorption and density are in the units that the
// formula wants.
func TestCPVC(t *testing.T) {
	oil, rho := definition(t, OilAbsorptionGPer100G), definition(t, DensityKgPerL)
	sets := []Set{{OilAbsorptionGPer100G: 20, DensityKgPerL: 4.2, PigmentFraction + "/PW6": 1}}
	oa, err := Blend(&oil, "", sets, []float64{2})
	if err != nil {
		t.Fatal(err)
	}
	density, err := Blend(&rho, "", sets, []float64{2})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "CPVC", 1/(1+oa*density/93.5), 0.5268, 5e-5)
}

// Weights by basis: a varnish without pigment has no say in tint strength, and
// what a presscake loses has none in its tack.
func TestBases(t *testing.T) {
	tint := definition(t, TintStrengthFraction)
	sets := []Set{
		{PigmentFraction + "/PB15:3": 0.5, TintStrengthFraction: 1.2},
		{PigmentFraction + "/PR57:1": 0.25},
		{TintStrengthFraction: 5},
	}
	got, err := Blend(&tint, "", sets, []float64{1, 2, 7})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "tint strength", got, 1.1, 1e-12) // half of the pigment at 1.2, half at the default of 1
	if _, err := Blend(&tint, "", sets[2:], []float64{1}); !errors.Is(err, ErrNothingCounts) {
		t.Errorf("tint strength without pigment: %v", err)
	}
	tack := definition(t, TackUnits)
	wet := []Set{{TackUnits: 20, RetainedFraction: 0.25}, {TackUnits: 10}}
	if got, err = Blend(&tack, "", wet, []float64{4, 1}); err != nil {
		t.Fatal(err)
	}
	near(t, "tack", got, 15, 1e-12)
	pigment := definition(t, PigmentFraction)
	cake := []Set{{PigmentFraction + "/PB15:3": 0.25, RetainedFraction: 0.25}, {}}
	if got, err = Blend(&pigment, "PB15:3", cake, []float64{4, 1}); err != nil {
		t.Fatal(err)
	}
	near(t, "pigment per kg of ink", got, 0.5, 1e-12)
	var missing *MissingError
	if _, err = Blend(&tack, "", []Set{{}}, []float64{1}); !errors.As(err, &missing) || missing.Key != TackUnits {
		t.Errorf("no tack: %v", err)
	}
}

// Every index is the inverse of its inverse, its slope is a difference quotient,
// and a blend lies between its parts.
func TestIndexProperties(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		d := Definition{Name: "gloss_units", Title: "Gloss", Unit: "units", Basis: BasisMass, Min: 0.5, Max: 1000,
			Index: rapid.SampledFrom([]Index{Linear, Reciprocal, Logarithm, DoubleLog, Power}).Draw(r, "index")}
		switch d.Index {
		case DoubleLog:
			d.Offset = rapid.Float64Range(0.7, 2).Draw(r, "offset")
			d.Scale = rapid.SampledFrom([]float64{0, 1, 1000}).Draw(r, "scale")
		case Power:
			d.Exponent = rapid.SampledFrom([]float64{-2, -0.5, 1.0 / 3, 2}).Draw(r, "exponent")
		}
		if err := d.Check(BuiltIn()); err != nil {
			t.Fatal(err)
		}
		p := rapid.Float64Range(0.6, 900).Draw(r, "p")
		q := rapid.Float64Range(0.6, 900).Draw(r, "q")
		w := rapid.Float64Range(0.01, 0.99).Draw(r, "w")
		near(t, "inverse", d.Inverse(d.Forward(p)), p, 1e-8*p)
		h := 1e-5 * p
		slope := (d.Forward(p+h) - d.Forward(p-h)) / (2 * h)
		near(t, "slope", d.Slope(p), slope, 1e-5*math.Abs(slope))
		if (d.Slope(p) > 0) != d.Increasing() {
			t.Fatalf("slope %g, increasing %v", d.Slope(p), d.Increasing())
		}
		got, err := Blend(&d, "", []Set{{d.Name: p}, {d.Name: q}}, []float64{w, 1 - w})
		if err != nil {
			t.Fatal(err)
		}
		if got < min(p, q)*(1-1e-9) || got > max(p, q)*(1+1e-9) {
			t.Fatalf("blend of %g and %g is %g", p, q, got)
		}
	})
}

func TestBuiltInDefinitionsPassTheirOwnCheck(t *testing.T) {
	for _, d := range BuiltIn().All() {
		if err := d.Check(BuiltIn()); err != nil {
			t.Error(err)
		}
	}
}

func TestNewCatalogueRefuses(t *testing.T) {
	good := Definition{Name: "gloss_units", Title: "Gloss", Unit: "units", Index: Linear, Basis: BasisMass, Max: 100}
	with := func(f func(*Definition)) Definition { d := good; f(&d); return d }
	for want, own := range map[string][]Definition{
		"":                         {good},
		"unit last":                {with(func(d *Definition) { d.Name = "Gloss" })},
		"words joined":             {with(func(d *Definition) { d.Name = "gloss" })},
		"title and a unit":         {with(func(d *Definition) { d.Unit = "" })},
		"taken":                    {good, good},
		"index \"cubic\"":          {with(func(d *Definition) { d.Index = "cubic" })},
		"not defined there":        {with(func(d *Definition) { d.Index = Logarithm })},
		"basis \"area\"":           {with(func(d *Definition) { d.Basis = "area" })},
		"must be an amount":        {with(func(d *Definition) { d.Basis = TackUnits; d.Name = "x_units" }), {Name: "tacky_units", Title: "T", Unit: "u", Index: Linear, Basis: ViscosityPaS, Max: 1}},
		"must be finite":           {with(func(d *Definition) { d.Max = math.Inf(1) })},
		"must be below":            {with(func(d *Definition) { d.Min = 100 })},
		"its default":              {with(func(d *Definition) { v := 101.0; d.Default = &v })},
		"exponent of its power":    {with(func(d *Definition) { d.Index = Power })},
		"scale of its double-log":  {with(func(d *Definition) { d.Index = DoubleLog; d.Scale = -1 })},
		"double_log index is not ": {with(func(d *Definition) { d.Index = DoubleLog; d.Offset = 0.7 })},
	} {
		_, err := NewCatalogue(own...)
		if want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
			t.Errorf("want %q, got %v", want, err)
		}
	}
}

func TestCheckSet(t *testing.T) {
	c := BuiltIn()
	for _, ok := range []Set{
		{DensityKgPerL: 1.5, PigmentFraction + "/PB15:3": 1, TintStrengthFraction: 0.95, OilAbsorptionGPer100G: 45},
		{VolatileFraction: 0.4, WaterFraction: 0.3, ExemptFraction: 0.1, BinderSolidsFraction: 0.6},
		{MetalFraction + "/cobalt": 0.1, BinderSolidsFraction: 0.4, VolatileFraction: 0.5},
	} {
		if err := Err(c.Check(ok, "")); err != nil {
			t.Error(err)
		}
	}
	if err := Err(c.Check(Set{PigmentFraction: 1}, "PBk7")); err != nil {
		t.Error(err)
	}
	for want, s := range map[string]Set{
		"not known":             {"colour_units": 1},
		"not plausible":         {DensityKgPerL: 1500},
		"finite":                {TackUnits: math.NaN()},
		"say which one":         {MetalFraction: 0.1},
		"drop \"/cobalt\"":      {TackUnits + "/cobalt": 10},
		"is not a name":         {MetalFraction + "/co balt": 0.1},
		"includes water":        {VolatileFraction: 0.2, WaterFraction: 0.3},
		"add up to 1.2 kg":      {PigmentFraction + "/PY13": 0.5, BinderSolidsFraction: 0.7},
		"the metals add up":     {MetalFraction + "/zinc": 0.6, MetalFraction + "/lead": 0.6},
		"stays in the ink, but": {RetainedFraction: 0.25, PigmentFraction + "/PY13": 0.5},
	} {
		vs := c.Check(s, "")
		if len(vs) != 1 || !strings.Contains(vs[0].Problem, want) {
			t.Errorf("want %q, got %v", want, vs)
		}
	}
}

func TestKeys(t *testing.T) {
	name, q := SplitKey(Key(MetalFraction, "cobalt"))
	if name != MetalFraction || q != "cobalt" || Key(TackUnits, "") != TackUnits {
		t.Errorf("got %q %q", name, q)
	}
	a := Set{TackUnits: 10, DensityKgPerL: 1}
	if m := a.Merge(Set{TackUnits: 12}); m[TackUnits] != 12 || m[DensityKgPerL] != 1 || a[TackUnits] != 10 {
		t.Errorf("merge: %v, and a is %v", m, a)
	}
}
