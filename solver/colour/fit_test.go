package colour

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func drawnCurve(t *rapid.T, name string, low, high float64) Curve {
	c := Curve{First: 380, Step: 10, Values: make([]float64, 36)}
	a, b, w := rapid.Float64Range(low, high).Draw(t, name+" from"), rapid.Float64Range(low, high).Draw(t, name+" to"), rapid.Float64Range(2, 12).Draw(t, name+" width")
	for i := range c.Values {
		c.Values[i] = a + (b-a)/(1+math.Exp((18-float64(i))/w))
	}
	return c
}

// Drawdowns that were made of a unit K/S give it back, to what the noise allows.
func TestFitFilmFindsWhatItWasMadeOf(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stock := drawnCurve(t, "stock", 0.6, 0.9)
		surface := Surface{K1: .04, K2: .6}
		unit := drawnCurve(t, "unit", 0.2, 15).Values
		noise := rapid.SampledFrom([]float64{0, 1e-4}).Draw(t, "noise")
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		var of []Drawdown
		for _, c := range []float64{0.05, 0.2, 0.5, 1} {
			d := Drawdown{c, Film(stock, [][]float64{unit}, []float64{c}, surface)}
			for i := range d.Curve.Values {
				d.Curve.Values[i] = max(0, d.Curve.Values[i]+noise*random.NormFloat64())
			}
			of = append(of, d)
		}
		fit, err := FitFilm(stock, of, surface)
		if err != nil {
			t.Fatal(err)
		}
		if fit.Residual > 3*noise+1e-9 || len(fit.Differences) != len(of) {
			t.Fatalf("residual %g with noise %g", fit.Residual, noise)
		}
		for i, u := range fit.Unit {
			if math.Abs(u-unit[i]) > 1e-7*unit[i]+200*noise*unit[i] {
				t.Fatalf("unit K/S %g at %d, want %g", u, i, unit[i])
			}
		}
	})
}

func TestFitOpaqueFindsWhatItWasMadeOf(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		white := Optics{drawnCurve(t, "white k", 0.001, 0.02).Values, drawnCurve(t, "white s", 0.8, 1.2).Values}
		want := Optics{drawnCurve(t, "k", 0, 3).Values, drawnCurve(t, "s", 0, 1).Values}
		grid := Curve{First: 380, Step: 10, Values: make([]float64, 36)}
		var of []Drawdown
		for _, c := range []float64{0.1, 0.4, 0.8} {
			of = append(of, Drawdown{c, Opaque(grid, []Optics{want, white}, []float64{c, 1 - c}, Surface{})})
		}
		fit, err := FitOpaque(white, of, Surface{})
		if err != nil {
			t.Fatal(err)
		}
		if fit.Residual > 1e-6 {
			t.Fatalf("residual %g", fit.Residual)
		}
		for i := range fit.K {
			if fit.K[i] < 0 || fit.S[i] < 0 {
				t.Fatalf("negative at %d: %g %g", i, fit.K[i], fit.S[i])
			}
		}
	})
}

// The least squares within x, y >= 0 is no worse than any point of a grid.
func TestNotNegative(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.Float64Range(-2, 2)
		var a [2][2]float64
		var b [2]float64
		rows := make([][3]float64, rapid.IntRange(2, 5).Draw(t, "rows"))
		for r := range rows {
			rows[r] = [3]float64{f.Draw(t, "x"), f.Draw(t, "y"), f.Draw(t, "right")}
			for p := range 2 {
				for q := range 2 {
					a[p][q] += rows[r][p] * rows[r][q]
				}
				b[p] += rows[r][p] * rows[r][2]
			}
		}
		value := func(x, y float64) (sum float64) {
			for _, r := range rows {
				d := r[0]*x + r[1]*y - r[2]
				sum += d * d
			}
			return sum
		}
		x, y := notNegative(a, b)
		if x < 0 || y < 0 {
			t.Fatalf("%g %g", x, y)
		}
		for p := 0.0; p <= 4; p += 0.125 {
			for q := 0.0; q <= 4; q += 0.125 {
				if value(p, q) < value(x, y)-1e-9*(1+value(x, y)) {
					t.Fatalf("(%g, %g) is better than (%g, %g)", p, q, x, y)
				}
			}
		}
	})
}

func TestBadDrawdowns(t *testing.T) {
	stock := Curve{First: 380, Step: 10, Values: make([]float64, 36)}.mapped(func(float64) float64 { return 0.8 })
	for want, of := range map[string][]Drawdown{
		"no drawdown":                     nil,
		"drawdown 1: the concentration":   {{0, stock}},
		"drawdown 2: the concentration":   {{1, stock}, {25, stock}},
		"drawdown 1: the curves are at":   {{1, stock.Thinned()}},
		"drawdown 1: the reflectance at ": {{1, stock.mapped(func(float64) float64 { return -1 })}},
	} {
		if _, err := FitFilm(stock, of, Surface{}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v", want, err)
		}
	}
	white := Optics{make([]float64, 36), make([]float64, 36)}
	for want, of := range map[string][]Drawdown{"two concentrations": {{0.5, stock}}, "concentration below 1": {{1, stock}, {1, stock}}} {
		if _, err := FitOpaque(white, of, Surface{}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v", want, err)
		}
	}
	if _, err := FitOpaque(Optics{}, []Drawdown{{0.5, stock}, {1, stock}}, Surface{}); err == nil || !strings.Contains(err.Error(), "same wavelengths") {
		t.Errorf("white of another grid: %v", err)
	}
}
