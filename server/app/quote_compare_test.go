package app_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/costing/purchase"
	"millbase/costing/valuation"
	"millbase/inventory/mass"
	"millbase/server/app"
)

// By hand, 100 kg of cyan at standard cost (see TestCostThroughLevelsAtStandard):
// varnish from 3.50 to 4.20 is 0.7 more on 61.25 kg at level 0, 42.875, and on
// 37.5 kg inside the base ink, 26.25; overhead a tenth of both, 4.2875 and 2.625.
// The cost rises by 76.0375 to 1083.9125, the price to 1083.9125 / 0.75 / 100 =
// 14.4521..., 14.46: 1446, by 102; the margin takes the rest, 25.9625.
func TestReQuoteShowsTheDifferenceLineByLine(t *testing.T) {
	x := newWorks(t)
	x.quoted("q-1", true)
	x.change("varnish", func(m *app.BookMaterial) { m.StandardCostPerKg = dec("4.20") })
	x.revise("q-1")
	c, err := x.book.CompareQuote(t.Context(), "q-1", 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	if c.From != "q-1@1" || c.To != "q-1@2" || len(c.Terms) != 0 || len(c.Quantities) != 2 || len(c.OnlyFrom)+len(c.OnlyTo) != 0 {
		t.Errorf("compared %+v", c)
	}
	q := c.Quantities[1]
	if q.Before.String() != "1344 EUR" || q.After.String() != "1446 EUR" || q.Difference.String() != "102 EUR" {
		t.Errorf("from %s to %s, %s", q.Before, q.After, q.Difference)
	}
	changed := map[string]string{}
	for _, l := range q.Lines {
		if l.Difference.Sign() != 0 {
			changed[l.Title] = l.Difference.Amount.String() + "; " + l.What
		}
	}
	for title, want := range map[string]string{
		"Alkyd varnish":                       "42.875; 3.5 -> 4.2 EUR per kg",
		"Alkyd varnish, in Base blue":         "26.25; 3.5 -> 4.2 EUR per kg",
		"overhead on materials":               "4.2875; ",
		"overhead on materials, in Base blue": "2.625; ",
		"margin":                              "25.9625; ",
	} {
		if got := changed[title]; !strings.HasPrefix(got, want) {
			t.Errorf("%s: %q, want %q", title, got, want)
		}
		delete(changed, title)
	}
	if len(changed) > 0 {
		t.Errorf("changed beside: %v", changed)
	}
	if _, err := x.book.CompareQuote(t.Context(), "q-1", 0, 1); err == nil || !strings.Contains(err.Error(), "no revision before") {
		t.Errorf("the first compared with nothing: %v", err)
	}
	x.revise("q-1", func(r *app.QuoteRequest) { r.Currency = "USD" })
	if _, err := x.book.CompareQuote(t.Context(), "q-1", 0, 0); err == nil || !strings.Contains(err.Error(), "same currency") {
		t.Errorf("two currencies: %v", err)
	}
}

// randomBook changes the figures of the plant, the standard costs, the lots and
// the offers, all at once.
func (x *mill) randomBook(t *rapid.T) {
	cents := func(what string, most int64) decimal.Decimal {
		return decimal.New(rapid.Int64Range(1, most).Draw(t, what), -3)
	}
	p := worksPlant()
	p.OverheadPercent, p.MarginPercent, p.LaboratoryCharge = cents("overhead", 90_000), cents("margin", 90_000), cents("laboratory", 200_000)
	p.Rates[0].Rate, p.Rates[0].Date = cents("rate", 2_000), x.day(-rapid.IntRange(0, 9).Draw(t, "rate of"))
	for i := range p.Machines {
		p.Machines[i].RatePerHour, p.Machines[i].SetupMinutes = cents("machine rate", 99_000), rapid.IntRange(0, 60).Draw(t, "set-up")
	}
	for i := range p.Packs {
		p.Packs[i].Cost = cents("pack", 9_000)
	}
	x.figures(p)
	for _, m := range []string{"blue", "varnish", "drier"} {
		x.change(m, func(m *app.BookMaterial) { m.StandardCostPerKg = cents("standard", 20_000) })
	}
	id := "lot-" + uuid.NewString()
	x.stock(id, rapid.SampledFrom([]string{"blue", "varnish", "base-blue"}).Draw(t, "received"), mass.Mass(rapid.IntRange(1, 40).Draw(t, "kg")), cents("landed", 20_000).String(), rapid.IntRange(1, 300).Draw(t, "days"))
	x.offer(purchase.Offer{ID: "offer-" + id, Material: rapid.SampledFrom([]string{"blue", "varnish", "drier"}).Draw(t, "offered"),
		Currency: rapid.SampledFrom([]string{"EUR", "USD"}).Draw(t, "in"), Breaks: []purchase.Break{{PricePerKg: cents("price", 20_000)}, {From: 50 * kilo, PricePerKg: cents("break", 20_000)}}})
}

func (x *mill) randomTerms(t *rapid.T, r *app.QuoteRequest) {
	r.Basis = rapid.SampledFrom([]valuation.Basis{valuation.Lot, valuation.Average, valuation.Replacement, valuation.Standard}).Draw(t, "basis")
	r.Pack = rapid.SampledFrom([]string{"", "tin-1", "pail-20"}).Draw(t, "pack")
	r.WithLaboratory = rapid.Bool().Draw(t, "laboratory")
	r.ValidUntil = x.day(rapid.IntRange(0, 60).Draw(t, "until"))
	if rapid.Bool().Draw(t, "own margin") {
		margin := decimal.New(rapid.Int64Range(0, 9_999).Draw(t, "margin"), -2)
		r.Margin = &margin
	}
	r.Minimum.Currency, r.Minimum.Amount = r.Currency, decimal.NewFromInt(rapid.SampledFrom([]int64{0, 100, 2000}).Draw(t, "minimum"))
	r.Quantities = nil
	for _, q := range rapid.SliceOfNDistinct(rapid.Int64Range(1, 1_200_000), 1, 3, rapid.ID).Draw(t, "grams") {
		r.Quantities = append(r.Quantities, mass.Mass(q)*mass.Gram)
	}
}

// Quotes at random, revised after everything has changed: every revision, and
// all those before, is rebuilt the same, and a comparison adds up exactly.
func TestQuotesAtRandom(t *testing.T) {
	x := newWorks(t)
	n := 0
	var names []string
	rapid.Check(t, func(rt *rapid.T) {
		n++
		id := "q-" + decimal.NewFromInt(int64(n)).String()
		currency := rapid.SampledFrom([]string{"EUR", "USD"}).Draw(rt, "currency")
		x.randomBook(rt)
		_, err := x.book.CreateQuote(t.Context(), x.quoteFor(func(r *app.QuoteRequest) { r.ID, r.Currency = id, currency; x.randomTerms(rt, r) }), app.Request{})
		if err != nil {
			rt.Fatal(err)
		}
		x.randomBook(rt)
		_, err = x.book.ReviseQuote(t.Context(), id, 0, func(q app.Quote) (app.QuoteRequest, error) {
			r, err := asBefore(q)
			kept := slices.Clone(r.Quantities)
			if rapid.Bool().Draw(rt, "other terms") {
				x.randomTerms(rt, &r)
				r.Quantities = append(kept, 1234567)
			}
			return r, err
		}, app.Request{})
		if err != nil {
			rt.Fatal(err)
		}
		x.randomBook(rt)
		names = append(names, id+"@1", id+"@2")
		for _, name := range names[max(0, len(names)-6):] {
			r, err := x.book.RebuildQuote(t.Context(), name)
			if err != nil {
				rt.Fatal(err)
			}
			if len(r.Differences) > 0 {
				rt.Fatalf("%s rebuilt: %+v", name, r.Differences)
			}
		}
		c, err := x.book.CompareQuote(t.Context(), id, 1, 2)
		if err != nil {
			rt.Fatal(err)
		}
		if len(c.Quantities) == 0 {
			rt.Fatal("no quantity to compare")
		}
		for _, q := range c.Quantities {
			addsUp(rt, q)
		}
	})
}

func addsUp(t *rapid.T, q app.QuantityComparison) {
	var before, after, difference decimal.Decimal
	for _, l := range q.Lines {
		before, after, difference = before.Add(l.Before.Amount), after.Add(l.After.Amount), difference.Add(l.Difference.Amount)
		for _, m := range []decimal.Decimal{l.Before.Amount, l.After.Amount, l.Difference.Amount} {
			if !m.Equal(m.Round(9)) {
				t.Fatalf("%s is finer than the API's money: %s", l.Title, m)
			}
		}
		if !l.After.Amount.Sub(l.Before.Amount).Equal(l.Difference.Amount) {
			t.Fatalf("%s: %s less %s is not %s", l.Title, l.After, l.Before, l.Difference)
		}
	}
	if !before.Equal(q.Before.Amount) || !after.Equal(q.After.Amount) || !difference.Equal(q.Difference.Amount) || !q.After.Amount.Sub(q.Before.Amount).Equal(difference) {
		t.Fatalf("the lines add up from %s to %s, by %s; the prices go from %s to %s, by %s", before, after, difference, q.Before, q.After, q.Difference)
	}
}
