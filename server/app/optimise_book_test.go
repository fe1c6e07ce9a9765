package app_test

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"millbase/costing/purchase"
	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/ledger"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/server/app"
	"millbase/solver/formulation"
)

// asked is the sheetfed cyan from the book in five days.
func (x *mill) asked() app.OptimiseRequest {
	return app.OptimiseRequest{Specification: "cyan", Quantity: 100 * mass.Kilogram, Date: x.today.AddDate(0, 0, 5), Book: &app.BookCandidates{}}
}

func (x *mill) optimise(req app.OptimiseRequest) *app.Optimised {
	x.t.Helper()
	o, err := x.book.Optimise(context.Background(), req)
	if err != nil {
		x.t.Fatal(err)
	}
	return o
}

func (x *mill) used(o *app.Optimised) map[string]mass.Mass {
	x.t.Helper()
	if o.Answer.Outcome != formulation.Optimal {
		x.t.Fatalf("%s: %s", o.Answer.Outcome, o.Summary)
	}
	out := map[string]mass.Mass{}
	for _, c := range o.Answer.Components {
		out[o.Problem.Candidates[c.Candidate].ID] = c.Mass
	}
	return out
}

func leftOut(o *app.Optimised, id string) string {
	for _, l := range o.LeftOut {
		if l.Candidate == id {
			return l.Why
		}
	}
	return ""
}

func TestOnlyUsableLotsTakePart(t *testing.T) {
	x := newMill(t)
	x.fill()
	x.specification()
	x.stock("blue-held", "blue", 50, "1.00", 100, func(l *app.StockLot) { l.Status = lot.Held })
	x.stock("blue-quarantined", "blue", 50, "1.00", 100, func(l *app.StockLot) { l.Status = lot.Quarantined })
	x.stock("blue-old", "blue", 50, "1.00", 4) // expires the day before
	x.stock("blue-reserved", "blue", 50, "1.00", 100)
	x.reserve("blue-reserved", 50)
	x.stock("blue-partly", "blue", 10, "1.00", 100)
	x.reserve("blue-partly", 8)
	x.stock("blue-last-day", "blue", 3, "1.00", 5) // its last day is the day itself
	x.stock("blue-unpriced", "blue", 50, "0", 100)
	x.stock("tin-1", "tin", 50, "0.01", 0)
	x.stock("cyan-0", "cyan", 50, "0.01", 100, func(l *app.StockLot) { l.Certificate = property.Set{"density_kg_per_l": 1} })
	o := x.optimise(x.asked())
	used := x.used(o)
	if used["lots/blue-partly"] != 2*mass.Kilogram || used["lots/blue-last-day"] != 3*mass.Kilogram {
		t.Errorf("used %v", used)
	}
	for id, why := range map[string]string{"lots/blue-held": "held", "lots/blue-quarantined": "quarantined", "lots/blue-old": "expired on",
		"lots/blue-reserved": "reserved", "lots/blue-unpriced": "landed cost is not known"} {
		if got := leftOut(o, id); !strings.Contains(got, why) || used[id] != 0 {
			t.Errorf("%s: left out because %q, want %q; used %s", id, got, why, used[id])
		}
	}
	for _, c := range o.Problem.Candidates {
		if c.Class == inventory.Packaging || c.Class == inventory.Ink {
			t.Errorf("%s takes part", c.ID)
		}
		if c.ID == "lots/blue-1" && c.Title != "Phthalo blue, lot blue-1" {
			t.Errorf("title %q", c.Title)
		}
	}
	req := x.asked()
	req.Book = &app.BookCandidates{Excluded: []string{"lots/blue-partly", "materials/oil"}, WithFinishedInk: true, Materials: []string{"blue", "varnish", "oil", "drier", "cyan"}}
	with := x.optimise(req)
	for _, c := range with.Problem.Candidates {
		if c.ID == "lots/blue-partly" || c.Material == "oil" {
			t.Errorf("%s takes part", c.ID)
		}
	}
	if leftOut(with, "lots/cyan-0") == "" {
		t.Error("finished ink was asked for, but it neither takes part nor is it left out for what it lacks")
	}
}

func TestOffersThatArriveInTime(t *testing.T) {
	x := newMill(t)
	x.fill()
	x.specification()
	breaks := func(first, second string) []purchase.Break {
		return []purchase.Break{{PricePerKg: dec(first)}, {From: 50 * mass.Kilogram, PricePerKg: dec(second)}}
	}
	// 20.0 x 1.05 + 0.50 = 21.50 USD, at 0.90: 19.35 EUR, and 5.40 from 50 kg.
	x.offer(purchase.Offer{ID: "blue", Material: "blue", Currency: "USD", LeadTimeDays: 5, Breaks: breaks("20.0", "5.2380952380952"),
		DutyPercent: dec("5"), FreightPerKg: dec("0.50")})
	x.offer(purchase.Offer{ID: "oil-late", Material: "oil", Currency: "EUR", LeadTimeDays: 6, Breaks: breaks("0.01", "0.01")})
	x.offer(purchase.Offer{ID: "oil-usual", Material: "oil", Currency: "EUR", Breaks: breaks("0.01", "0.01")}) // the supplier's 7 days
	x.offer(purchase.Offer{ID: "oil-future", Material: "oil", Currency: "EUR", LeadTimeDays: 1, Breaks: breaks("0.01", "0.01"), ValidFrom: x.today.AddDate(0, 0, 1)})
	x.offer(purchase.Offer{ID: "oil-ended", Material: "oil", Currency: "EUR", LeadTimeDays: 1, Breaks: breaks("0.01", "0.01"), ValidUntil: x.today.AddDate(0, 0, -1)})
	x.offer(purchase.Offer{ID: "oil-yen", Material: "oil", Currency: "JPY", LeadTimeDays: 1, Breaks: breaks("0.01", "0.01")})
	x.offer(purchase.Offer{ID: "drier", Material: "drier", Currency: "EUR", LeadTimeDays: 1, Breaks: breaks("0.50", "0.40"), ValidUntil: x.today})

	// 100 kg of ink need 18 kg of blue: the offer's price is that of the first break.
	o := x.optimise(x.asked())
	used := x.used(o)
	if used["suppliers/acme/offers/blue"] != 0 || used["lots/blue-1"] == 0 || used["suppliers/acme/offers/drier"] == 0 {
		t.Errorf("used %v", used)
	}
	for id, why := range map[string]string{"oil-late": "it arrives on", "oil-usual": "it arrives on", "oil-future": "holds only from", "oil-yen": "no exchange rate from JPY"} {
		if got := leftOut(o, "suppliers/acme/offers/"+id); !strings.Contains(got, why) {
			t.Errorf("%s: left out because %q, want %q", id, got, why)
		}
	}
	x.priced(o, "suppliers/acme/offers/blue", "19.35")

	// 400 kg of ink need 72 kg: now the lower price counts, and the lot at 12.00 stays.
	big := x.asked()
	big.Quantity = 400 * mass.Kilogram
	o = x.optimise(big)
	if used := x.used(o); used["suppliers/acme/offers/blue"] < 50*mass.Kilogram {
		t.Errorf("used %v", used)
	}
	x.priced(o, "suppliers/acme/offers/blue", "5.4")
	if all := strings.Join(o.Assumptions, "\n"); !strings.Contains(all, "Minimum orders and pack sizes are not counted") || !strings.Contains(all, "1 USD = 0.9 EUR") {
		t.Errorf("assumed %q", o.Assumptions)
	}

	stock := x.asked()
	stock.Book.StockOnly = true
	for _, c := range x.optimise(stock).Problem.Candidates {
		if !c.FromStock {
			t.Errorf("%s takes part in a formula from stock only", c.ID)
		}
	}
}

func (x *mill) priced(o *app.Optimised, id, want string) {
	x.t.Helper()
	for j, c := range o.Problem.Candidates {
		if c.ID == id {
			if !o.Prices[j].Equal(dec(want)) {
				x.t.Errorf("%s costs %s, want %s", id, o.Prices[j], want)
			}
			return
		}
	}
	x.t.Errorf("%s does not take part", id)
}

func TestCostBases(t *testing.T) {
	x := newMill(t)
	x.fill()
	x.specification()
	x.stock("blue-2", "blue", 25, "10.00", 100)
	x.stock("blue-held", "blue", 75, "14.00", 100, func(l *app.StockLot) { l.Status = lot.Held })
	x.offer(purchase.Offer{ID: "blue", Material: "blue", Currency: "USD", LeadTimeDays: 90, FreightPerKg: dec("1"),
		Breaks: []purchase.Break{{PricePerKg: dec("15")}, {From: 100 * mass.Kilogram, PricePerKg: dec("14")}, {From: 101 * mass.Kilogram, PricePerKg: dec("13")}}})
	for _, c := range []struct {
		basis valuation.Basis
		want  string
	}{
		{valuation.Lot, "10"},
		{valuation.Average, "12.5"},     // (100 x 12 + 25 x 10 + 75 x 14) / 200
		{valuation.Replacement, "13.5"}, // (14 + 1) x 0.90, the break of 100 kg
		{valuation.Standard, "12"},
	} {
		req := x.asked()
		req.Basis = c.basis
		o := x.optimise(req)
		if c.basis != valuation.Replacement && o.Answer.Outcome != formulation.Optimal {
			t.Errorf("%s: %s", c.basis, o.Summary)
		}
		x.priced(o, "lots/blue-2", c.want)
		if c.basis == valuation.Replacement {
			if why := leftOut(o, "lots/oil-1"); !strings.Contains(why, "no offer of the material") {
				t.Errorf("oil without an offer: %q", why)
			}
			if !strings.Contains(o.Summary, "No formula") {
				t.Errorf("summary %q", o.Summary)
			}
		}
	}
}

func TestRequestLimitsReplaceThoseOfTheSpecification(t *testing.T) {
	x := newMill(t)
	x.fill()
	x.specification()
	req := x.asked()
	req.Limits = []formulation.Limit{{ID: "pigment", Kind: formulation.PigmentLoading, Lower: at(0.21)},
		{ID: "oil", Kind: formulation.Share, Materials: []string{"oil"}, Upper: at(0.05)}}
	o := x.optimise(req)
	used := x.used(o)
	if blue := used["lots/blue-1"]; blue < 20_999_000 || used["lots/oil-1"] > 5_001_000 || len(o.Problem.Limits) != 5 || o.Problem.Limits[0].Upper != nil {
		t.Errorf("used %v, limits %+v", used, o.Problem.Limits)
	}
	req.Limits[1].Lower = at(math.Inf(1))
	var bad app.Invalid
	if _, err := x.book.Optimise(context.Background(), req); !errors.As(err, &bad) || bad[0].Field != "limits[1].lower" {
		t.Errorf("got %v", err)
	}
	for field, change := range map[string]func(*app.OptimiseRequest){
		"date":              func(r *app.OptimiseRequest) { r.Date = x.today.AddDate(0, 0, -1) },
		"book.materials[0]": func(r *app.OptimiseRequest) { r.Book = &app.BookCandidates{Materials: []string{"nothing"}} },
		"book.materials[1]": func(r *app.OptimiseRequest) { r.Book = &app.BookCandidates{Materials: []string{"blue", "tin"}} },
		"book.excluded[0]":  func(r *app.OptimiseRequest) { r.Book = &app.BookCandidates{Excluded: []string{"blue"}} },
	} {
		req := x.asked()
		change(&req)
		if _, err := x.book.Optimise(context.Background(), req); !errors.As(err, &bad) || bad[0].Field != field {
			t.Errorf("%s: got %v", field, err)
		}
	}
	req = x.asked()
	req.Specification = "nothing"
	if _, err := x.book.Optimise(context.Background(), req); !errors.Is(err, app.ErrNotFound) {
		t.Errorf("got %v", err)
	}
}

// A lot that is used up takes no part, and may still be named as left out.
func TestUsedUpLotsAreNotRead(t *testing.T) {
	x := newMill(t)
	x.fill()
	x.specification()
	x.stock("blue-gone", "blue", 5, "0.01", 100)
	if _, err := x.book.Post(context.Background(), app.Posting{ID: uuid.NewString(), Kind: ledger.Scrap, Lot: "blue-gone", Location: "a-1", Quantity: 5 * mass.Kilogram}); err != nil {
		t.Fatal(err)
	}
	stocked := func(want string) (ids []string) {
		x.update(func(ctx context.Context, tx app.Tx) error {
			lots, err := tx.Lots().List(ctx, app.Query{Where: []app.Condition{{Field: "in_stock", Op: "=", Value: want}}})
			for _, l := range lots {
				ids = append(ids, l.Value.ID)
			}
			return err
		})
		return ids
	}
	if gone := stocked("false"); len(gone) != 1 || gone[0] != "blue-gone" || slices.Contains(stocked("true"), "blue-gone") || len(stocked("true")) == 0 {
		t.Errorf("without stock: %v, with: %v", gone, stocked("true"))
	}
	req := x.asked()
	req.Book.Excluded = []string{"lots/blue-gone", "lots/blue-1"}
	o := x.optimise(req)
	for _, c := range o.Problem.Candidates {
		if c.ID == "lots/blue-gone" || c.ID == "lots/blue-1" {
			t.Errorf("%s takes part", c.ID)
		}
	}
	var bad app.Invalid
	req.Book.Excluded = []string{"lots/blue-gone", "lots/never-was"}
	if _, err := x.book.Optimise(context.Background(), req); !errors.As(err, &bad) || bad[0].Field != "book.excluded[1]" {
		t.Errorf("got %v", err)
	}
}
