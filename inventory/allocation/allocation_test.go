package allocation_test

import (
	"errors"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"millbase/inventory/allocation"
	"millbase/inventory/mass"
)

const kg = mass.Kilogram

var today = time.Date(2026, 4, 1, 0, 0, 0, 0, time.UTC)

func in(days int) time.Time { return today.AddDate(0, 0, days) }

func lot(id string, free mass.Mass, expires int) allocation.Lot {
	return allocation.Lot{ID: id, Material: "PR57:1", Status: allocation.Released, OnHand: free * kg, Received: in(-30), Expiry: in(expires)}
}

func demand(kilograms mass.Mass) allocation.Demand {
	return allocation.Demand{ID: "B1", Material: "PR57:1", Mass: kilograms * kg, On: today}
}

// First expired, first out: common practice of the trade.
func TestOrderAndReasons(t *testing.T) {
	endless := lot("endless", 100, 0)
	endless.Expiry = time.Time{}
	older := lot("older", 5, 20)
	older.Received = in(-60)
	held := lot("held", 50, 5)
	held.Status = allocation.Held
	reserved := lot("reserved", 10, 6)
	reserved.Reserved = 10 * kg
	partly := lot("partly", 10, 10)
	partly.Reserved = 7 * kg
	other := lot("other", 10, 1)
	other.Material = "PY13"
	d := demand(20)
	d.KeepFor = 72 * time.Hour
	d.Exclude = map[string]string{"excluded": "wrong shade"}
	a, err := allocation.Allocate(d, []allocation.Lot{endless, lot("late", 40, 30), lot("same", 5, 20), older, held, reserved,
		partly, other, lot("expired", 9, 0), lot("old", 9, 2), lot("excluded", 9, 7), lot("empty", 0, 8)})
	if err != nil {
		t.Fatal(err)
	}
	picks := []allocation.Pick{{Lot: "partly", Mass: 3 * kg}, {Lot: "older", Mass: 5 * kg}, {Lot: "same", Mass: 5 * kg}, {Lot: "late", Mass: 7 * kg}}
	if !reflect.DeepEqual(a.Picks, picks) || a.Allocated != 20*kg || a.Shortfall != 0 {
		t.Errorf("picks %v, short %s", a.Picks, a.Shortfall)
	}
	skipped := []allocation.Skip{
		{Lot: "expired", Reason: allocation.Expired, Free: 9 * kg},
		{Lot: "old", Reason: allocation.TooOld, Free: 9 * kg},
		{Lot: "held", Reason: allocation.NotReleased, Free: 50 * kg},
		{Lot: "reserved", Reason: allocation.AllReserved},
		{Lot: "excluded", Reason: allocation.Excluded, Free: 9 * kg, Note: "wrong shade"},
		{Lot: "empty", Reason: allocation.Empty},
		{Lot: "endless", Reason: allocation.NotNeeded, Free: 100 * kg},
	}
	if !reflect.DeepEqual(a.Skipped, skipped) {
		t.Errorf("skipped %v, want %v", a.Skipped, skipped)
	}
}

func TestOneLot(t *testing.T) {
	d := demand(8)
	d.OneLot = true
	lots := []allocation.Lot{lot("A", 5, 3), lot("B", 9, 9), lot("C", 20, 12)}
	a, err := allocation.Allocate(d, lots)
	if err != nil || !reflect.DeepEqual(a.Picks, []allocation.Pick{{Lot: "B", Mass: 8 * kg}}) || a.Skipped[0].Reason != allocation.TooSmall {
		t.Errorf("%+v, %v", a, err)
	}
	d.Mass = 21 * kg
	if a, err = allocation.Allocate(d, lots); err != nil || len(a.Picks) != 0 || a.Shortfall != 21*kg {
		t.Errorf("no lot is large enough: %+v, %v", a, err)
	}
}

func TestLaterDemandsGetWhatIsLeft(t *testing.T) {
	all, err := allocation.AllocateAll([]allocation.Demand{demand(8), demand(8), demand(1)}, []allocation.Lot{lot("A", 5, 3), lot("B", 9, 9)})
	if err != nil {
		t.Fatal(err)
	}
	if all[0].Shortfall != 0 || all[1].Shortfall != 2*kg || all[2].Shortfall != kg || all[2].Skipped[1].Reason != allocation.AllReserved {
		t.Errorf("%+v", all)
	}
}

func TestBadInput(t *testing.T) {
	negative, over := lot("A", -1, 1), lot("A", 1, 1)
	over.Reserved = -1
	for name, c := range map[string]struct {
		d    allocation.Demand
		lots []allocation.Lot
	}{
		"nothing":           {demand(0), nil},
		"negative":          {demand(-1), nil},
		"negative lot":      {demand(1), []allocation.Lot{negative}},
		"negative reserved": {demand(1), []allocation.Lot{over}},
		"twice":             {demand(1), []allocation.Lot{lot("A", 1, 1), lot("A", 1, 1)}},
	} {
		if _, err := allocation.Allocate(c.d, c.lots); !errors.Is(err, allocation.ErrInput) {
			t.Errorf("%s: %v, want ErrInput", name, err)
		}
	}
	over.Reserved = 5 * kg // more than on hand: nothing is free, and nothing negative
	a, err := allocation.Allocate(demand(1), []allocation.Lot{over})
	if err != nil || a.Shortfall != kg || a.Skipped[0].Free != 0 {
		t.Errorf("reserved above what is on hand: %+v, %v", a, err)
	}
}

// Picks and shortfalls add up to the demands, no lot gives more than is free or
// what it must not give, each lot is either picked or skipped, and a lot is
// skipped as not needed only when the demand is covered.
func TestAllocationsConserveMass(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lots := map[string]allocation.Lot{}
		var list []allocation.Lot
		for i := range rapid.IntRange(0, 10).Draw(t, "lots") {
			l := lot(string(rune('A'+i)), 0, rapid.IntRange(-2, 10).Draw(t, "expires"))
			l.OnHand = mass.Mass(rapid.Int64Range(0, int64(50*kg)).Draw(t, "on hand"))
			l.Reserved = mass.Mass(rapid.Int64Range(0, int64(30*kg)).Draw(t, "reserved"))
			l.Status = allocation.Status(rapid.IntRange(0, 3).Draw(t, "status"))
			lots[l.ID], list = l, append(list, l)
		}
		var demands []allocation.Demand
		for range rapid.IntRange(1, 4).Draw(t, "demands") {
			d := demand(0)
			d.Mass = mass.Mass(rapid.Int64Range(1, int64(80*kg)).Draw(t, "mass"))
			d.OneLot = rapid.Bool().Draw(t, "one lot")
			demands = append(demands, d)
		}
		all, err := allocation.AllocateAll(demands, list)
		if err != nil {
			t.Fatal(err)
		}
		again, err := allocation.AllocateAll(demands, rapid.Permutation(list).Draw(t, "order"))
		if err != nil || !reflect.DeepEqual(all, again) {
			t.Fatalf("lots in another order: %v, before %v (%v)", again, all, err)
		}
		given := map[string]mass.Mass{}
		for i, a := range all {
			sum := mass.Mass(0)
			for _, p := range a.Picks {
				sum += p.Mass
				given[p.Lot] += p.Mass
				l := lots[p.Lot]
				if p.Mass <= 0 || given[p.Lot] > l.Free() || l.Status != allocation.Released || !l.Expiry.After(today) {
					t.Fatalf("picked %+v from %+v", p, l)
				}
			}
			if sum != a.Allocated || a.Allocated+a.Shortfall != demands[i].Mass || a.Shortfall < 0 || len(a.Picks)+len(a.Skipped) != len(list) {
				t.Fatalf("%+v does not add up to %s", a, demands[i].Mass)
			}
			for _, s := range a.Skipped {
				if s.Reason == allocation.NotNeeded && a.Shortfall > 0 {
					t.Fatalf("%+v left unused although %s is missing", s, a.Shortfall)
				}
			}
		}
	})
}
