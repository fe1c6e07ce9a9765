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
// their range and the capacity of the pot, and the shade is that of those very masses.
func TestCorrectionsInWholeDivisions(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 3))
	const gram = mass.Gram
	corrected := 0
	for i := range 8 {
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
		p.Capacity = exact.Pot + exact.Added + 2*gram
		p.Blend.Weighing = &formulation.Weighing{Balances: []formulation.Balance{
			{Name: "bench", Division: 5 * gram, Capacity: 2 * mass.Kilogram}, {Name: "floor", Division: 50 * gram}}}
		got, err := match.Correct(t.Context(), engines.New(), p)
		if err != nil {
			t.Fatal(err)
		}
		if got.Outcome == formulation.Corrected {
			corrected++
		}
		if total := got.Kept + got.Added; total > p.Capacity {
			t.Errorf("batch %d: %s in a pot for %s", i, total, p.Capacity)
		}
		if len(got.Additions) > 0 && got.After.DE00 > p.Tolerance+1e-4 {
			t.Errorf("batch %d: %g away", i, got.After.DE00)
		}
		for _, a := range got.Additions {
			division := 5 * gram
			if a.Mass > 2*mass.Kilogram {
				division = 50 * gram
			}
			if a.Mass%division != 0 {
				t.Errorf("batch %d: %s can't be weighed", i, a.Mass)
			}
		}
	}
	t.Logf("%d corrected", corrected)
	if corrected == 0 {
		t.Error("none was corrected")
	}
}
