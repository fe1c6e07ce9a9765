package rpc_test

import (
	"context"
	"slices"
	"testing"

	"github.com/google/uuid"
	moneypb "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

func TestPurchaseOrders(t *testing.T) {
	s := works(t)
	orders := pb.NewPurchasingServiceClient(s.As(app.Purchasing))
	r := drierOrder("po-2")
	r.RequestId = uuid.NewString()
	draft := must[*pb.PurchaseOrder](t)(orders.CreatePurchaseOrder(t.Context(), r))
	if again := must[*pb.PurchaseOrder](t)(orders.CreatePurchaseOrder(t.Context(), r)); !proto.Equal(draft, again) {
		t.Errorf("the same request again: %v", again)
	}
	if draft.GetState() != pb.PurchaseOrderState_PURCHASE_ORDER_STATE_DRAFT || draft.GetName() != "purchaseOrders/po-2" || draft.GetLines()[0].GetPricePerKg().GetUnits() != 10 {
		t.Errorf("%v", draft)
	}
	sent := must[*pb.PurchaseOrder](t)(orders.SendPurchaseOrder(t.Context(), &pb.SendPurchaseOrderRequest{Name: draft.GetName(), Etag: draft.GetEtag()}))
	if sent.GetState() != pb.PurchaseOrderState_PURCHASE_ORDER_STATE_SENT {
		t.Errorf("%v", sent)
	}
	must[*pb.Lot](t)(pb.NewLotServiceClient(s.As(app.Floor)).ReceiveLot(t.Context(), &pb.ReceiveLotRequest{LotId: "d-1", QuantityKg: 2, Location: "a-1",
		MovementId: uuid.NewString(), PurchaseOrder: draft.GetName(), Lot: &pb.Lot{Material: "materials/secret-drier"}}))
	part := must[*pb.PurchaseOrder](t)(orders.GetPurchaseOrder(t.Context(), &pb.GetPurchaseOrderRequest{Name: draft.GetName()}))
	if part.GetState() != pb.PurchaseOrderState_PURCHASE_ORDER_STATE_PART_RECEIVED || part.GetLines()[0].GetReceivedKg() != 2 {
		t.Errorf("%v", part)
	}
	list := must[*pb.ListPurchaseOrdersResponse](t)(orders.ListPurchaseOrders(t.Context(), &pb.ListPurchaseOrdersRequest{Filter: "state = PART_RECEIVED AND supplier = suppliers/quellmark"}))
	if len(list.GetPurchaseOrders()) != 1 {
		t.Errorf("%v", list)
	}
	off := must[*pb.PurchaseOrder](t)(orders.CancelPurchaseOrder(t.Context(), &pb.CancelPurchaseOrderRequest{Name: draft.GetName(), Reason: "enough", Etag: part.GetEtag()}))
	if off.GetState() != pb.PurchaseOrderState_PURCHASE_ORDER_STATE_CANCELLED || off.GetNote() != "Cancelled: enough" {
		t.Errorf("%v", off)
	}
}

// 2 kg come two days early at 10.50 where 10 was ordered, 3 kg at 9.75 a day before that; the
// plant's currency is the supplier's. Differences: 1.00, and -0.75.
func TestPriceDifferences(t *testing.T) {
	s := works(t)
	orders := pb.NewPurchasingServiceClient(s.As(app.Purchasing))
	receive := func(lot string, kg float64, price *moneypb.Money, date string) string {
		id := uuid.NewString()
		must[*pb.Lot](t)(pb.NewLotServiceClient(s.As(app.Purchasing)).ReceiveLot(t.Context(), &pb.ReceiveLotRequest{LotId: lot, QuantityKg: kg, Location: "a-1",
			MovementId: id, PurchaseOrder: "purchaseOrders/po-118", Lot: &pb.Lot{Material: "materials/secret-drier", ReceivedDate: date, Cost: &pb.LotCost{PricePerKg: price}}}))
		return id
	}
	receive("d-1", 2, eur(10, 500_000_000), "2026-11-02")
	last := receive("d-2", 3, eur(9, 750_000_000), "2026-11-01")
	o := must[*pb.PurchaseOrder](t)(orders.GetPurchaseOrder(t.Context(), &pb.GetPurchaseOrderRequest{Name: "purchaseOrders/po-118"}))
	d := o.GetLines()[0].GetDeliveries()
	if !proto.Equal(o.GetPriceDifference(), eur(0, 250_000_000)) || !proto.Equal(d[0].GetPriceDifference(), eur(1, 0)) || !proto.Equal(d[1].GetPriceDifference(), eur(0, -750_000_000)) {
		t.Errorf("differences %v of %v", o.GetPriceDifference(), d)
	}
	if d[0].GetDaysLate() != -2 || d[1].GetDaysLate() != -3 || o.GetSentDate() != "2026-11-02" || !proto.Equal(d[0].GetLandedPerKg(), eur(10, 500_000_000)) || d[0].GetLot() != "lots/d-1" {
		t.Errorf("deliveries %v", o)
	}
	must[*pb.Movement](t)(pb.NewLedgerServiceClient(s.As(app.Purchasing)).ReverseMovement(t.Context(), &pb.ReverseMovementRequest{Name: "movements/" + last, MovementId: uuid.NewString()}))
	o = must[*pb.PurchaseOrder](t)(orders.GetPurchaseOrder(t.Context(), &pb.GetPurchaseOrderRequest{Name: "purchaseOrders/po-118"}))
	if !proto.Equal(o.GetPriceDifference(), eur(1, 0)) || o.GetLines()[0].GetOpenKg() != 3 || !o.GetLines()[0].GetDeliveries()[1].GetReversed() {
		t.Errorf("with one reversed %v", o)
	}
	closed := must[*pb.PurchaseOrder](t)(orders.ClosePurchaseOrder(t.Context(), &pb.ClosePurchaseOrderRequest{Name: o.GetName(), Reason: "enough", Etag: o.GetEtag()}))
	if closed.GetLines()[0].GetClosing() != pb.LineClosing_LINE_CLOSING_SHORT || closed.GetState() != pb.PurchaseOrderState_PURCHASE_ORDER_STATE_RECEIVED {
		t.Errorf("closed %v", closed)
	}
	draft := must[*pb.PurchaseOrder](t)(orders.CreatePurchaseOrder(t.Context(), drierOrder("po-3")))
	draft.Lines[0].QuantityKg = 7
	changed := must[*pb.PurchaseOrder](t)(orders.UpdatePurchaseOrder(t.Context(), &pb.UpdatePurchaseOrderRequest{PurchaseOrder: draft}))
	if changed.GetLines()[0].GetQuantityKg() != 7 || changed.GetEtag() == draft.GetEtag() {
		t.Errorf("changed %v", changed)
	}
}

func TestPurchaseOrderRefusals(t *testing.T) {
	s := works(t)
	create := func(role app.Role, change func(*pb.CreatePurchaseOrderRequest)) func(context.Context) error {
		return func(ctx context.Context) error {
			r := drierOrder("po-3")
			change(r)
			_, err := pb.NewPurchasingServiceClient(s.As(role)).CreatePurchaseOrder(ctx, r)
			return err
		}
	}
	line := func(change func(*pb.PurchaseOrderLine)) func(context.Context) error {
		return create(app.Purchasing, func(r *pb.CreatePurchaseOrderRequest) { change(r.PurchaseOrder.Lines[0]) })
	}
	orders := pb.NewPurchasingServiceClient(s.As(app.Purchasing))
	invalid := codes.InvalidArgument
	refuse(t, []bad{
		{"order desk", codes.PermissionDenied, "", create(app.OrderDesk, func(*pb.CreatePurchaseOrderRequest) {})},
		{"ink maker", codes.PermissionDenied, "", create(app.InkMaker, func(*pb.CreatePurchaseOrderRequest) {})},
		{"no order", invalid, "purchase_order", create(app.Purchasing, func(r *pb.CreatePurchaseOrderRequest) { r.PurchaseOrder = nil })},
		{"no lines", invalid, "lines", create(app.Purchasing, func(r *pb.CreatePurchaseOrderRequest) { r.PurchaseOrder.Lines = nil })},
		{"supplier", invalid, "suppliers/none", create(app.Purchasing, func(r *pb.CreatePurchaseOrderRequest) { r.PurchaseOrder.Supplier = "suppliers/none" })},
		{"material", invalid, "materials/none", line(func(l *pb.PurchaseOrderLine) { l.Material = "materials/none" })},
		{"quantity", invalid, "quantity_kg", line(func(l *pb.PurchaseOrderLine) { l.QuantityKg = -1 })},
		{"finer", invalid, "milligram", line(func(l *pb.PurchaseOrderLine) { l.QuantityKg = 0.0000001 })},
		{"huge", invalid, "quantity_kg", line(func(l *pb.PurchaseOrderLine) { l.QuantityKg = 1e300 })},
		{"no price", invalid, "price_per_kg", line(func(l *pb.PurchaseOrderLine) { l.PricePerKg = nil })},
		{"negative price", invalid, "price_per_kg", line(func(l *pb.PurchaseOrderLine) { l.PricePerKg = eur(-1, 0) })},
		{"past", invalid, "due_date", line(func(l *pb.PurchaseOrderLine) { l.DueDate = "2026-11-01" })},
		{"no day", invalid, "due_date", line(func(l *pb.PurchaseOrderLine) { l.DueDate = "2026-02-30" })},
		{"other supplier's offer", invalid, "offer", line(func(l *pb.PurchaseOrderLine) { l.Offer = "suppliers/other/offers/x" })},
		{"taken", codes.AlreadyExists, "po-118", create(app.Purchasing, func(r *pb.CreatePurchaseOrderRequest) { r.PurchaseOrderId = "po-118" })},
		{"unknown", codes.NotFound, "po-9", func(ctx context.Context) error {
			_, err := orders.GetPurchaseOrder(ctx, &pb.GetPurchaseOrderRequest{Name: "purchaseOrders/po-9"})
			return err
		}},
		{"send twice", codes.FailedPrecondition, "sent", func(ctx context.Context) error {
			_, err := orders.SendPurchaseOrder(ctx, &pb.SendPurchaseOrderRequest{Name: "purchaseOrders/po-118"})
			return err
		}},
		{"stale", codes.Aborted, "read it again", func(ctx context.Context) error {
			_, err := orders.CancelPurchaseOrder(ctx, &pb.CancelPurchaseOrderRequest{Name: "purchaseOrders/po-118", Etag: "v1"})
			return err
		}},
		{"filter", invalid, "supplier", func(ctx context.Context) error {
			_, err := orders.ListPurchaseOrders(ctx, &pb.ListPurchaseOrdersRequest{Filter: "colour = red"})
			return err
		}},
	})
	list := must[*pb.ListPurchaseOrdersResponse](t)(orders.ListPurchaseOrders(t.Context(), &pb.ListPurchaseOrdersRequest{}))
	if len(list.GetPurchaseOrders()) != 1 {
		t.Errorf("refused orders were kept: %v", list)
	}
}

// 100 kg of cyan need 1.25 kg of drier; 5 kg are due on the 4th, so it is covered;
// 2 kg of safety stock more would be as well.
func TestCoverage(t *testing.T) {
	s := works(t)
	must[*pb.Batch](t)(pb.NewBatchServiceClient(s.As(app.InkMaker)).CreateBatch(t.Context(), &pb.CreateBatchRequest{BatchId: "b-1",
		Batch: &pb.Batch{Formula: "formulas/recipe", QuantityKg: 400, DueDate: "2026-11-13"}}))
	for _, role := range []app.Role{app.Purchasing, app.InkMaker} {
		c := must[*pb.Coverage](t)(pb.NewPurchasingServiceClient(s.As(role)).GetCoverage(t.Context(), &pb.GetCoverageRequest{Weeks: 2}))
		row := func(material string) *pb.CoverageRow {
			i := slices.IndexFunc(c.GetRows(), func(r *pb.CoverageRow) bool { return r.GetMaterial() == material })
			if i < 0 {
				t.Fatalf("no row of %s in %v", material, c)
			}
			return c.GetRows()[i]
		}
		if !slices.Equal(c.GetWeekDates(), []string{"2026-11-02", "2026-11-09"}) {
			t.Errorf("weeks %v", c.GetWeekDates())
		}
		// 500 kg of charge: 5 of drier, 250 of base (100 there, 150 to be made).
		if r := row("materials/secret-drier"); !slices.Equal(r.GetRequiredKg(), []float64{0, 5}) || !slices.Equal(r.GetExpectedKg(), []float64{5, 0}) || r.GetFirstShortDate() != "" {
			t.Errorf("drier %v", r)
		}
		if r := row("materials/secret-blue"); !slices.Equal(r.GetRequiredKg(), []float64{0, 60}) || r.GetShortKg() != 60 || !slices.Equal(r.GetBatches(), []string{"batches/b-1"}) {
			t.Errorf("blue %v", r)
		}
	}
	get := func(role app.Role, r *pb.GetCoverageRequest) func(context.Context) error {
		return func(ctx context.Context) error {
			_, err := pb.NewPurchasingServiceClient(s.As(role)).GetCoverage(ctx, r)
			return err
		}
	}
	refuse(t, []bad{
		{"order desk", codes.PermissionDenied, "", get(app.OrderDesk, &pb.GetCoverageRequest{})},
		{"floor", codes.PermissionDenied, "", get(app.Floor, &pb.GetCoverageRequest{})},
		{"weeks", codes.InvalidArgument, "weeks", get(app.Purchasing, &pb.GetCoverageRequest{Weeks: 99})},
		{"negative", codes.InvalidArgument, "weeks", get(app.Purchasing, &pb.GetCoverageRequest{Weeks: -1})},
		{"material", codes.InvalidArgument, "materials/none", get(app.Purchasing, &pb.GetCoverageRequest{Material: "materials/none"})},
	})
}
