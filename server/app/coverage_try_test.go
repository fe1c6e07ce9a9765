package app_test

import (
	"reflect"
	"strings"
	"testing"

	"millbase/costing/purchase"
	"millbase/costing/valuation"
	"millbase/inventory/batch"
	"millbase/inventory/mass"
	"millbase/server/app"
)

func (x *mill) try(changes ...app.BoardChange) app.CoverageDifference {
	x.t.Helper()
	d, err := x.book.TryCoverage(x.t.Context(), app.CoverageQuery{Weeks: 3}, changes)
	if err != nil {
		x.t.Fatal(err)
	}
	return d
}

// On the board of TestCoverageByLevelAndWeek, by hand: with the 30 kg of varnish a
// week late 35.25 are lacking on the 12th instead of 5.25; without blue-2 there is
// no blue on the 11th, when 16 kg are needed; with the batch two days earlier all
// that is short is short two days earlier. The offer of varnish costs 3.50 a kg.
func TestBoardIsTriedOut(t *testing.T) {
	x := board(t)
	x.offer(purchase.Offer{ID: "near", Material: "varnish", Currency: "EUR", Breaks: []purchase.Break{{PricePerKg: dec("3.50")}}, PackSize: 25 * kilo, LeadTimeDays: 5})
	before := x.coverage(app.CoverageQuery{Weeks: 3})
	late := x.try(app.BoardChange{Order: "po-1", Days: 7})
	if len(late.Rows) != 1 || late.Rows[0].Material != "varnish" || late.Rows[0].Before.Short != week(5.25)[0] || late.Rows[0].After.Short != week(35.25)[0] ||
		!late.Rows[0].After.FirstShort.Equal(x.day(10)) || late.CostBefore.String() != "87.5 EUR" || late.CostAfter.String() != "175 EUR" {
		t.Errorf("a week late: %+v", late)
	}
	without := x.try(app.BoardChange{Lot: "blue-2"})
	if len(without.Rows) != 1 || without.Rows[0].After.Short != 16*kilo || without.Rows[0].Before.Short != 8*kilo {
		t.Errorf("without a lot: %+v", without)
	}
	says(t, without.Remarks, "Phthalo blue: 16 kg is lacking")
	sooner := x.try(app.BoardChange{Batch: "b-1", DueDate: x.day(9)})
	for _, r := range sooner.Rows {
		if r.Before.FirstShort.IsZero() || !r.After.FirstShort.Equal(r.Before.FirstShort.AddDate(0, 0, -2)) {
			t.Errorf("two days sooner: %+v", r)
		}
	}
	if len(sooner.Rows) != 3 {
		t.Errorf("base, blue and varnish are short sooner, got %+v", sooner.Rows)
	}
	if after := x.coverage(app.CoverageQuery{Weeks: 3}); !reflect.DeepEqual(before, after) {
		t.Error("trying out has changed the board")
	}
}

// A batch that had a rejected lot set aside needs as much from elsewhere.
func TestRejectedLotIsNeededAgain(t *testing.T) {
	x := newWorks(t)
	x.stock("drier-1", "drier", 5, "9", 0)
	x.stock("drier-2", "drier", 1, "9", 0)
	x.plan(batch.Batch{ID: "b-1", Formula: "cyan", FormulaRevision: 1, Material: "cyan", Quantity: 100 * kilo, DueDate: x.day(11)})
	x.stock("base-1", "base-blue", 100, "7", 0)
	x.stock("varnish-1", "varnish", 100, "3", 0)
	if _, err := x.book.ReserveBatch(as(app.Admin), "b-1", valuation.Lot, 0); err != nil {
		t.Fatal(err)
	}
	d := x.try(app.BoardChange{Lot: "drier-1"})
	// 1.25 of drier were set aside of the first lot; 1 kg is left in the second.
	if len(d.Rows) != 1 || d.Rows[0].After.Short != mass.Kilogram/4 || !reflect.DeepEqual(d.Rows[0].After.Batches, []string{"b-1"}) || !d.Rows[0].Before.FirstShort.IsZero() {
		t.Errorf("%+v", d)
	}
}

func TestTryingOutRefusals(t *testing.T) {
	x := board(t)
	for says, c := range map[string]app.BoardChange{
		"changes[0].delay.purchase_order: purchaseOrders/po-9 is not on its way": {Order: "po-9", Days: 3},
		"changes[0].delay.purchase_order: give by how many days":                 {Order: "po-1"},
		"changes[0].rejected_lot: lots/nothing is not on hand":                   {Lot: "nothing"},
		"does not count already":                            {Lot: "varnish-2"},
		"changes[0].move.batch: batches/b-9 is not planned": {Batch: "b-9", DueDate: x.day(3)},
		"changes[0].move.due_date: 2026-11-01 is past":      {Batch: "b-1", DueDate: x.day(-1)},
		"changes[0].change: name an order":                  {},
	} {
		if _, err := x.book.TryCoverage(t.Context(), app.CoverageQuery{}, []app.BoardChange{c}); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%+v: %v, want %q", c, err, says)
		}
	}
	if _, err := x.book.TryCoverage(t.Context(), app.CoverageQuery{}, nil); err == nil || !strings.Contains(err.Error(), "changes") {
		t.Errorf("nothing to try out: %v", err)
	}
}
