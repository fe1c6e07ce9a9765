package match_test

import (
	"errors"
	"math"
	"testing"

	"millbase/inventory/mass"
	"millbase/solver/colour"
	"millbase/solver/formulation"
	"millbase/solver/match"
	"millbase/solver/match/matchtest"
)

// FuzzMatch feeds Match with curves, colours and limits of any size. It must refuse
// them by field, or give an answer that bears what it claims.
func FuzzMatch(f *testing.F) {
	f.Add(50.0, 20.0, -30.0, 1.0, 9.0, 3.0, 0.8, 0.24, uint8(0))
	f.Add(99.9, 0.0, 0.0, 0.01, 1e-9, 1e6, 1e-3, 0.0, uint8(1))
	f.Add(0.0, -128.0, 127.0, 50.0, 0.0, 1e-300, 1.5, 1e-6, uint8(7))
	f.Add(60.0, math.NaN(), 0.0, math.Inf(1), -1.0, 2.0, 0.5, -1.0, uint8(255))
	f.Fuzz(func(t *testing.T, l, a, b, tolerance, height, price, paper, pigment float64, how uint8) {
		bases := matchtest.Pick(0, 4, 7, 9, 11)
		bases[1].Price = price
		k := matchtest.Grid().Values
		for i := range k {
			k[i] = height * float64(i%7) / 7
		}
		bases[2].K = k
		bare := matchtest.Grid()
		for i := range bare.Values {
			bare.Values[i] = paper
		}
		p := matchtest.Problem(bases, bare, bare)
		p.Blend.Quantity = mass.Kilogram
		if how&1 == 0 {
			p.Target = match.Target{Lab: colour.Lab{L: l, A: a, B: b}}
		}
		if how&2 != 0 {
			p.Surface = colour.Surface{K1: 0.04, K2: 0.6}
		}
		p.Tolerance, p.MaxBases = tolerance, int(how>>2)%4
		p.Blend.Limits[2].Upper = &pigment
		got, err := match.Match(t.Context(), engine, p, match.Want{Kinds: match.Kinds, FrontierPoints: 3})
		var faults formulation.FieldErrors
		usual := height >= 0.1 && height < 50 && price > 0.5 && price < 200 && paper > 0.3 && paper < 0.95 && tolerance > 0.1 && tolerance < 10 && pigment > 0.01
		switch {
		case errors.As(err, &faults):
			return
		case err != nil && (usual || !errors.Is(err, formulation.ErrNumerical)):
			t.Fatalf("neither an answer nor a fault of the question: %v", err)
		case err != nil:
			return
		}
		for _, o := range got.Offers {
			again := p.Predict(masses(p, o))
			if again.DE00 != o.DE00 && !math.IsNaN(o.DE00) {
				t.Errorf("%s: %v away, worked out again %v", o.Kind, o.DE00, again.DE00)
			}
			if got.Outcome == match.Matched && !(o.DE00 <= p.Tolerance+2e-4) {
				t.Errorf("%s: %v away, allowed %v", o.Kind, o.DE00, p.Tolerance)
			}
			if p.MaxBases > 0 && o.Bases > p.MaxBases {
				t.Errorf("%s: %d bases of at most %d", o.Kind, o.Bases, p.MaxBases)
			}
		}
	})
}
