package match

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/colour"
	"millbase/solver/formulation"
)

// smooth is a random curve of one or two bands, for drawing problems.
func smooth(r *rand.Rand, n int, low, high float64) []float64 {
	out := make([]float64, n)
	for range 1 + r.IntN(2) {
		middle, width, height := r.Float64()*float64(n), 2+6*r.Float64(), (high-low)*r.Float64()/2
		for i := range out {
			d := (float64(i) - middle) / width
			out[i] += height * math.Exp(-d*d/2)
		}
	}
	for i := range out {
		out[i] += low
	}
	return out
}

// drawn is a random problem of five colourants in either mode.
func drawn(seed uint64, mode Mode) *Problem {
	r := rand.New(rand.NewPCG(seed, 5))
	grid := colour.Curve{First: 380, Step: 10, Values: smooth(r, 36, 0.5, 0.8)}
	target := colour.Curve{First: 380, Step: 10, Values: smooth(r, 36, 0.1, 0.6)}
	p := &Problem{Blend: &formulation.Problem{Quantity: mass.Kilogram}, Mode: mode, Substrate: grid, Target: Target{Curve: &target},
		Viewing: colour.Viewing{Illuminant: colour.D50}}
	if seed%2 == 1 {
		p.Surface = colour.Surface{K1: 0.04, K2: 0.6}
	}
	for range 5 {
		c := Colourant{K: smooth(r, 36, 0.02, 9)}
		if mode == Opaque {
			c.S = smooth(r, 36, 0.3, 2)
		}
		p.Colourants = append(p.Colourants, c)
		p.Blend.Candidates = append(p.Blend.Candidates, formulation.Candidate{Properties: property.Set{property.TintStrengthFraction: 0.8 + 0.4*r.Float64()}})
	}
	return p
}

// TestSlopes holds the change of the difference vector with the shares to finite
// differences, and its length to the difference.
func TestSlopes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mode := rapid.SampledFrom([]Mode{Film, Opaque}).Draw(t, "mode")
		p := drawn(rapid.Uint64().Draw(t, "seed"), mode)
		s := newShade(p, []int{0, 1, 2, 3, 4})
		x := make([]float64, 5)
		for k := range x {
			x[k] = rapid.Float64Range(0.01, 0.3).Draw(t, "share")
		}
		for i := range s.eyes {
			e := &s.eyes[i]
			vector := func(x []float64) [3]float64 {
				s.at(x)
				v, _ := e.metric.vector(s.seen(e))
				return v
			}
			s.at(x)
			s.slopes()
			near := linear{by: make([][3]float64, 5)}
			s.linearise(e, &near)
			if d, l := s.difference(x, i), length(near.value); math.Abs(d-l) > 1e-9*(1+d) {
				t.Fatalf("eye %d: the vector is %g long, the difference %g", i, l, d)
			}
			for k := range x {
				const h = 1e-6
				there, back := append([]float64(nil), x...), append([]float64(nil), x...)
				there[k], back[k] = x[k]+h, x[k]-h
				v, w := vector(there), vector(back)
				for a := range v {
					want := (v[a] - w[a]) / (2 * h)
					if got := near.by[k][a]; math.Abs(got-want) > 1e-3*(1+math.Abs(want)) {
						t.Fatalf("eye %d, column %d, axis %d: slope %g, by differences %g", i, k, a, got, want)
					}
				}
			}
		}
	})
}

// TestPredictionsAgree holds the colour that the search works with to that of the
// masses, which package colour works out alone.
func TestPredictionsAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mode := rapid.SampledFrom([]Mode{Film, Opaque}).Draw(t, "mode")
		p := drawn(rapid.Uint64().Draw(t, "seed"), mode)
		masses, x := make([]mass.Mass, 5), make([]float64, 5)
		rest := mass.Kilogram
		for k := range 4 {
			masses[k] = mass.Mass(rapid.Int64Range(1, int64(rest)/2).Draw(t, "mg"))
			rest -= masses[k]
		}
		masses[4] = rest
		for k := range x {
			x[k] = masses[k].Kilograms()
		}
		s := newShade(p, []int{0, 1, 2, 3, 4})
		o := p.Predict(masses)
		if o.Bases != 1 { // none has a name
			t.Fatalf("%d bases", o.Bases)
		}
		if d := s.difference(x, 0); math.Abs(d-o.DE00) > 1e-9*(1+d) {
			t.Errorf("difference %g, of the masses %g", d, o.DE00)
		}
		if d := s.difference(x, 1); math.Abs(d-o.Second00) > 1e-9*(1+d) {
			t.Errorf("under the second light %g, of the masses %g", d, o.Second00)
		}
	})
}

// TestNearTheTargetTheVectorIsSmooth: at the target itself, a grey one too, where
// hue has no direction.
func TestNearTheTargetTheVectorIsSmooth(t *testing.T) {
	for _, target := range []colour.Lab{{L: 50}, {L: 95, A: 0.01}, {L: 40, A: 30, B: -60}, {L: 70, A: -40, B: 50}, {L: 5}} {
		m := newMetric(target)
		_, at := m.vector(target)
		_, beside := m.vector(colour.Lab{L: target.L + 1e-3, A: target.A + 2e-3, B: target.B - 1e-3})
		for i := range at {
			for j := range at {
				if math.Abs(at[i][j]-beside[i][j]) > 0.02 {
					t.Errorf("%v: slope %d %d is %g at the target, %g beside it", target, i, j, at[i][j], beside[i][j])
				}
			}
		}
	}
}
