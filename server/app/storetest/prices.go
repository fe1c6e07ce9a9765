package storetest

import (
	"context"
	"testing"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/costing/purchase"
	"millbase/server/app"
)

func testOutlooks(t *testing.T, s app.Store) {
	run(t, s, "price outlooks", aggregate[purchase.Outlook]{func(x app.Tx) app.Repo[purchase.Outlook] { return x.PriceOutlooks() },
		func(t *rapid.T, id string) purchase.Outlook { return drawOutlook(t, s, id) },
		func(v purchase.Outlook) string { return v.Supplier + "/" + v.Offer },
		func(v purchase.Outlook) map[string]string {
			return map[string]string{"supplier": v.Supplier, "offer": v.Supplier + "/" + v.Offer, "material": "m-1"}
		}})
}

// drawOutlook makes the offer that the outlook is of, unless it is there.
func drawOutlook(t *rapid.T, s app.Store, id string) purchase.Outlook {
	err := s.Update(context.Background(), func(ctx context.Context, tx app.Tx) error {
		if _, err := tx.Offers().Get(ctx, "s-1/"+id); err == nil {
			return nil
		}
		_, err := tx.Offers().Create(ctx, purchase.Offer{ID: id, Supplier: "s-1", Material: "m-1"})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return purchase.Outlook{Supplier: "s-1", Offer: id, Currency: words.Draw(t, "currency"), Note: words.Draw(t, "note"),
		Weeks: list(t, rapid.Custom(func(t *rapid.T) purchase.Expected {
			return purchase.Expected{Week: dates.Draw(t, "week"), PricePerKg: prices.Draw(t, "price")}
		}))}
}

// Every price that an offer had is kept, once, and can't be changed; what is no
// price leaves no trace.
func testOfferPrices(t *testing.T, s app.Store) {
	o := purchase.Offer{ID: "dated", Supplier: "s-1", Material: "m-1", Currency: "EUR"}
	change := func(f func(*purchase.Offer)) {
		update(t, s, func(tx app.Tx) error {
			rec, err := tx.Offers().Get(t.Context(), "s-1/dated")
			if err != nil {
				_, err = tx.Offers().Create(t.Context(), o)
				return err
			}
			f(&rec.Value)
			_, err = tx.Offers().Update(t.Context(), rec.Value, rec.Version)
			return err
		})
	}
	priced := func(price string) func(*purchase.Offer) {
		return func(o *purchase.Offer) {
			o.Breaks = []purchase.Break{{PricePerKg: decimal.RequireFromString(price)}}
		}
	}
	for _, f := range []func(*purchase.Offer){nil, priced("2.5"), func(o *purchase.Offer) { o.LeadTimeDays = 9 }, priced("2.5"), priced("2.75"),
		func(o *purchase.Offer) { o.FreightPerKg = decimal.RequireFromString("0.1") }} {
		change(f)
	}
	err := s.View(t.Context(), func(ctx context.Context, tx app.Tx) error {
		recs, err := tx.OfferPrices(ctx, app.Query{Where: []app.Condition{{Field: "offer", Op: "=", Value: "s-1/dated"}, {Field: "material", Op: "=", Value: "m-1"}}})
		if err != nil || len(recs) != 4 {
			t.Fatalf("%d prices, %v; want 4", len(recs), err)
		}
		for i, want := range []string{"", "2.5", "2.75", "2.75"} {
			got := recs[i].Value
			if got.ID != "dated" || got.Supplier != "s-1" || (want != "") != (len(got.Breaks) == 1) || (want != "" && got.Breaks[0].PricePerKg.String() != want) ||
				(i > 0 && !recs[i].CreatedAt.After(recs[i-1].CreatedAt)) {
				t.Errorf("price %d: %+v, want %s", i, recs[i], want)
			}
		}
		if recs[3].Value.FreightPerKg.String() != "0.1" || recs[3].Value.Version != recs[3].Version {
			t.Errorf("the newest: %+v", recs[3])
		}
		rest, err := tx.OfferPrices(ctx, app.Query{Where: []app.Condition{{Field: "offer", Op: "=", Value: "s-1/dated"}}, After: app.PriceRecordID(recs[1].Value), Limit: 1})
		if err != nil || len(rest) != 1 || rest[0].Version != recs[2].Version {
			t.Errorf("the next page: %+v, %v", rest, err)
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
}
