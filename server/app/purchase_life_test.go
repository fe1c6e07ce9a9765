package app_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/uuid"

	"millbase/costing/purchase"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
	"millbase/server/app"
)

func (x *mill) order(id string) purchase.Order {
	x.t.Helper()
	rec, err := x.book.GetPurchaseOrder(x.t.Context(), id)
	if err != nil {
		x.t.Fatal(err)
	}
	return rec.Value
}

// A receipt that is reversed is taken back from the order too, once; the material
// is expected again, and can be received again.
func TestReversedReceiptIsStillToCome(t *testing.T) {
	x := newWorks(t)
	x.sent("po-1", "varnish", 100*kilo, 3)
	receipt := uuid.NewString()
	if _, err := x.book.ReceiveLot(as(app.Admin), app.Receipt{Lot: app.StockLot{Lot: lot.Lot{ID: "l-1", Material: "varnish"}}, Quantity: 100 * kilo,
		Location: "a-1", MovementID: strings.ToUpper(receipt), PurchaseOrder: "po-1"}); err != nil {
		t.Fatal(err)
	}
	if o := x.order("po-1"); o.State != purchase.Received || o.Lines[0].Deliveries[0].Lot != "l-1" || !o.Lines[0].Deliveries[0].Date.Equal(x.today) {
		t.Fatalf("%+v", o)
	}
	reversal := uuid.NewString()
	for range 2 { // sent again, it is answered as before
		if m, err := x.book.Reverse(as(app.Purchasing), receipt, reversal, "wrong lot"); err != nil || m.Reverses != receipt {
			t.Fatalf("%+v, %v", m, err)
		}
		if o := x.order("po-1"); o.State != purchase.Sent || o.Lines[0].Received != 0 || !o.Lines[0].Deliveries[0].Reversed {
			t.Errorf("%+v", o)
		}
	}
	if _, err := x.book.Reverse(as(app.Purchasing), receipt, uuid.NewString(), ""); !errors.Is(err, app.ErrConflict) {
		t.Errorf("reversed twice: %v", err)
	}
	if r := rowOf(t, x.coverage(app.CoverageQuery{Weeks: 1}), "varnish"); r.Expected[0] != 100*kilo {
		t.Errorf("expected again: %+v", r)
	}
	if err := x.received("po-1", "l-2", "varnish", 110*kilo); err != nil || x.order("po-1").State != purchase.Received {
		t.Errorf("received again, with the 10 %% more that are allowed: %v", err)
	}
	x.checkLedger()
}

// A reversal that the ledger refuses takes nothing back from the order.
func TestRefusedReversalLeavesTheOrder(t *testing.T) {
	x := newWorks(t)
	x.sent("po-1", "varnish", 100*kilo, 3)
	receipt := uuid.NewString()
	if _, err := x.book.ReceiveLot(as(app.Admin), app.Receipt{Lot: app.StockLot{Lot: lot.Lot{ID: "l-1", Material: "varnish", Status: lot.Released}}, Quantity: 60 * kilo,
		Location: "a-1", MovementID: receipt, PurchaseOrder: "po-1"}); err != nil {
		t.Fatal(err)
	}
	x.reserveMass("l-1", 10*kilo)
	if _, err := x.book.Reverse(as(app.Purchasing), receipt, uuid.NewString(), ""); !errors.Is(err, app.ErrConflict) {
		t.Errorf("what is reserved can't go back: %v", err)
	}
	if o := x.order("po-1"); o.Lines[0].Received != 60*kilo || o.State != purchase.PartReceived {
		t.Errorf("%+v", o)
	}
	x.checkLedger()
}

func TestOverDeliveryIsRefusedWhole(t *testing.T) {
	x := newWorks(t)
	x.sent("po-1", "varnish", 100*kilo, 3)
	err := x.received("po-1", "l-1", "varnish", 110*kilo+1)
	var bad app.Invalid
	if !errors.As(err, &bad) || bad[0].Field != "quantity_kg" || !strings.Contains(err.Error(), "at most 110 kg") {
		t.Errorf("a milligram over the tolerance: %v", err)
	}
	if _, err := x.book.Lot(as(app.Admin), "l-1"); !errors.Is(err, app.ErrNotFound) {
		t.Errorf("a refused delivery leaves no lot: %v", err)
	}
	p := worksPlant()
	p.UnderDeliveryPercent = dec("3")
	x.figures(p)
	if err := x.received("po-1", "l-1", "varnish", 97*kilo); err != nil {
		t.Fatal(err)
	}
	if o := x.order("po-1"); o.State != purchase.Received || o.Lines[0].Closing != purchase.WithinTolerance {
		t.Errorf("3 %% short is whole: %+v", o)
	}
}

func TestOrderIsClosedShort(t *testing.T) {
	x := newWorks(t)
	o, err := x.book.CreatePurchaseOrder(t.Context(), x.orderOf(), app.Request{})
	if err != nil {
		t.Fatal(err)
	}
	closing := func(material string) error {
		_, err := x.book.ClosePurchaseOrder(t.Context(), "po-1", material, "they have no more", 0)
		return err
	}
	if err := closing(""); !errors.Is(err, app.ErrNotReady) {
		t.Errorf("a draft is not closed: %v", err)
	}
	if o, err = x.book.SendPurchaseOrder(t.Context(), "po-1", 0); err != nil || !o.Value.SentDate.Equal(x.today) {
		t.Fatalf("%+v, %v", o, err)
	}
	if err := closing(""); !errors.Is(err, app.ErrNotReady) || !strings.Contains(err.Error(), "cancel it") {
		t.Errorf("nothing has come: %v", err)
	}
	if err := x.received("po-1", "l-1", "varnish", 70*kilo); err != nil {
		t.Fatal(err)
	}
	if err := closing("blue"); err == nil || !strings.Contains(err.Error(), "no open line for materials/blue") {
		t.Errorf("not on the order: %v", err)
	}
	if err := closing("varnish"); err != nil {
		t.Fatal(err)
	}
	if o := x.order("po-1"); o.State != purchase.PartReceived || o.Note != "Closed with 30 kg lacking: they have no more" || o.Lines[0].Open() != 0 {
		t.Errorf("%+v", o)
	}
	for _, r := range x.coverage(app.CoverageQuery{Weeks: 2}).Rows {
		if r.Material == "varnish" && r.Expected[0]+r.Expected[1] != mass.Mass(0) {
			t.Errorf("still expected: %+v", r)
		}
	}
	if err := closing(""); err != nil || x.order("po-1").State != purchase.Received {
		t.Errorf("closed whole: %+v, %v", x.order("po-1"), err)
	}
}

func TestDraftIsChanged(t *testing.T) {
	x := newWorks(t)
	if _, err := x.book.CreatePurchaseOrder(t.Context(), x.orderOf(), app.Request{}); err != nil {
		t.Fatal(err)
	}
	change := func(f func(*purchase.Order)) error {
		_, err := x.book.UpdatePurchaseOrder(t.Context(), "po-1", 0, func(now app.Record[purchase.Order]) (purchase.Order, error) {
			o := now.Value
			o.Lines = append([]purchase.Line(nil), o.Lines...)
			f(&o)
			return o, nil
		})
		return err
	}
	if err := change(func(o *purchase.Order) { o.Lines[0].Quantity, o.Lines[0].Received = 80*kilo, kilo }); err != nil {
		t.Fatal(err)
	}
	if o := x.order("po-1"); o.Lines[0].Quantity != 80*kilo || o.Lines[0].Received != 0 || o.State != purchase.Draft {
		t.Errorf("%+v", o)
	}
	if err := change(func(o *purchase.Order) { o.Lines[0].DueDate = x.day(-1) }); err == nil || !strings.Contains(err.Error(), "due_date") {
		t.Errorf("a past date: %v", err)
	}
	if _, err := x.book.SendPurchaseOrder(t.Context(), "po-1", 0); err != nil {
		t.Fatal(err)
	}
	if err := change(func(*purchase.Order) {}); !errors.Is(err, app.ErrNotReady) {
		t.Errorf("a sent order is not changed: %v", err)
	}
}
