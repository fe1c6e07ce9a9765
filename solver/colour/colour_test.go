package colour

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// table reads a file of testdata; its head says where the figures are from.
func table(t *testing.T, name string) (out [][]string) {
	t.Helper()
	text, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		if !strings.HasPrefix(line, "#") {
			out = append(out, strings.Split(strings.TrimSpace(line), ","))
		}
	}
	if len(out) == 0 {
		t.Fatalf("%s is empty", name)
	}
	return out
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.9g, want %.9g", what, got, want)
	}
}

func TestWeights(t *testing.T) {
	for _, c := range []struct {
		file      string
		view      Viewing
		step      int
		tolerance float64
	}{
		{"e308_d65_2_20.csv", Viewing{D65, TwoDegree}, 20, 0.00051}, // ASTM E308 prints three decimals
		{"e2022_d50_2_10.csv", Viewing{D50, TwoDegree}, 10, 2e-6},
		{"e2022_d65_10_10.csv", Viewing{D65, TenDegree}, 10, 2e-6},
		{"e2022_d50_10_20.csv", Viewing{D50, TenDegree}, 20, 2e-6},
	} {
		rows := table(t, c.file)
		w := WeightsFor(c.view, Curve{First: 360, Step: c.step, Values: make([]float64, len(rows))})
		for i, row := range rows {
			for k := range 3 {
				near(t, c.file+" at "+row[0]+" nm", w.Row(k)[i], number(t, row[1+k]), c.tolerance)
			}
		}
	}
}

// White points of CIE 15:2018, table of tristimulus values; A/2 likewise.
func TestWhites(t *testing.T) {
	for _, c := range []struct {
		view Viewing
		want XYZ
	}{
		{Viewing{D50, TwoDegree}, XYZ{96.42, 100, 82.51}},
		{Viewing{D65, TwoDegree}, XYZ{95.04, 100, 108.88}},
		{Viewing{A, TwoDegree}, XYZ{109.85, 100, 35.58}},
		{Viewing{D50, TenDegree}, XYZ{96.72, 100, 81.43}},
	} {
		for _, grid := range []Curve{{360, 10, make([]float64, 48)}, {380, 10, make([]float64, 36)}, {380, 20, make([]float64, 18)}, {400, 10, make([]float64, 31)}} {
			white := WeightsFor(c.view, grid).White()
			near(t, c.view.String()+" X", white.X, c.want.X, 0.011)
			near(t, c.view.String()+" Y", white.Y, c.want.Y, 1e-9)
			near(t, c.view.String()+" Z", white.Z, c.want.Z, 0.016)
		}
	}
}

// XYZ to CIELAB under D65 and D50 (white points by chromaticity .3127 .3290 and
// .3457 .3585), figures of an open colour library's own tests.
func TestLab(t *testing.T) {
	white := func(x, y float64) XYZ { return XYZ{100 * x / y, 100, 100 * (1 - x - y) / y} }
	for _, c := range []struct {
		xyz, white XYZ
		want       Lab
	}{
		{XYZ{20.654008, 12.197225, 5.136952}, white(.3127, .3290), Lab{41.52787529, 52.63858304, 26.92317922}},
		{XYZ{14.22201, 23.042768, 10.495772}, white(.3127, .3290), Lab{55.11636304, -41.08791787, 30.91825778}},
		{XYZ{7.81878, 6.157201, 28.099326}, white(.3127, .3290), Lab{29.8056552, 20.01830466, -48.34913874}},
		{XYZ{20.654008, 12.197225, 5.136952}, white(.3457, .3585), Lab{41.52787529, 51.19354174, 19.91843098}},
	} {
		got := c.xyz.Lab(c.white)
		near(t, "L*", got.L, c.want.L, 1e-7)
		near(t, "a*", got.A, c.want.A, 1e-7)
		near(t, "b*", got.B, c.want.B, 1e-7)
	}
}

func TestDifference2000(t *testing.T) {
	for i, row := range table(t, "ciede2000.csv") {
		var v [7]float64
		for k := range v {
			v[k] = number(t, row[k])
		}
		a, b := Lab{v[0], v[1], v[2]}, Lab{v[3], v[4], v[5]}
		got := Difference2000(a, b)
		// Pair 14 turns on the last bit of a hue difference of 180 degrees.
		if i == 13 && math.Abs(got-4.7461) <= 5e-5 {
			continue
		}
		near(t, "pair "+strconv.Itoa(i+1), got, v[6], 5.1e-5)
	}
}

func TestDifferencesAreDistances(t *testing.T) {
	draw := func(t *rapid.T, name string) Lab {
		f := rapid.Float64Range(-90, 90)
		return Lab{rapid.Float64Range(0, 100).Draw(t, name+" L"), f.Draw(t, name+" a"), f.Draw(t, name+" b")}
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := draw(t, "a"), draw(t, "b")
		if Difference2000(a, a) != 0 || Difference(a, a) != 0 {
			t.Fatalf("a colour differs from itself: %v", a)
		}
		if d, e := Difference2000(a, b), Difference2000(b, a); !(d >= 0) || math.Abs(d-e) > 1e-9*(1+d) {
			t.Fatalf("%v and %v: %g one way, %g the other", a, b, d, e)
		}
	})
}

// Reflectances of three components at five wavelengths, and their K and S.
var (
	parts = [3][5]float64{{1, .5, 1, .5, 1}, {1, 1, .25, .5, .5}, {1, 1, .75, .25, .25}}
	sOf   = [3][5]float64{{.2, .4, .6, .8, 1}, {1, .8, .6, .4, .2}, {.2, .8, .2, .8, .2}}
)

func TestKubelkaMunk(t *testing.T) {
	grid := Curve{First: 400, Step: 10, Values: make([]float64, 5)}
	stock := grid.mapped(func(float64) float64 { return 1 })
	var units [][]float64
	var optics []Optics
	for j := range parts {
		unit := make([]float64, 5)
		for i, r := range parts[j] {
			unit[i] = KS(r)
		}
		units = append(units, unit)
		optics = append(optics, Optics{parts[j][:], sOf[j][:]})
	}
	// Saunderson: k1 .033, k2 .66, gloss not measured.
	surface := Surface{K1: .033, K2: .66}
	for _, row := range table(t, "kubelka_munk.csv") {
		c := []float64{number(t, row[1]), number(t, row[2]), number(t, row[3])}
		var got Curve
		switch row[0] {
		case "single":
			got = Film(stock, units, c, Surface{})
		case "two":
			got = Opaque(grid, optics, c, Surface{})
		case "surface":
			got = Opaque(grid, optics, c, surface)
		default:
			t.Fatalf("no such kind: %s", row[0])
		}
		for i := range got.Values {
			near(t, strings.Join(row[:4], " "), got.Values[i], number(t, row[4+i]), 1e-12)
		}
	}
}

func TestFilmsAreInvertible(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rapid.Float64Range(0.001, 1).Draw(t, "r")
		if back := FromKS(KS(r)); math.Abs(back-r) > 1e-9 {
			t.Fatalf("%g comes back as %g", r, back)
		}
		s := Surface{K1: rapid.Float64Range(0, 0.1).Draw(t, "k1"), K2: rapid.Float64Range(0, 0.7).Draw(t, "k2"), Included: rapid.Bool().Draw(t, "included")}
		if back := s.Inside(s.Outside(r)); math.Abs(back-r) > 1e-9 {
			t.Fatalf("%+v: %g comes back as %g", s, r, back)
		}
	})
}

// Standard R .20: a batch of .18 is 116.74 % strong, of .22 86.42 %, by
// K/S = (1-R)^2/2R (ISO 787-24; worked out by hand).
func TestBleachTest(t *testing.T) {
	flat := func(r float64) Curve {
		return Curve{First: 380, Step: 10, Values: make([]float64, 36)}.mapped(func(float64) float64 { return r })
	}
	standard := flat(0.6)
	standard.Values[20] = 0.20
	for r, want := range map[float64]float64{0.18: 1.167361, 0.22: 0.864205} {
		batch := flat(0.6)
		batch.Values[20] = r
		got, err := BleachTest(batch, standard, Surface{})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "strength", got.AtMost, want, 1e-6)
		if got.AtMostNm != 580 || (got.Summed > 1) != (want > 1) || math.Abs(got.Summed-1) >= math.Abs(want-1) || !(got.Different > 0) {
			t.Errorf("%+v", got)
		}
	}
	if _, err := BleachTest(flat(0.5).Thinned(), standard, Surface{}); err != ErrGrids {
		t.Errorf("other grid: %v", err)
	}
	if _, err := BleachTest(flat(0.5), flat(1), Surface{}); err != ErrBare {
		t.Errorf("bare standard: %v", err)
	}
}

func TestMetamerism(t *testing.T) {
	a := Curve{First: 380, Step: 10, Values: make([]float64, 36)}.mapped(func(float64) float64 { return 0.4 })
	if m := Metamerism(a, a, Viewing{D50, TwoDegree}, Viewing{A, TwoDegree}); m != 0 {
		t.Errorf("a curve is metameric to itself: %g", m)
	}
	// Equal but for a factor under every light: no metamerism.
	if m := Metamerism(a, a.mapped(func(r float64) float64 { return r * 0.9 }), Viewing{D50, TwoDegree}, Viewing{A, TwoDegree}); m > 1e-9 {
		t.Errorf("a lighter grey is metameric: %g", m)
	}
	b := a.mapped(func(r float64) float64 { return r })
	for i := range b.Values {
		b.Values[i] += 0.1 * math.Sin(float64(i))
	}
	if m := Metamerism(a, b, Viewing{D50, TwoDegree}, Viewing{A, TwoDegree}); m < 0.01 {
		t.Errorf("a curve with bumps is not metameric: %g", m)
	}
	if o := Opacity(a, a); math.Abs(o-100) > 1e-9 {
		t.Errorf("a film that looks the same over both is %g %% opaque", o)
	}
}

func TestBadCurves(t *testing.T) {
	good := func() Curve { return Curve{First: 380, Step: 10, Values: make([]float64, 36)} }
	if err := good().Validate(); err != nil {
		t.Fatal(err)
	}
	for want, spoil := range map[string]func(*Curve){
		"every 5, 10 or 20 nm":   func(c *Curve) { c.Step = 7 },
		"multiple of 10 nm":      func(c *Curve) { c.First = 384 },
		"at least 8 values":      func(c *Curve) { c.Values = c.Values[:5] },
		"within 360 to 830 nm":   func(c *Curve) { c.First = 300 },
		"from 420 to 680 nm":     func(c *Curve) { c.First = 430 },
		"at 390 nm is NaN":       func(c *Curve) { c.Values[1] = math.NaN() },
		"at 380 nm is 47":        func(c *Curve) { c.Values[0] = 47 },
		"at 400 nm is -0.1":      func(c *Curve) { c.Values[2] = -0.1 },
		"write a factor between": func(c *Curve) { c.Values[2] = math.Inf(1) },
	} {
		c := good()
		spoil(&c)
		if err := c.Validate(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v", want, err)
		}
	}
}

func TestSwatch(t *testing.T) {
	white := Curve{First: 380, Step: 10, Values: make([]float64, 36)}.mapped(func(float64) float64 { return 1 })
	if s := white.Swatch(); s != "#ffffff" && s != "#fffffe" && s != "#fffeff" {
		t.Errorf("the perfect diffuser is %s", s)
	}
	if s := white.mapped(func(float64) float64 { return 0 }).Swatch(); s != "#000000" {
		t.Errorf("black is %s", s)
	}
}

func TestSwatchOfLab(t *testing.T) {
	for lab, want := range map[Lab]string{{100, 0, 0}: "#ffffff", {0, 0, 0}: "#000000", {53.2408, 80.0925, 67.2032}: "#ff0000"} { // sRGB red, IEC 61966-2-1, D65
		if got := lab.Swatch(); got != want {
			t.Errorf("%v is %s, want %s", lab, got, want)
		}
	}
}
