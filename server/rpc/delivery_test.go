package rpc_test

import (
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

// A delivery against an order takes supplier and price from it and is counted
// against its line.
func TestReceiveAgainstAnOrder(t *testing.T) {
	s := newStockroom(t)
	orders := pb.NewPurchasingServiceClient(s.As(app.Purchasing))
	good(orders.CreatePurchaseOrder(t.Context(), &pb.CreatePurchaseOrderRequest{PurchaseOrderId: "po-1", PurchaseOrder: &pb.PurchaseOrder{
		Supplier: "suppliers/quellmark", Lines: []*pb.PurchaseOrderLine{{Material: "materials/blue", QuantityKg: 500, PricePerKg: euro(7, 250_000_000), DueDate: "2999-01-01"}},
	}}))(t)
	req := s.receipt("l-2", 200)
	req.PurchaseOrder, req.Lot.Supplier, req.Lot.Cost = "purchaseOrders/po-1", "", nil
	_, err := s.lots(app.Quality).ReceiveLot(t.Context(), req)
	refusal{codes.FailedPrecondition, "sent"}.check(t, "a draft", err)
	good(orders.SendPurchaseOrder(t.Context(), &pb.SendPurchaseOrderRequest{Name: "purchaseOrders/po-1"}))(t)
	l := good(s.lots(app.Admin).ReceiveLot(t.Context(), req))(t)
	if l.GetSupplier() != "suppliers/quellmark" || l.GetCost().GetLandedPerKg().GetUnits() != 7 || l.GetCost().GetPricePerKg().GetNanos() != 250_000_000 {
		t.Errorf("received: %v", l)
	}
	good(s.lots(app.Admin).ReceiveLot(t.Context(), req))(t) // again: counted once
	o := good(orders.GetPurchaseOrder(t.Context(), &pb.GetPurchaseOrderRequest{Name: "purchaseOrders/po-1"}))(t)
	if o.GetLines()[0].GetReceivedKg() != 200 || o.GetState() != pb.PurchaseOrderState_PURCHASE_ORDER_STATE_PART_RECEIVED {
		t.Errorf("the order reads %v", o)
	}
	good(s.suppliers(app.Purchasing).CreateSupplier(t.Context(), &pb.CreateSupplierRequest{SupplierId: "other", Supplier: &pb.Supplier{Title: "Other", CurrencyCode: "EUR"}}))(t)
	wrong := s.receipt("l-3", 10)
	wrong.PurchaseOrder, wrong.Lot.Supplier = "purchaseOrders/po-1", "suppliers/other"
	_, err = s.lots(app.Quality).ReceiveLot(t.Context(), wrong)
	refusal{codes.InvalidArgument, "not the supplier"}.check(t, "another supplier", err)
}

// What is past its date on the plant's calendar is shown as expired and can't be
// issued; its last day of use is the expiry date itself.
func TestExpiredLots(t *testing.T) {
	s := newStockroom(t)
	zone, err := time.LoadLocation(servertest.Plant().TimeZone)
	if err != nil {
		t.Fatal(err)
	}
	today := time.Now().In(zone)
	for id, expiry := range map[string]time.Time{"l-2": today.AddDate(0, 0, -1), "l-3": today} {
		req := s.receipt(id, 10)
		req.Lot.ReceivedDate, req.Lot.ExpiryDate = "2020-01-01", expiry.Format(time.DateOnly)
		l := good(s.lots(app.Quality).ReceiveLot(t.Context(), req))(t)
		if expired := id == "l-2"; l.GetExpired() != expired {
			t.Errorf("%s, best until %s: expired %v", id, expiry.Format(time.DateOnly), l.GetExpired())
		}
		out := s.movement(issue, 1)
		out.Movement.Lot = "lots/" + id
		_, err := s.ledger(app.Floor).CreateMovement(t.Context(), out)
		if id == "l-3" {
			refusal{codes.OK, ""}.check(t, "an issue on the last day", err)
		} else {
			refusal{codes.FailedPrecondition, "expired"}.check(t, "an issue a day too late", err)
		}
	}
}

// Before the plant's figures are entered the service says so.
func TestBeforeThePlantIsSet(t *testing.T) {
	conn, _ := freshBook(t, app.Purchasing)
	_, err := pb.NewMaterialServiceClient(conn).CreateMaterial(t.Context(), &pb.CreateMaterialRequest{MaterialId: "m", Material: &pb.Material{Title: "m", MaterialClass: 2}})
	refusal{codes.FailedPrecondition, "PUT /v1/plant"}.check(t, "a material", err)
}
