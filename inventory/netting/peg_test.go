package netting_test

import (
	"errors"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"millbase/inventory/mass"
	"millbase/inventory/netting"
)

func TestPeg(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 5, n, 0, 0, 0, 0, time.UTC) }
	receipts := []netting.Receipt{{ID: "PO2", At: day(9), Mass: 30 * kg}, {ID: "PO1", At: day(4), Mass: 20 * kg}}
	got, err := netting.Peg(10*kg, receipts, []netting.Need{
		{ID: "B3", At: day(7), Mass: 25 * kg}, {ID: "B1", At: day(3), Mass: 8 * kg}, {ID: "B2", At: day(5), Mass: 12 * kg}, {ID: "B4", At: day(9), Mass: 20 * kg}})
	if err != nil {
		t.Fatal(err)
	}
	want := [][]netting.Cover{
		{{Mass: 8 * kg}},
		{{Mass: 2 * kg}, {Receipt: "PO1", Mass: 10 * kg}},
		{{Receipt: "PO1", Mass: 10 * kg}, {Receipt: "PO2", Mass: 15 * kg, Late: 48 * time.Hour}},
		{{Receipt: "PO2", Mass: 15 * kg}},
	}
	for i, p := range got {
		if !reflect.DeepEqual(p.Covers, want[i]) {
			t.Errorf("%s: %+v, want %+v", p.ID, p.Covers, want[i])
		}
	}
	if got[2].Late != 15*kg || got[3].Short != 5*kg || receipts[0].Mass != 30*kg {
		t.Errorf("B3 late %s, B4 short %s, order left at %s", got[2].Late, got[3].Short, receipts[0].Mass)
	}
	if _, err := netting.Peg(-1, nil, nil); !errors.Is(err, netting.ErrInput) {
		t.Errorf("negative stock: %v", err)
	}
	if _, err := netting.Peg(0, nil, []netting.Need{{Mass: -1}}); !errors.Is(err, netting.ErrInput) {
		t.Errorf("negative need: %v", err)
	}
	if _, err := netting.Peg(0, []netting.Receipt{{Mass: -1}}, nil); !errors.Is(err, netting.ErrInput) {
		t.Errorf("negative order: %v", err)
	}
}

// Nothing is given twice, and something is short only when all is used up.
func TestPegConservesMass(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		day := func() time.Time {
			return time.Date(2026, 5, rapid.IntRange(1, 9).Draw(t, "day"), 0, 0, 0, 0, time.UTC)
		}
		draw := func(label string) mass.Mass { return mass.Mass(rapid.Int64Range(0, int64(90*kg)).Draw(t, label)) }
		onHand := draw("on hand")
		have := map[string]mass.Mass{"": onHand}
		total, needed := onHand, mass.Mass(0)
		var receipts []netting.Receipt
		for i := range rapid.IntRange(0, 5).Draw(t, "orders") {
			r := netting.Receipt{ID: string(rune('a' + i)), At: day(), Mass: draw("order")}
			receipts, have[r.ID], total = append(receipts, r), r.Mass, total+r.Mass
		}
		var needs []netting.Need
		for i := range rapid.IntRange(0, 5).Draw(t, "needs") {
			n := netting.Need{ID: string(rune('A' + i)), At: day(), Mass: draw("need")}
			needs, needed = append(needs, n), needed+n.Mass
		}
		all, err := netting.Peg(onHand, receipts, needs)
		if err != nil {
			t.Fatal(err)
		}
		short := mass.Mass(0)
		for _, p := range all {
			sum := p.Short
			for _, c := range p.Covers {
				sum += c.Mass
				have[c.Receipt] -= c.Mass
				if c.Mass <= 0 || have[c.Receipt] < 0 {
					t.Fatalf("%s takes %+v, more than there is", p.ID, c)
				}
			}
			if sum != p.Mass || p.Short < 0 || p.Late > p.Mass {
				t.Fatalf("%+v does not add up to %s", p, p.Mass)
			}
			short += p.Short
		}
		if short != max(needed-total, 0) {
			t.Fatalf("short %s of %s needed with %s there", short, needed, total)
		}
	})
}
