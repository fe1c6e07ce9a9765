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

const kg = mass.Kilogram

func row(ms ...mass.Mass) []mass.Mass {
	out := make([]mass.Mass, len(ms))
	for i, m := range ms {
		out[i] = m * kg
	}
	return out
}

// The inventory record of Krajewski and Ritzman, Operations Management, in
// kilograms: on hand 117 117 117 227 227 77 187 187, releases of 230 in weeks 2
// and 5. Weeks are buckets counted from 1 there, from 0 here.
func krajewski(rule netting.Rule) netting.Input {
	return netting.Input{Material: "seat", OnHand: 37 * kg, LeadTime: 2, Rule: rule,
		Gross: row(150, 0, 0, 120, 0, 150, 120, 0), Scheduled: row(230, 0, 0, 0, 0, 0, 0, 0)}
}

func TestKrajewskiRitzman(t *testing.T) {
	p, err := netting.Make(krajewski(netting.Rule{Kind: netting.FixedLot, Lot: 230 * kg}))
	if err != nil {
		t.Fatal(err)
	}
	check := func(name string, got, want []mass.Mass) {
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %v, want %v", name, got, want)
		}
	}
	check("on hand", p.Balance, row(117, 117, 117, 227, 227, 77, 187, 187))
	check("releases", p.Releases, row(0, 230, 0, 0, 230, 0, 0, 0))
	check("receipts", p.Receipts, row(0, 0, 0, 230, 0, 0, 230, 0))
	if p.FirstShort != 3 || p.Shortage != 273*kg || p.TooLate != 0 {
		t.Errorf("short from bucket %d by %s, too late %s", p.FirstShort, p.Shortage, p.TooLate)
	}
}

// The same record under the other rules, worked out by hand from the textbook
// definitions.
func TestOtherLotRules(t *testing.T) {
	for name, c := range map[string]struct {
		rule     netting.Rule
		safety   mass.Mass
		receipts []mass.Mass
	}{
		"lot for lot":        {netting.Rule{}, 0, row(0, 0, 0, 3, 0, 150, 120, 0)},
		"periods of three":   {netting.Rule{Kind: netting.PeriodLots, Periods: 3}, 0, row(0, 0, 0, 153, 0, 0, 120, 0)},
		"safety stock":       {netting.Rule{}, 20 * kg, row(0, 0, 0, 23, 0, 150, 120, 0)},
		"minimum":            {netting.Rule{Minimum: 100 * kg}, 0, row(0, 0, 0, 100, 0, 100, 100, 0)},
		"minimum and packs":  {netting.Rule{Minimum: 100 * kg, Multiple: 30 * kg}, 0, row(0, 0, 0, 120, 0, 120, 60+60, 0)},
		"packs":              {netting.Rule{Multiple: 25 * kg}, 0, row(0, 0, 0, 25, 0, 150, 100, 0)},
		"periods and packs":  {netting.Rule{Kind: netting.PeriodLots, Periods: 3, Multiple: 25 * kg}, 0, row(0, 0, 0, 175, 0, 0, 100, 0)},
		"two small lots":     {netting.Rule{Kind: netting.FixedLot, Lot: 100 * kg}, 0, row(0, 0, 0, 100, 0, 100, 100, 0)},
		"horizon of periods": {netting.Rule{Kind: netting.PeriodLots, Periods: 100}, 0, row(0, 0, 0, 273, 0, 0, 0, 0)},
	} {
		in := krajewski(c.rule)
		in.Safety = c.safety
		p, err := netting.Make(in)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(p.Receipts, c.receipts) {
			t.Errorf("%s: receipts %v, want %v", name, p.Receipts, c.receipts)
		}
	}
}

func TestReleasesInThePastAreFlagged(t *testing.T) {
	p, err := netting.Make(netting.Input{OnHand: 10 * kg, LeadTime: 3, Gross: row(5, 20, 0, 0, 10)})
	if err != nil {
		t.Fatal(err)
	}
	want := []netting.Release{
		{Mass: 15 * kg, Need: 1, Receipt: 1, Release: -2, Late: 2},
		{Mass: 10 * kg, Need: 4, Receipt: 4, Release: 1},
	}
	if !reflect.DeepEqual(p.Orders, want) || p.TooLate != 15*kg || p.Shortage != 25*kg {
		t.Errorf("orders %+v, too late %s, shortage %s", p.Orders, p.TooLate, p.Shortage)
	}
	if !reflect.DeepEqual(p.Releases, row(0, 10, 0, 0, 0)) {
		t.Errorf("releases within the horizon: %v", p.Releases)
	}
}

// Stevenson, Operations Management, the chapter on master scheduling: forecast
// 30 x 4 and 40 x 4, orders 33 20 10 4 2, opening stock 64, lot 70. The schedule
// has 70 in weeks 3 5 7 8; available to promise 11 in week 1 (the book), then
// 56 68 70 70 (computed from the book's figures).
func TestStevensonAvailableToPromise(t *testing.T) {
	p, err := netting.AvailableToPromise(netting.MasterInput{
		Product: "pump", Opening: 64 * kg,
		Forecast: row(30, 30, 30, 30, 40, 40, 40, 40), Orders: row(33, 20, 10, 4, 2, 0, 0, 0),
		Rule: netting.Rule{Kind: netting.FixedLot, Lot: 70 * kg},
	})
	if err != nil {
		t.Fatal(err)
	}
	if want := row(0, 0, 70, 0, 70, 0, 70, 70); !reflect.DeepEqual(p.Receipts, want) {
		t.Errorf("master schedule %v, want %v", p.Receipts, want)
	}
	if want := row(31, 1, 41, 11, 41, 1, 31, 61); !reflect.DeepEqual(p.Balance, want) {
		t.Errorf("projected on hand %v, want %v", p.Balance, want)
	}
	if want := row(11, 0, 56, 0, 68, 0, 70, 70); !reflect.DeepEqual(p.Available, want) {
		t.Errorf("available to promise %v, want %v", p.Available, want)
	}
	if want := row(11, 11, 67, 67, 135, 135, 205, 275); !reflect.DeepEqual(p.Cumulative, want) {
		t.Errorf("cumulative %v, want %v", p.Cumulative, want)
	}
}

func TestOversoldGroupTakesFromEarlierOnes(t *testing.T) {
	p, err := netting.AvailableToPromise(netting.MasterInput{
		Opening: 50 * kg, Forecast: row(0, 0, 0), Orders: row(10, 30, 5), Receipts: row(0, 20, 10)})
	if err != nil || !reflect.DeepEqual(p.Available, row(30, 0, 5)) || p.Oversold != 0 {
		t.Errorf("available %v, oversold %s (%v); want 30 0 5", p.Available, p.Oversold, err)
	}
	p, err = netting.AvailableToPromise(netting.MasterInput{Forecast: row(0), Orders: row(7), Receipts: row(5)})
	if err != nil || p.Oversold != 2*kg || p.Available[0] != 0 || p.Balance[0] != -2*kg {
		t.Errorf("5 made for 7 ordered: %+v, %v", p, err)
	}
}

func TestBuckets(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	// The week of the clock change in spring 2026 is 167 hours long.
	b := netting.Buckets{Start: time.Date(2026, 3, 23, 0, 0, 0, 0, zone), Days: 7, Count: 2}
	at := func(day, hour int) time.Time { return time.Date(2026, 3, day, hour, 0, 0, 0, zone) }
	for _, c := range []struct {
		t    time.Time
		want int
	}{{at(22, 23), -1}, {at(23, 0), 0}, {at(29, 23), 0}, {at(30, 0), 1}, {at(36, 23), 1}, {at(37, 0), 2}, {at(300, 0), 2}} {
		if got := b.Index(c.t); got != c.want {
			t.Errorf("%s is in bucket %d, want %d", c.t, got, c.want)
		}
	}
	got, beyond, err := b.Row([]netting.Dated{{at(1, 0), kg}, {at(24, 0), 2 * kg}, {at(30, 5), 4 * kg}, {at(60, 0), 8 * kg}})
	if err != nil || !reflect.DeepEqual(got, row(3, 4)) || beyond != 8*kg {
		t.Errorf("row %v, beyond %s, %v", got, beyond, err)
	}
	if b.LeadTime(7) != 1 || b.LeadTime(8) != 2 || b.LeadTime(0) != 0 {
		t.Error("7 days are one week, 8 are two, 0 none")
	}
	if _, _, err := (netting.Buckets{}).Row(nil); !errors.Is(err, netting.ErrInput) {
		t.Errorf("no buckets: %v", err)
	}
}

func TestBadInput(t *testing.T) {
	for name, in := range map[string]netting.Input{
		"no buckets":         {},
		"rows differ":        {Gross: row(1, 2), Scheduled: row(1)},
		"negative need":      {Gross: row(-1)},
		"negative receipt":   {Gross: row(1), Scheduled: row(-1)},
		"negative stock":     {Gross: row(1), OnHand: -1},
		"negative safety":    {Gross: row(1), Safety: -1},
		"negative lead time": {Gross: row(1), LeadTime: -1},
		"no fixed lot":       {Gross: row(1), Rule: netting.Rule{Kind: netting.FixedLot}},
		"no periods":         {Gross: row(1), Rule: netting.Rule{Kind: netting.PeriodLots}},
		"negative fence":     {Gross: row(1), Fence: -1},
		"safety time":        {Gross: row(1), SafetyTime: -1},
		"today":              {Gross: row(1), Now: -1},
		"unknown rule":       {Gross: row(1), Rule: netting.Rule{Kind: 9}},
		"negative pack":      {Gross: row(1), Rule: netting.Rule{Multiple: -1}},
		"too many buckets":   {Gross: make([]mass.Mass, 1001)},
		"too large":          {Gross: []mass.Mass{mass.Max + 1}},
	} {
		if _, err := netting.Make(in); !errors.Is(err, netting.ErrInput) {
			t.Errorf("%s: %v, want ErrInput", name, err)
		}
	}
	if _, err := netting.AvailableToPromise(netting.MasterInput{Forecast: row(1), Orders: nil}); !errors.Is(err, netting.ErrInput) {
		t.Errorf("orders missing: %v", err)
	}
}

func draws(t *rapid.T, label string, n int) []mass.Mass {
	out := make([]mass.Mass, n)
	for i := range out {
		if rapid.Bool().Draw(t, label+" here") {
			out[i] = mass.Mass(rapid.Int64Range(0, int64(300*kg)).Draw(t, label))
		}
	}
	return out
}

// Opening + receipts - needs is the balance in every bucket, the plan never
// falls below the safety stock, and every receipt has one order, covers what was
// missing, and is one that the supplier takes.
func TestPlansConserveMass(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 20).Draw(t, "buckets")
		in := netting.Input{
			OnHand: mass.Mass(rapid.Int64Range(0, int64(500*kg)).Draw(t, "on hand")),
			Safety: mass.Mass(rapid.Int64Range(0, int64(50*kg)).Draw(t, "safety")), LeadTime: rapid.IntRange(0, 5).Draw(t, "lead time"),
			Gross: draws(t, "gross", n), Scheduled: draws(t, "scheduled", n),
			Rule: netting.Rule{
				Kind: netting.Kind(rapid.IntRange(0, 2).Draw(t, "kind")), Periods: rapid.IntRange(1, 5).Draw(t, "periods"),
				Lot:      mass.Mass(rapid.Int64Range(1, int64(200*kg)).Draw(t, "lot")),
				Minimum:  mass.Mass(rapid.Int64Range(0, int64(100*kg)).Draw(t, "minimum")),
				Multiple: mass.Mass(rapid.Int64Range(0, int64(30*kg)).Draw(t, "multiple")),
			},
		}
		p, err := netting.Make(in)
		if err != nil {
			t.Fatal(err)
		}
		balance, alone, ordered := in.OnHand, in.OnHand, mass.Mass(0)
		for k := range n {
			balance += in.Scheduled[k] + p.Receipts[k] - in.Gross[k]
			alone += in.Scheduled[k] - in.Gross[k]
			if balance != p.Balance[k] || alone != p.Alone[k] || balance < in.Safety {
				t.Fatalf("bucket %d: balance %s, want %s, at least %s", k, p.Balance[k], balance, in.Safety)
			}
			if (p.Receipts[k] > 0) != (p.Net[k] > 0) || p.Receipts[k] < p.Net[k] {
				t.Fatalf("bucket %d: receipt %s for a net need of %s", k, p.Receipts[k], p.Net[k])
			}
			if q := p.Receipts[k]; q > 0 && (q < in.Rule.Minimum || (in.Rule.Multiple > 0 && q%in.Rule.Multiple != 0)) {
				t.Fatalf("an order of %s is not one that the supplier takes: %+v", q, in.Rule)
			}
		}
		for _, o := range p.Orders {
			ordered += o.Mass
			if o.Receipt-o.Release != in.LeadTime || o.Late != max(0, -o.Release) || p.Receipts[o.Receipt] != o.Mass {
				t.Fatalf("order %+v does not match receipts %v", o, p.Receipts)
			}
		}
		if ordered != p.Balance[n-1]-p.Alone[n-1] {
			t.Fatalf("orders of %s, but the plan gained %s", ordered, p.Balance[n-1]-p.Alone[n-1])
		}
	})
}

// What is available to promise, all taken in the bucket it is offered in, leaves
// no customer short: what came in by any bucket covers what is promised by it.
func TestPromisesCanBeKept(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 15).Draw(t, "buckets")
		in := netting.MasterInput{Opening: mass.Mass(rapid.Int64Range(0, int64(300*kg)).Draw(t, "opening")),
			Forecast: make([]mass.Mass, n), Orders: draws(t, "orders", n), Receipts: draws(t, "receipts", n)}
		p, err := netting.AvailableToPromise(in)
		if err != nil {
			t.Fatal(err)
		}
		have, promised := in.Opening, mass.Mass(0)
		for k := range n {
			have += in.Receipts[k]
			promised += in.Orders[k] + p.Available[k]
			if p.Available[k] < 0 || (p.Oversold == 0 && promised > have) {
				t.Fatalf("bucket %d: %s promised, %s there (%+v)", k, promised, have, p)
			}
		}
		if have-promised != -p.Oversold {
			t.Fatalf("in the end %s there for %s promised, oversold %s", have, promised, p.Oversold)
		}
	})
}
