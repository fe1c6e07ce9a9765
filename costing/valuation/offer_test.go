package valuation_test

import (
	"errors"
	"testing"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/costing/money"
	"millbase/costing/valuation"
	"millbase/inventory/mass"
)

func breaks(pairs ...string) []valuation.Break {
	var bs []valuation.Break
	for i := 0; i < len(pairs); i += 2 {
		from, err := mass.Parse(pairs[i])
		if err != nil {
			panic(err)
		}
		bs = append(bs, valuation.Break{From: from, Price: money.MustPerKg(pairs[i+1], "EUR")})
	}
	return bs
}

// Order quantity with price breaks: demand 5000, order cost 49, holding 20 % of
// the price, 5 / 4.80 from 1000 / 4.75 from 2000. Yearly totals 25,700 / 24,725
// / 24,822.50, so order 1000. Source: the usual worked example of quantity
// discounts in operations management texts; totals computed independently.
func TestOrderQuantityWithPriceBreaks(t *testing.T) {
	demand := valuation.Demand{PerYear: 5000 * kg, OrderCost: money.MustParse("49 EUR"), HoldingPercent: decimal.NewFromInt(20)}
	offer := valuation.Offer{ID: "O", Breaks: breaks("0", "5", "1000", "4.80", "2000", "4.75")}
	all, best, err := valuation.OrderQuantities(demand, offer)
	if err != nil {
		t.Fatal(err)
	}
	want := []struct {
		order mass.Mass
		total string
	}{{700, "25700 EUR"}, {1000, "24725 EUR"}, {2000, "24822.5 EUR"}}
	if len(all) != len(want) {
		t.Fatalf("%d candidates, want %d: %v", len(all), len(want), all)
	}
	for i, w := range want {
		if all[i].Order != w.order*kg || all[i].Total.String() != w.total {
			t.Errorf("candidate %d: %s costs %s, want %s kg and %s", i, all[i].Order, all[i].Total, w.order, w.total)
		}
	}
	if best != 1 {
		t.Errorf("best is candidate %d, want 1000 kg", best)
	}
	offer.Pack = 180 * kg
	all, _, err = valuation.OrderQuantities(demand, offer)
	if err != nil || all[0].Order != 540*kg || all[1].Order != 720*kg {
		t.Errorf("700 kg in packs of 180: %v, %v", all, err)
	}
	if _, _, err := valuation.OrderQuantities(valuation.Demand{}, offer); !errors.Is(err, valuation.ErrOrder) {
		t.Errorf("no demand: %v", err)
	}
}

func TestBestOffer(t *testing.T) {
	drum := valuation.Offer{ID: "drum", Breaks: breaks("0", "5", "1000", "4"), Pack: 200 * kg, Minimum: 400 * kg}
	sack := valuation.Offer{ID: "sack", Breaks: breaks("0", "6"), Pack: 25 * kg}
	ended := valuation.Offer{ID: "ended", Breaks: breaks("0", "1"), ValidUntil: day}
	later := valuation.Offer{ID: "later", Breaks: breaks("0", "1"), ValidFrom: day.AddDate(0, 0, 1)}
	offers := []valuation.Offer{drum, sack, ended, later}
	for _, c := range []struct {
		need   mass.Mass
		by     valuation.Choice
		offer  string
		order  mass.Mass
		outlay string
	}{
		{60, valuation.LowestOutlay, "sack", 75, "450 EUR"},   // drums: 400 kg for 2,000
		{60, valuation.LowestPerKg, "drum", 1000, "4000 EUR"}, // at the break
		{500, valuation.LowestOutlay, "drum", 600, "3000 EUR"},
		{850, valuation.LowestOutlay, "drum", 1000, "4000 EUR"}, // 1000 at 4 cost less than 1000 at 5
		{780, valuation.LowestOutlay, "drum", 1000, "4000 EUR"}, // 800 cost the same: the lower price
	} {
		got, err := valuation.Best("EUR", offers, c.need*kg, day, c.by)
		if err != nil || got.Offer != c.offer || got.Order != c.order*kg || got.Outlay.String() != c.outlay || got.Surplus != got.Order-c.need*kg {
			t.Errorf("%d kg: %+v, %v; want %s %d kg for %s", c.need, got, err, c.offer, c.order, c.outlay)
		}
	}
	if _, err := valuation.Best("EUR", offers[2:], kg, day, valuation.LowestOutlay); !errors.Is(err, valuation.ErrNoOffer) {
		t.Errorf("no offer holds: %v", err)
	}
	sack.Available = 50 * kg
	if _, err := valuation.Best("EUR", []valuation.Offer{sack}, 60*kg, day, valuation.LowestOutlay); !errors.Is(err, valuation.ErrNoOffer) {
		t.Errorf("more than is offered: %v", err)
	}
	if _, err := valuation.Best("USD", offers, kg, day, valuation.LowestOutlay); !errors.Is(err, money.ErrMismatch) {
		t.Errorf("offers in another currency: %v", err)
	}
	if _, err := valuation.Best("EUR", []valuation.Offer{{ID: "bad", Breaks: breaks("10", "5", "10", "4")}}, kg, day, valuation.LowestOutlay); !errors.Is(err, valuation.ErrOffer) {
		t.Errorf("breaks that do not rise: %v", err)
	}
}

// No order in whole packs that covers the need costs less than the best one.
func TestBestOfferAgainstEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := valuation.Offer{
			ID:      "O",
			Pack:    mass.Mass(rapid.IntRange(1, 7).Draw(t, "pack")) * kg,
			Minimum: mass.Mass(rapid.IntRange(0, 30).Draw(t, "minimum")) * kg,
		}
		from := mass.Mass(0)
		for range rapid.IntRange(1, 4).Draw(t, "breaks") {
			price := money.PerKg{Currency: "EUR", Amount: decimal.New(rapid.Int64Range(1, 1000).Draw(t, "price"), -2)}
			o.Breaks = append(o.Breaks, valuation.Break{From: from, Price: price})
			from += mass.Mass(rapid.IntRange(1, 40).Draw(t, "step")) * kg
		}
		need := mass.Mass(rapid.IntRange(1, 100).Draw(t, "need")) * kg
		got, err := valuation.Best("EUR", []valuation.Offer{o}, need, day, valuation.LowestOutlay)
		if err != nil {
			t.Fatal(err)
		}
		if got.Order < need || got.Order < o.Minimum || got.Order%o.Pack != 0 {
			t.Fatalf("%+v is not an order that can be placed", got)
		}
		for q := o.OrderFor(need); q < 300*kg; q += o.Pack {
			price, _ := o.PriceAt(q)
			if price.Of(q).Amount.LessThan(got.Outlay.Amount) {
				t.Fatalf("%s costs %s, less than %+v", q, price.Of(q), got)
			}
		}
	})
}

func TestValueOnEachBasis(t *testing.T) {
	s := valuation.Sources{
		Currency: "EUR", On: day, Places: 4,
		Layers:    []valuation.Layer{layer("A", 10, "3", 0), layer("B", 30, "4", 1)},
		Picks:     []valuation.Pick{{Lot: "B", Mass: 20 * kg}},
		Offers:    []valuation.Offer{{ID: "O", Breaks: breaks("0", "5"), Pack: 25 * kg}},
		Standards: []valuation.StandardPrice{{ID: "old", Cost: money.MustPerKg("2", "EUR")}, {ID: "new", From: day, Cost: money.MustPerKg("3.5", "EUR")}},
	}
	for basis, want := range map[valuation.Basis]string{
		valuation.Lot: "80 EUR", valuation.Average: "75 EUR", valuation.FIFO: "70 EUR",
		valuation.Replacement: "100 EUR", valuation.Standard: "70 EUR",
	} {
		got, err := valuation.Value(basis, 20*kg, s)
		if err != nil || got.Total.String() != want || got.Basis != basis {
			t.Errorf("20 kg on basis %s: %s, %v; want %s", basis, got.Total, err, want)
		}
		if back, err := valuation.ParseBasis(basis.String()); err != nil || back != basis {
			t.Errorf("%s reads back as %s, %v", basis, back, err)
		}
		if _, err := valuation.Value(basis, 0, s); !errors.Is(err, valuation.ErrQuantity) {
			t.Errorf("nothing on basis %s: %v", basis, err)
		}
	}
	if _, err := valuation.Value(0, kg, s); !errors.Is(err, valuation.ErrBasis) {
		t.Errorf("no basis: %v", err)
	}
	if _, err := valuation.ParseBasis("LIFO"); !errors.Is(err, valuation.ErrBasis) {
		t.Errorf("an unknown basis: %v", err)
	}
	s.On = day.AddDate(0, 0, -1)
	if std, err := valuation.StandardOn(s.Standards, s.On); err != nil || std.ID != "old" {
		t.Errorf("the day before: %+v, %v", std, err)
	}
	if _, err := valuation.StandardOn(s.Standards[1:], s.On); !errors.Is(err, valuation.ErrNoStandard) {
		t.Errorf("before the first standard: %v", err)
	}
	v, err := valuation.PriceVariance(money.MustPerKg("3.7", "EUR"), money.MustPerKg("3.5", "EUR"), 100*kg)
	if err != nil || v.String() != "20 EUR" {
		t.Errorf("variance: %s, %v", v, err)
	}
}
