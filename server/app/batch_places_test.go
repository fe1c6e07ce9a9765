package app

import (
	"testing"

	"pgregory.net/rapid"

	"millbase/inventory/ledger"
	"millbase/inventory/mass"
)

// Masses drawn from the places of a lot add up, stand on the scale, and no place
// gives more than is free there.
func TestDrawingFromPlaces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		division := rapid.SampledFrom([]mass.Mass{1, 5, 100}).Draw(t, "division")
		room := &stockRoom{plant: Plant{ScaleDivision: division}, places: map[string][]LotBalance{}}
		free := map[string]mass.Mass{}
		for _, at := range []string{"a", "b", "c"}[:rapid.IntRange(1, 3).Draw(t, "places")] {
			b := ledger.Balance{Lot: "l", Location: at, OnHand: mass.Mass(rapid.Int64Range(0, 1000).Draw(t, "on hand"))}
			b.Reserved = mass.Mass(rapid.Int64Range(0, int64(b.OnHand)).Draw(t, "reserved"))
			room.places["l"] = append(room.places["l"], LotBalance{Balance: b, Material: "m"})
			free[at] = b.Free()
		}
		left := room.freePlaces()
		for range rapid.IntRange(1, 4).Draw(t, "draws") {
			most := left.sum("l") / division
			want := mass.Mass(rapid.Int64Range(0, int64(most)).Draw(t, "divisions")) * division
			var got mass.Mass
			lines := left.take("m", "l", want)
			for _, l := range lines {
				if l.Quantity <= 0 || l.Quantity%division != 0 || l.Lot != "l" || l.Material != "m" {
					t.Fatalf("%+v", l)
				}
				free[l.Location] -= l.Quantity
				got += l.Quantity
			}
			if got != want {
				t.Fatalf("%s drawn of %s", got, want)
			}
		}
		for at, m := range free {
			if m < 0 {
				t.Fatalf("%s too much was drawn from %s", -m, at)
			}
		}
	})
}
