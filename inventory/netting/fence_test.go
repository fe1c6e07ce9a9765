package netting_test

import (
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"millbase/inventory/mass"
	"millbase/inventory/netting"
)

// The record of Krajewski and Ritzman with a fence of five weeks, by hand: alone
// it has 117 117 117 -3 -3 -153 -273 -273. Weeks 3 and 4 lack 3 and nothing that
// is due later is on order, so one lot is planned at the fence, for the 153.
func TestFenceHoldsNewOrdersOff(t *testing.T) {
	in := krajewski(netting.Rule{Kind: netting.FixedLot, Lot: 230 * kg})
	in.Fence = 5
	p, err := netting.Make(in)
	if err != nil {
		t.Fatal(err)
	}
	if want := row(0, 0, 0, 0, 0, 230, 230, 0); !reflect.DeepEqual(p.Receipts, want) {
		t.Errorf("receipts %v, want %v", p.Receipts, want)
	}
	if want := []netting.Expedite{{Bucket: 3, Mass: 3 * kg, From: -1}}; !reflect.DeepEqual(p.Expedite, want) {
		t.Errorf("to expedite %+v, want %+v", p.Expedite, want)
	}
	in.Scheduled = row(230, 0, 0, 0, 2, 0, 50, 0)
	if p, err = netting.Make(in); err != nil {
		t.Fatal(err)
	}
	if want := []netting.Expedite{{Bucket: 3, Mass: 2 * kg, From: 4}, {Bucket: 3, Mass: kg, From: 6}}; !reflect.DeepEqual(p.Expedite, want) {
		t.Errorf("with orders on the way, to expedite %+v, want %+v", p.Expedite, want)
	}
}

// Safety time by hand: a week earlier than needed, so released a week earlier,
// and never before today.
func TestSafetyTimeBringsReceiptsForward(t *testing.T) {
	in := krajewski(netting.Rule{Kind: netting.FixedLot, Lot: 230 * kg})
	in.SafetyTime = 1
	p, err := netting.Make(in)
	if err != nil {
		t.Fatal(err)
	}
	if want := row(0, 0, 230, 0, 0, 230, 0, 0); !reflect.DeepEqual(p.Receipts, want) {
		t.Errorf("receipts %v, want %v", p.Receipts, want)
	}
	if want := row(230, 0, 0, 230, 0, 0, 0, 0); !reflect.DeepEqual(p.Releases, want) {
		t.Errorf("releases %v, want %v", p.Releases, want)
	}
	in.Now = 2
	if p, err = netting.Make(in); err != nil || p.PastDue != 230*kg || p.Orders[0].Late != 2 {
		t.Errorf("in week 2 the first order is past due: %+v (%v)", p.Orders, err)
	}
}

// A supplier's own packs and lead times, asked for order by order.
func TestPlaceSizesOrders(t *testing.T) {
	in := krajewski(netting.Rule{})
	in.Place = func(q mass.Mass, receipt int) (mass.Mass, int) {
		if receipt < 5 {
			return max(q, 100*kg), 3
		}
		return q.RoundTo(70*kg, mass.RoundCeil), 1
	}
	p, err := netting.Make(in)
	if err != nil {
		t.Fatal(err)
	}
	// 3 is asked for, 100 come; of the next 150, 97 are there: 53, so 70; then 103, so 140.
	if want := row(0, 0, 0, 100, 0, 70, 140, 0); !reflect.DeepEqual(p.Receipts, want) {
		t.Errorf("receipts %v, want %v", p.Receipts, want)
	}
	if want := row(100, 0, 0, 0, 70, 140, 0, 0); !reflect.DeepEqual(p.Releases, want) {
		t.Errorf("releases %v, want %v", p.Releases, want)
	}
}

// Whatever the fence and the safety time: no receipt before the fence or today,
// none later than needed, what is planned from there on keeps the safety stock,
// releases and what is past due are all the orders, and what is to be expedited
// makes good what lacks before the fence, without taking an order twice.
func TestFencesAndSafetyTimeHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 15).Draw(t, "buckets")
		in := netting.Input{OnHand: mass.Mass(rapid.Int64Range(0, int64(300*kg)).Draw(t, "on hand")),
			Safety: mass.Mass(rapid.Int64Range(0, int64(50*kg)).Draw(t, "safety")), LeadTime: rapid.IntRange(0, 4).Draw(t, "lead"),
			SafetyTime: rapid.IntRange(0, 4).Draw(t, "safety time"), Now: rapid.IntRange(0, 3).Draw(t, "now"), Fence: rapid.IntRange(0, 9).Draw(t, "fence"),
			Gross: draws(t, "gross", n), Scheduled: draws(t, "scheduled", n), Rule: netting.Rule{Multiple: mass.Mass(rapid.Int64Range(0, int64(40*kg)).Draw(t, "pack"))}}
		p, err := netting.Make(in)
		if err != nil {
			t.Fatal(err)
		}
		first, total := max(in.Now, in.Fence), p.PastDue
		for k := range n {
			total += p.Releases[k]
			if k < first && p.Receipts[k] > 0 {
				t.Fatalf("%s planned into bucket %d, before %d", p.Receipts[k], k, first)
			}
			if k >= first && p.Balance[k] < in.Safety {
				t.Fatalf("bucket %d ends with %s of %s", k, p.Balance[k], in.Safety)
			}
		}
		for _, o := range p.Orders {
			total -= o.Mass
			if o.Receipt > o.Need || (o.Receipt != o.Need-in.SafetyTime && o.Receipt != first) {
				t.Fatalf("order %+v for a safety time of %d from bucket %d on", o, in.SafetyTime, first)
			}
		}
		if total != 0 {
			t.Fatalf("released and past due differ from the orders by %s", total)
		}
		moved, missing := append([]mass.Mass(nil), in.Scheduled...), make([]mass.Mass, n)
		for _, e := range p.Expedite {
			if e.From < 0 {
				missing[e.Bucket] += e.Mass
				continue
			}
			if moved[e.From] -= e.Mass; moved[e.From] < 0 || e.From <= e.Bucket {
				t.Fatalf("%+v takes more than is on order later", e)
			}
			moved[e.Bucket] += e.Mass
		}
		balance := in.OnHand
		for k := range n {
			balance += moved[k] + missing[k] - in.Gross[k]
			if k >= in.Now && k < in.Fence && balance < in.Safety {
				t.Fatalf("bucket %d still lacks: %s of %s (%+v)", k, balance, in.Safety, p.Expedite)
			}
		}
	})
}
