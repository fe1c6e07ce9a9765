package reprice

import (
	"math"
	"testing"

	"millbase/solver"
)

// TestFits: a price is right where its sign fits the bound that the value is at.
func TestFits(t *testing.T) {
	for _, c := range []struct {
		price, value, lower, upper float64
		want                       bool
	}{
		{2, 0, 0, 1, true}, {2, 1, 0, 1, false}, {2, 0.5, 0, 1, false},
		{-2, 1, 0, 1, true}, {-2, 0, 0, 1, false}, {-2, 0.5, 0, 1, false},
		{0, 0.5, 0, 1, true}, {1e-9, 0.5, 0, 1, true}, {1e-7, 0.5, 0, 1, false},
		{2, 1, 1, 1, true}, {-2, 1, 1, 1, true},
		{-2, 5, 0, solver.Inf, false}, {2, 5, -solver.Inf, 6, false},
		{math.NaN(), 0, 0, 1, false}, {2, math.NaN(), 0, 1, false},
	} {
		if got := fits(c.price, c.value, c.lower, c.upper, 1e-8); got != c.want {
			t.Errorf("price %g at %g in [%g, %g]: %v", c.price, c.value, c.lower, c.upper, got)
		}
	}
}
