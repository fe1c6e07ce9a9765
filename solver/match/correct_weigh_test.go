package match_test

import (
	"math/rand/v2"
	"testing"

	"millbase/inventory/mass"
	"millbase/solver/engines"
	"millbase/solver/formulation"
	"millbase/solver/match"
)

// TestCorrectionsInWholeDivisions: additions are what the scales can weigh, within
// their range and the capacity of the pot, and the shade is that of those very
// masses. A pot with next to no room for rounding up may fail; one with room does not.
func TestCorrectionsInWholeDivisions(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 3))
	const gram = mass.Gram
	tried, corrected := 0, map[mass.Mass]int{}
	for range 8 {
		b := newBatch(t, r, 0.1)
		p := b.problem
		p.Tolerance = 0.6
		exact, err := match.Correct(t.Context(), engines.New(), p)
		if err != nil {
			t.Fatal(err)
		}
		if exact.Outcome != formulation.Corrected {
			continue
		}
		tried++
		p.Blend.Weighing = &formulation.Weighing{Balances: []formulation.Balance{
			{Name: "bench", Division: 5 * gram, Capacity: 2 * mass.Kilogram}, {Name: "floor", Division: 50 * gram}}}
		for _, room := range []mass.Mass{2 * gram, mass.Kilogram} {
			p.Capacity = exact.Pot + exact.Added + room
			got, err := match.Correct(t.Context(), engines.New(), p)
			if err != nil {
				t.Fatal(err)
			}
			if got.Outcome == formulation.Corrected {
				corrected[room]++
			}
			weighed(t, p, got)
		}
	}
	t.Logf("of %d corrected with room left: %v", tried, corrected)
	if tried < 6 || corrected[mass.Kilogram] < tried-1 {
		t.Errorf("of %d corrected with room left: %v", tried, corrected)
	}
}

// weighed holds a correction to the scales, to the pot and to the shade.
func weighed(t *testing.T, p *match.CorrectProblem, got *match.Correction) {
	t.Helper()
	if total := got.Kept + got.Added; total > p.Capacity {
		t.Errorf("%s in a pot for %s", total, p.Capacity)
	}
	if len(got.Additions) > 0 && got.After.DE00 > p.Tolerance+1e-4 {
		t.Errorf("%g away", got.After.DE00)
	}
	for _, a := range got.Additions {
		division := 5 * mass.Gram
		if a.Mass > 2*mass.Kilogram {
			division = 50 * mass.Gram
		}
		if a.Mass%division != 0 {
			t.Errorf("%s can't be weighed", a.Mass)
		}
	}
}
