package app_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"millbase/costing/money"
	"millbase/costing/purchase"
	"millbase/costing/valuation"
	"millbase/inventory/mass"
	"millbase/server/app"
)

// quotedDeep makes the quote, and checks that it is rebuilt to the last digit.
func (x *mill) quotedDeep(change ...func(*app.QuoteRequest)) app.Quote {
	x.t.Helper()
	q, err := x.book.CreateQuote(x.t.Context(), x.quoteFor(change...), app.Request{})
	if err != nil {
		x.t.Fatal(err)
	}
	again, err := x.book.RebuildQuote(x.t.Context(), q.ID)
	if err != nil || len(again.Differences) > 0 {
		x.t.Errorf("rebuilt: %v, %v", again.Differences, err)
	}
	return q
}

// By hand: 100 kg cost 1007.875; at 12 per kg 1200 are asked, 192.125 more, which
// is 16.01 % of it.
func TestQuoteAtATargetPrice(t *testing.T) {
	x := newWorks(t)
	q := x.quotedDeep(func(r *app.QuoteRequest) { r.Target = money.MustPerKg("12", "EUR") })
	if b := q.Breaks[0]; b.Total.String() != "1200 EUR" || b.Margin.String() != "192.125 EUR" || b.MarginPercent.String() != "16.01" {
		t.Errorf("%s, margin %s, %s %%", b.Total, b.Margin, b.MarginPercent)
	}
	low := x.quotedDeep(func(r *app.QuoteRequest) { r.ID, r.Target = "q-low", money.MustPerKg("9", "EUR") })
	if b := low.Breaks[0]; b.Margin.Sign() >= 0 {
		t.Errorf("below cost the margin is %s", b.Margin)
	}
	for name, target := range map[string]money.PerKg{"in another currency": money.MustPerKg("12", "USD"), "of nothing": money.MustPerKg("0", "EUR")} {
		_, err := x.book.CreateQuote(t.Context(), x.quoteFor(func(r *app.QuoteRequest) { r.ID, r.Target = "q-bad", target }), app.Request{})
		if err == nil {
			t.Errorf("a target price %s is taken", name)
		}
	}
}

// TestQuoteFullBatches: the mixers hold 100 and 500 kg, of which 80 % are canned.
// Where they lose half a per cent of it, and the filler one, 78.8 and 394.0 kg are
// canned of a charge.
func TestQuoteFullBatches(t *testing.T) {
	x := newWorks(t)
	q := x.quotedDeep(func(r *app.QuoteRequest) { r.FullBatches, r.Quantities = true, []mass.Mass{500 * kilo, 50 * kilo} })
	checkFullBatches(t, q, []mass.Mass{50, 80, 400, 500}, []int{1, 1, 1, 2})
	p := worksPlant()
	p.Machines[0].LossPercent, p.Machines[1].LossPercent, p.Machines[4].LossPercent = dec("0.5"), dec("0.5"), dec("1")
	x.figures(p)
	q = x.quotedDeep(func(r *app.QuoteRequest) {
		r.ID, r.FullBatches, r.Quantities = "q-loss", true, []mass.Mass{1000 * kilo, 50 * kilo, 78 * kilo}
	})
	checkFullBatches(t, q, []mass.Mass{50, 78, 394, 788, 1000}, []int{1, 1, 1, 2, 3})
}

func checkFullBatches(t *testing.T, q app.Quote, want []mass.Mass, batches []int) {
	t.Helper()
	if len(q.Breaks) != len(want) {
		t.Fatalf("%d quantities, want %v", len(q.Breaks), want)
	}
	for i, b := range q.Breaks {
		asked := b.Quantity == 50*kilo || b.Quantity == 78*kilo || i == len(want)-1
		if b.Quantity != want[i]*kilo || b.FullBatch == asked || b.Batches != batches[i] {
			t.Errorf("%s, full batch %v, %d batches; want %d kg in %d", b.Quantity, b.FullBatch, b.Batches, want[i], batches[i])
		}
	}
}

// On the lot basis the base ink is valued as it lies on the shelf; through its
// formula it has no cost, for nothing is known of what the pigment costs.
func TestABasisWithoutACostSaysWhy(t *testing.T) {
	x := newWorks(t)
	x.update(func(ctx context.Context, tx app.Tx) error {
		rec, err := tx.Materials().Get(ctx, "blue")
		if err == nil {
			rec.Value.StandardCostPerKg = dec("0")
			_, err = tx.Materials().Update(ctx, rec.Value, 0)
		}
		return err
	})
	x.stock("l-base", "base-blue", 200*kilo, "7", 100)
	q := x.quotedDeep(func(r *app.QuoteRequest) { r.Basis = valuation.Lot })
	for _, b := range q.Breaks[0].ByBasis {
		none := b.Basis == valuation.Replacement || b.Basis == valuation.Standard
		if none != (b.Total.Currency == "") {
			t.Errorf("%s: %+v", b.Basis, b)
		}
		if none {
			says(t, b.Missing, "materials/blue has no cost")
		}
	}
	says(t, q.Breaks[0].ByBasis[0].Missing, "Cobalt drier: no free lot")
	for _, m := range q.Breaks[0].ByBasis[1].Missing { // what is said on any basis is not missing
		if strings.Contains(m, "are valued on the") {
			t.Errorf("missing: %q", m)
		}
	}
}

// TestQuoteHoldsNoLongerThanItsOffers: at replacement cost the drier comes from an
// offer that ends in ten days.
func TestQuoteHoldsNoLongerThanItsOffers(t *testing.T) {
	x := newWorks(t)
	x.update(func(ctx context.Context, tx app.Tx) error {
		for id, until := range map[string]time.Time{"ends": x.day(10), "holds": {}} {
			price := map[string]string{"ends": "4", "holds": "9"}[id]
			if _, err := tx.Offers().Create(ctx, purchase.Offer{Supplier: "acme", ID: id, Material: "drier", Currency: "USD", ValidUntil: until,
				Breaks: []purchase.Break{{PricePerKg: dec(price)}}}); err != nil {
				return err
			}
		}
		return nil
	})
	q := x.quotedDeep(func(r *app.QuoteRequest) { r.Basis, r.WithLaboratory = valuation.Replacement, true })
	if !q.ValidUntil.Equal(x.day(10)) || q.CappedBy != "suppliers/acme/offers/ends" || !strings.Contains(strings.Join(q.Assumptions, "\n"), "suppliers/acme/offers/ends") {
		t.Errorf("holds until %s, capped by %q, %v", q.ValidUntil, q.CappedBy, q.Assumptions)
	}
	for _, a := range q.Breaks[0].ByBasis {
		if want := a.Total.Amount.Sub(q.Breaks[0].Cost.Amount); !a.Difference.Amount.Equal(want) {
			t.Errorf("%s: difference %s, want %s", a.Basis, a.Difference, want)
		}
	}
	for _, a := range q.Breaks[0].ByBasis[1:] { // the laboratory is in all of them
		if d := a.Difference.Amount.Abs(); d.GreaterThan(dec("80")) {
			t.Errorf("%s differs by %s", a.Basis, d)
		}
	}
	if all := q.Breaks[0].ByBasis; len(all) != 4 || all[0].Basis != valuation.Replacement || !all[0].Difference.IsZero() {
		t.Errorf("by basis: %+v", all)
	}
	standard := x.quotedDeep(func(r *app.QuoteRequest) { r.ID = "q-standard" })
	if !standard.ValidUntil.Equal(x.day(30)) || standard.CappedBy != "" {
		t.Errorf("at standard cost it holds until %s, capped by %q", standard.ValidUntil, standard.CappedBy)
	}
}

// TestQuoteWashUp: the small mixer is washed for 20 minutes, for 5 after a lighter
// ink, at 30 an hour: 7.50 less, and 10 % of overhead on that.
func TestQuoteWashUp(t *testing.T) {
	x := newWorks(t)
	p := worksPlant()
	p.Machines[0].ShortWashUp = 5
	x.figures(p)
	at := func(id string, lightness, after float64) money.Money {
		q := x.quotedDeep(func(r *app.QuoteRequest) {
			r.ID, r.Quantities = id, []mass.Mass{50 * kilo}
			if after > 0 {
				r.Sequence = app.Sequence{Lightness: &lightness, After: &after}
			}
		})
		return q.Breaks[0].Cost
	}
	full, dark, light := at("q-full", 0, 0), at("q-dark", 40, 80), at("q-light", 80, 40)
	if saved := full.Amount.Sub(dark.Amount); !saved.Equal(dec("8.25")) || !light.Equal(full) {
		t.Errorf("in full %s, light to dark %s, dark to light %s", full, dark, light)
	}
}

// TestQuoteMixesCans: 25 kg are a pail of 20 kg at 3 and five tins of 1 kg at 0.50,
// which is 0.50 less than two pails.
func TestQuoteMixesCans(t *testing.T) {
	x := newWorks(t)
	q := x.quotedDeep(func(r *app.QuoteRequest) { r.Quantities, r.Pack = []mass.Mass{25 * kilo}, "tin-1, pail-20" })
	cans := q.Breaks[0].Cans
	if len(cans) != 2 || cans[0].Pack != "pail-20" || cans[0].Count != 1 || cans[1].Pack != "tin-1" || cans[1].Count != 5 {
		t.Errorf("cans: %+v", cans)
	}
	if _, err := x.book.CreateQuote(t.Context(), x.quoteFor(func(r *app.QuoteRequest) { r.ID, r.Pack = "q-bad", "tin-1,barrel" }), app.Request{}); err == nil ||
		!strings.Contains(err.Error(), "barrel") {
		t.Errorf("an unknown pack: %v", err)
	}
}
