package app_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"github.com/google/uuid"

	"millbase/costing/purchase"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
	"millbase/server/app"
)

func (x *mill) orderOf(change ...func(*purchase.Order)) purchase.Order {
	o := purchase.Order{ID: "po-1", Supplier: "acme", Currency: "USD", Lines: []purchase.Line{
		{Material: "varnish", Quantity: 60 * kilo, PricePerKg: dec("3.40"), DueDate: x.day(9)},
		{Material: "varnish", Quantity: 40 * kilo, PricePerKg: dec("3.50"), DueDate: x.day(2)},
		{Material: "drier", Quantity: 5 * kilo, PricePerKg: dec("10"), DueDate: x.day(2)}}}
	for _, f := range change {
		f(&o)
	}
	return o
}

func (x *mill) received(order, lotID, material string, q mass.Mass) error {
	_, err := x.book.ReceiveLot(as(app.Admin), app.Receipt{Lot: app.StockLot{Lot: lot.Lot{ID: lotID, Material: material}}, Quantity: q,
		Location: "a-1", MovementID: uuid.NewString(), PurchaseOrder: order})
	return err
}

// The line that is due first takes the delivery first; what comes on top of the
// order is booked on the last line; the order is received when nothing is open.
func TestOrderFromDraftToReceived(t *testing.T) {
	x := newWorks(t)
	o, err := x.book.CreatePurchaseOrder(t.Context(), x.orderOf(), app.Request{})
	if err != nil || o.Value.State != purchase.Draft {
		t.Fatalf("%+v, %v", o, err)
	}
	if err := x.received("po-1", "l-0", "varnish", kilo); !errors.Is(err, app.ErrNotReady) {
		t.Errorf("a draft receives nothing: %v", err)
	}
	if _, err := x.book.SendPurchaseOrder(t.Context(), "po-1", o.Version); err != nil {
		t.Fatal(err)
	}
	for _, step := range []struct {
		lot, material string
		q             mass.Mass
		late, early   mass.Mass // received on the lines due on the 9th and on the 2nd day
		state         purchase.OrderState
	}{
		{"l-1", "varnish", 30 * kilo, 0, 30 * kilo, purchase.PartReceived},
		{"l-2", "varnish", 30 * kilo, 20 * kilo, 40 * kilo, purchase.PartReceived},
		{"l-3", "drier", 5 * kilo, 20 * kilo, 40 * kilo, purchase.PartReceived},
		{"l-4", "varnish", 45 * kilo, 65 * kilo, 40 * kilo, purchase.Received},
	} {
		if err := x.received("po-1", step.lot, step.material, step.q); err != nil {
			t.Fatal(err)
		}
		got, err := x.book.GetPurchaseOrder(t.Context(), "po-1")
		if err != nil || got.Value.State != step.state || got.Value.Lines[0].Received != step.late || got.Value.Lines[1].Received != step.early {
			t.Errorf("after %s: %+v, %v; want %+v", step.lot, got.Value, err, step)
		}
	}
	for name, err := range map[string]error{
		"more of a received order": x.received("po-1", "l-5", "varnish", kilo),
		"another material":         x.received("po-1", "l-6", "blue", kilo),
	} {
		if !errors.Is(err, app.ErrNotReady) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := x.book.CancelPurchaseOrder(t.Context(), "po-1", "", 0); !errors.Is(err, app.ErrNotReady) {
		t.Errorf("nothing of a received order is still to come: %v", err)
	}
	if _, err := x.book.Lot(as(app.Admin), "l-5"); !errors.Is(err, app.ErrNotFound) {
		t.Errorf("a refused delivery leaves no lot: %v", err)
	}
}

func TestOrderSendAndCancel(t *testing.T) {
	x := newWorks(t)
	o, err := x.book.CreatePurchaseOrder(t.Context(), x.orderOf(), app.Request{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := x.book.SendPurchaseOrder(t.Context(), "po-1", o.Version+1); !errors.Is(err, app.ErrStale) {
		t.Errorf("stale: %v", err)
	}
	sent, err := x.book.SendPurchaseOrder(t.Context(), "po-1", o.Version)
	if err != nil || sent.Value.State != purchase.Sent || sent.Version != o.Version+1 {
		t.Fatalf("%+v, %v", sent, err)
	}
	if _, err := x.book.SendPurchaseOrder(t.Context(), "po-1", 0); !errors.Is(err, app.ErrNotReady) {
		t.Errorf("sent twice: %v", err)
	}
	if err := x.received("po-1", "l-1", "blue", kilo); !errors.Is(err, app.ErrConflict) || !strings.Contains(err.Error(), "materials/blue") {
		t.Errorf("not on the order: %v", err)
	}
	if err := x.received("po-9", "l-1", "blue", kilo); err == nil || !strings.Contains(err.Error(), "purchaseOrders/po-9") {
		t.Errorf("unknown order: %v", err)
	}
	off, err := x.book.CancelPurchaseOrder(t.Context(), "po-1", "they can't deliver", sent.Version)
	if err != nil || off.Value.State != purchase.Cancelled || !strings.Contains(off.Value.Note, "they can't deliver") {
		t.Errorf("%+v, %v", off, err)
	}
	// What is cancelled is expected no more.
	for _, r := range x.coverage(app.CoverageQuery{Weeks: 2}).Rows {
		if r.Expected[0]+r.Expected[1] != 0 {
			t.Errorf("%s is still expected: %+v", r.Material, r)
		}
	}
	if _, err := x.book.CancelPurchaseOrder(t.Context(), "po-1", "", 0); !errors.Is(err, app.ErrNotReady) {
		t.Errorf("cancelled twice: %v", err)
	}
	for _, id := range []string{"po-7", "nothing"} {
		if _, err := x.book.GetPurchaseOrder(t.Context(), id); !errors.Is(err, app.ErrNotFound) {
			t.Errorf("%s: %v", id, err)
		}
	}
	list, err := x.book.ListPurchaseOrders(t.Context(), app.Query{Where: []app.Condition{{Field: "state", Op: "=", Value: "cancelled"}}})
	if err != nil || len(list) != 1 {
		t.Errorf("cancelled orders: %+v, %v", list, err)
	}
}

func TestOrderReplays(t *testing.T) {
	x := newWorks(t)
	req := app.Request{ID: uuid.NewString(), Method: "CreatePurchaseOrder", Digest: []byte("a")}
	for range 2 {
		if _, err := x.book.CreatePurchaseOrder(t.Context(), x.orderOf(), req); err != nil {
			t.Fatal(err)
		}
	}
	req.Digest = []byte("b")
	if _, err := x.book.CreatePurchaseOrder(t.Context(), x.orderOf(), req); !errors.Is(err, app.ErrIDReused) {
		t.Errorf("other content: %v", err)
	}
	if _, err := x.book.CreatePurchaseOrder(t.Context(), x.orderOf(), app.Request{}); !errors.Is(err, app.ErrExists) {
		t.Errorf("same order id: %v", err)
	}
}

// Two clerks book deliveries against one order at the same moment: each of them
// is booked or told to send it again, and none is lost.
func TestOrderReceivedByTwoAtOnce(t *testing.T) {
	x := newWorks(t)
	x.sent("po-1", "varnish", 100*kilo, 3)
	results := make(chan error, 8)
	for i := range 8 {
		go func() { results <- x.received("po-1", "l-"+string(rune('a'+i)), "varnish", 10*kilo) }()
	}
	booked := mass.Mass(0)
	for range 8 {
		switch err := <-results; {
		case err == nil:
			booked += 10 * kilo
		case !errors.Is(err, app.ErrBusy):
			t.Errorf("refused otherwise: %v", err)
		}
	}
	o, err := x.book.GetPurchaseOrder(t.Context(), "po-1")
	if err != nil || o.Value.Lines[0].Received != booked || booked == 0 {
		t.Errorf("booked %s, the order says %+v (%v)", booked, o.Value, err)
	}
	x.checkLedger()
}

func TestOrderRefusals(t *testing.T) {
	x := newWorks(t)
	x.offer(purchase.Offer{ID: "v", Material: "varnish", Currency: "EUR", Breaks: []purchase.Break{{PricePerKg: dec("3")}}, PackSize: 25 * kilo, MinimumOrder: 50 * kilo})
	x.update(func(ctx context.Context, tx app.Tx) error {
		_, err := tx.Suppliers().Create(ctx, purchase.Supplier{ID: "gone", Title: "Gone", Currency: "USD", Archived: true})
		return err
	})
	line := func(change func(*purchase.Line)) func(*purchase.Order) {
		return func(o *purchase.Order) { o.Lines = o.Lines[:1]; change(&o.Lines[0]) }
	}
	byOffer := func(q mass.Mass, currency string) func(*purchase.Order) {
		return func(o *purchase.Order) {
			o.Currency, o.Lines = currency, []purchase.Line{{Material: "varnish", Offer: "v", Quantity: q, PricePerKg: dec("3"), DueDate: x.day(9)}}
		}
	}
	for name, c := range map[string]struct {
		change      func(*purchase.Order)
		field, says string
	}{
		"id":          {func(o *purchase.Order) { o.ID = "PO 1" }, "purchase_order_id", "lower-case"},
		"supplier":    {func(o *purchase.Order) { o.Supplier = "nobody" }, "purchase_order.supplier", "not in the book"},
		"archived":    {func(o *purchase.Order) { o.Supplier = "gone" }, "purchase_order.supplier", "archived"},
		"no lines":    {func(o *purchase.Order) { o.Lines = nil }, "purchase_order.lines", "at least one"},
		"material":    {line(func(l *purchase.Line) { l.Material = "nothing" }), "purchase_order.lines[0].material", "not in the book"},
		"quantity":    {line(func(l *purchase.Line) { l.Quantity = -kilo }), "purchase_order.lines[0].quantity_kg", "above zero"},
		"price":       {line(func(l *purchase.Line) { l.PricePerKg = dec("-1") }), "purchase_order.lines[0].price_per_kg", "zero or more"},
		"past":        {line(func(l *purchase.Line) { l.DueDate = x.day(-1) }), "purchase_order.lines[0].due_date", "past"},
		"currency":    {func(o *purchase.Order) { o.Currency = "GBP" }, "purchase_order.lines[0].price_per_kg", "give the price in USD"},
		"offer":       {line(func(l *purchase.Line) { l.Offer = "w" }), "purchase_order.lines[0].offer", "not in the book"},
		"other offer": {line(func(l *purchase.Line) { l.Offer, l.Material = "v", "drier" }), "purchase_order.lines[0].offer", "is for materials/varnish"},
		"minimum":     {byOffer(25*kilo, "EUR"), "purchase_order.lines[0].quantity_kg", "smallest order is 50 kg"},
		"pack":        {byOffer(60*kilo, "EUR"), "purchase_order.lines[0].quantity_kg", "order 50 kg or 75 kg"},
		"offer in":    {byOffer(50*kilo, "USD"), "purchase_order.lines[0].price_per_kg", "give the price in EUR"},
	} {
		_, err := x.book.CreatePurchaseOrder(t.Context(), x.orderOf(c.change), app.Request{})
		var invalid app.Invalid
		if !errors.As(err, &invalid) || !strings.Contains(err.Error(), c.says) || !strings.Contains(err.Error(), c.field) {
			t.Errorf("%s: %v, want %s that says %q", name, err, c.field, c.says)
		}
	}
	if _, err := x.book.GetPurchaseOrder(t.Context(), "po-1"); !errors.Is(err, app.ErrNotFound) {
		t.Errorf("refused orders leave nothing behind: %v", err)
	}
	if _, err := x.book.CreatePurchaseOrder(t.Context(), x.orderOf(byOffer(75*kilo, "EUR")), app.Request{}); err != nil {
		t.Errorf("an order by the offer: %v", err)
	}
}
