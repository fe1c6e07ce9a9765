package landed_test

import (
	"errors"
	"testing"
	"time"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/costing/landed"
	"millbase/costing/money"
	"millbase/inventory/mass"
)

const kg = mass.Kilogram

var day = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

func dec(s string) decimal.Decimal { return decimal.RequireFromString(s) }

// Invented figures, worked out by hand: a pigment and a resin in one delivery.
//
//	pigment 250 kg x 8 USD x 0.9 = 1800, resin 750 kg x 2 USD x 0.9 = 1350
//	freight 400 by mass: 100 and 300; insurance 70 USD = 63 by value: 36 and 27
//	duty: pigment 6.5 % of 1800 + 100 (freight counted in) = 123.5; resin 20
func TestDelivery(t *testing.T) {
	costs, err := landed.Make(landed.Receipt{
		Currency: "EUR", SharePlaces: 2,
		Rates: []money.Rate{{From: "USD", To: "EUR", Value: dec("0.9"), Date: day}},
		Lines: []landed.Line{
			{Lot: "pigment", Mass: 250 * kg, Price: money.MustPerKg("8", "USD"), DutyPercent: dec("6.5"), DutyOnFreight: true},
			{Lot: "resin", Mass: 750 * kg, Price: money.MustPerKg("2", "USD"), DutyAmount: money.MustParse("20 EUR")},
		},
		Charges: []landed.Charge{
			{Name: "freight", Amount: money.MustParse("400 EUR"), Dutiable: true},
			{Name: "insurance", Amount: money.MustParse("70 USD"), By: landed.ByValue},
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct {
		total, perKg string
		items        []string
	}{
		{"2059.5 EUR", "8.238 EUR/kg", []string{"price 2000 USD 1800 EUR", "freight 100 EUR 100 EUR", "insurance 40 USD 36 EUR", "duty 123.5 EUR 123.5 EUR"}},
		{"1697 EUR", "2.262667 EUR/kg", []string{"price 1500 USD 1350 EUR", "freight 300 EUR 300 EUR", "insurance 30 USD 27 EUR", "duty 20 EUR 20 EUR"}},
	} {
		c := costs[i]
		perKg, err := c.PerKg(6, money.RoundHalfEven)
		if err != nil || c.Total.String() != want.total || perKg.String() != want.perKg {
			t.Errorf("%s: %s, %s per kg (%v); want %s and %s", c.Lot, c.Total, perKg, err, want.total, want.perKg)
		}
		for k, item := range c.Items {
			if got := item.Name + " " + item.Stated.String() + " " + item.Cost.String(); got != want.items[k] {
				t.Errorf("%s: item %q, want %q", c.Lot, got, want.items[k])
			}
		}
	}
}

func TestBadReceipts(t *testing.T) {
	good := func() landed.Receipt {
		return landed.Receipt{Currency: "EUR", SharePlaces: 2,
			Lines:   []landed.Line{{Lot: "A", Mass: kg, Price: money.MustPerKg("1", "EUR")}},
			Charges: []landed.Charge{{Name: "freight", Amount: money.MustParse("1 EUR")}}}
	}
	usd := money.Rate{From: "USD", To: "EUR", Value: dec("0.9")}
	for name, c := range map[string]struct {
		change func(*landed.Receipt)
		err    error
	}{
		"no currency":      {func(r *landed.Receipt) { r.Currency = "" }, money.ErrCurrency},
		"no lines":         {func(r *landed.Receipt) { r.Lines = nil }, landed.ErrReceipt},
		"no mass":          {func(r *landed.Receipt) { r.Lines[0].Mass = 0 }, landed.ErrReceipt},
		"negative price":   {func(r *landed.Receipt) { r.Lines[0].Price.Amount = dec("-1") }, landed.ErrReceipt},
		"negative duty":    {func(r *landed.Receipt) { r.Lines[0].DutyPercent = dec("-1") }, landed.ErrReceipt},
		"negative freight": {func(r *landed.Receipt) { r.Charges[0].Amount.Amount = dec("-1") }, landed.ErrReceipt},
		"no rate":          {func(r *landed.Receipt) { r.Lines[0].Price.Currency = "USD" }, landed.ErrReceipt},
		"no rate for duty": {func(r *landed.Receipt) { r.Lines[0].DutyAmount = money.MustParse("1 USD") }, landed.ErrReceipt},
		"rate elsewhere":   {func(r *landed.Receipt) { r.Rates = []money.Rate{{From: "EUR", To: "USD", Value: dec("1")}} }, landed.ErrReceipt},
		"rate of zero":     {func(r *landed.Receipt) { r.Rates = []money.Rate{{From: "USD", To: "EUR"}} }, money.ErrRate},
		"two rates":        {func(r *landed.Receipt) { r.Rates = []money.Rate{usd, usd} }, landed.ErrReceipt},
		"places":           {func(r *landed.Receipt) { r.SharePlaces = -1 }, landed.ErrReceipt},
		"by value of none": {func(r *landed.Receipt) { r.Lines[0].Price.Amount = decimal.Zero; r.Charges[0].By = landed.ByValue }, money.ErrWeights},
		"by who knows":     {func(r *landed.Receipt) { r.Charges[0].By = 7 }, landed.ErrReceipt},
	} {
		r := good()
		c.change(&r)
		if _, err := landed.Make(r); !errors.Is(err, c.err) {
			t.Errorf("%s: %v, want %v", name, err, c.err)
		}
	}
}

// The lines carry all that was paid and no more: the sum of their totals is the
// goods, the charges and the duties, each converted.
func TestNothingIsLost(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rate := money.Rate{From: "USD", To: "EUR", Value: decimal.New(rapid.Int64Range(1, 3e6).Draw(t, "rate"), -6), Date: day}
		r := landed.Receipt{Currency: "EUR", SharePlaces: rapid.Int32Range(0, 6).Draw(t, "places"), Rates: []money.Rate{rate}}
		paid := money.Zero("EUR")
		add := func(m money.Money) {
			if m.Currency == "USD" {
				m.Amount = m.Amount.Mul(rate.Value)
			}
			paid.Amount = paid.Amount.Add(m.Amount)
		}
		for range rapid.IntRange(1, 6).Draw(t, "lines") {
			l := landed.Line{Lot: "L", Mass: mass.Mass(rapid.Int64Range(1, int64(1000*kg)).Draw(t, "mass")),
				Price:       money.PerKg{Currency: rapid.SampledFrom([]string{"EUR", "USD"}).Draw(t, "currency"), Amount: decimal.New(rapid.Int64Range(1, 1e6).Draw(t, "price"), -4)},
				DutyPercent: decimal.New(rapid.Int64Range(0, 2000).Draw(t, "duty"), -2)}
			r.Lines = append(r.Lines, l)
			add(l.Price.Of(l.Mass))
			add(l.Price.Of(l.Mass).Percent(l.DutyPercent))
		}
		for range rapid.IntRange(0, 3).Draw(t, "charges") {
			ch := landed.Charge{Name: "freight", Amount: money.Money{Currency: "EUR", Amount: decimal.NewFromInt(rapid.Int64Range(0, 9999).Draw(t, "amount"))},
				By: landed.By(rapid.IntRange(0, 1).Draw(t, "by"))}
			r.Charges = append(r.Charges, ch)
			add(ch.Amount)
		}
		costs, err := landed.Make(r)
		if err != nil {
			t.Fatal(err)
		}
		sum := money.Zero("EUR")
		for _, c := range costs {
			items := money.Zero("EUR")
			for _, i := range c.Items {
				items.Amount = items.Amount.Add(i.Cost.Amount)
			}
			if !items.Equal(c.Total) {
				t.Fatalf("items of %s add up to %s, total %s", c.Lot, items, c.Total)
			}
			sum.Amount = sum.Amount.Add(c.Total.Amount)
		}
		if !sum.Equal(paid) {
			t.Fatalf("paid %s, the lines carry %s", paid, sum)
		}
	})
}

// By hand: 8 USD and 0.40 freight per kg, 6.5 % duty, 0.9 EUR for a USD.
func TestTermsOfAnOffer(t *testing.T) {
	usd := money.Rate{From: "USD", To: "EUR", Value: dec("0.9"), Date: day}
	terms := landed.Terms{Price: money.MustPerKg("8", "USD"), Freight: dec("0.4"), DutyPercent: dec("6.5")}
	if c, err := terms.PerKg(usd); err != nil || c.Price.String() != "7.2 EUR/kg" || c.Freight.String() != "0.36 EUR/kg" ||
		c.Duty.String() != "0.468 EUR/kg" || c.Total.String() != "8.028 EUR/kg" {
		t.Errorf("duty on the price: %+v, %v", c, err)
	}
	terms.DutyOnFreight = true
	if c, err := terms.PerKg(usd); err != nil || c.Total.String() != "8.0514 EUR/kg" {
		t.Errorf("duty on price and freight: %+v, %v", c, err)
	}
	if _, err := terms.PerKg(money.Same("EUR")); !errors.Is(err, money.ErrMismatch) {
		t.Errorf("a rate from another currency: %v", err)
	}
	terms.Freight = dec("-1")
	if _, err := terms.PerKg(usd); !errors.Is(err, landed.ErrReceipt) {
		t.Errorf("negative freight: %v", err)
	}
}
