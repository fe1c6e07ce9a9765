package rpc_test

import (
	"strings"
	"testing"

	"github.com/google/uuid"
	moneypb "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

// stockroom is a server with a material, a supplier and a released lot l-1 of
// 100 kg in the main store.
type stockroom struct {
	*servertest.Server
	t *testing.T
}

func newStockroom(t *testing.T) stockroom {
	t.Helper()
	s := stockroom{servertest.Start(t), t}
	good(s.materials(app.InkMaker).CreateMaterial(t.Context(), &pb.CreateMaterialRequest{MaterialId: "blue", Material: &pb.Material{
		Title: "Blue pigment", MaterialClass: pb.MaterialClass_MATERIAL_CLASS_PIGMENT, ColourIndex: "PB15:3", ShelfLifeDays: 730,
		Properties: map[string]float64{"density_kg_per_l": 1.6, "pigment_fraction/PB15:3": 1},
	}}))(t)
	good(s.suppliers(app.Purchasing).CreateSupplier(t.Context(), &pb.CreateSupplierRequest{SupplierId: "quellmark", Supplier: &pb.Supplier{Title: "Quellmark", CurrencyCode: "EUR"}}))(t)
	good(s.lots(app.Quality).ReceiveLot(t.Context(), s.receipt("l-1", 100)))(t)
	return s
}

// receipt is a good delivery.
func (s stockroom) receipt(id string, kg float64) *pb.ReceiveLotRequest {
	return &pb.ReceiveLotRequest{LotId: id, QuantityKg: kg, Location: "main", MovementId: uuid.NewString(), Lot: &pb.Lot{
		Material: "materials/blue", Supplier: "suppliers/quellmark", SupplierLot: "Q-77", Status: pb.LotStatus_LOT_STATUS_RELEASED,
		Certificate: map[string]float64{"tint_strength_fraction": 1.04},
		Cost:        &pb.LotCost{PricePerKg: euro(8, 500_000_000), FreightPerKg: euro(0, 200_000_000), DutyPercent: "4"},
	}}
}

func euro(units int64, nanos int32) *moneypb.Money {
	return &moneypb.Money{CurrencyCode: "EUR", Units: units, Nanos: nanos}
}

func (s stockroom) materials(r app.Role) pb.MaterialServiceClient {
	return pb.NewMaterialServiceClient(s.As(r))
}
func (s stockroom) suppliers(r app.Role) pb.SupplierServiceClient {
	return pb.NewSupplierServiceClient(s.As(r))
}
func (s stockroom) lots(r app.Role) pb.LotServiceClient { return pb.NewLotServiceClient(s.As(r)) }
func (s stockroom) ledger(r app.Role) pb.LedgerServiceClient {
	return pb.NewLedgerServiceClient(s.As(r))
}
func (s stockroom) plant(r app.Role) pb.PlantServiceClient { return pb.NewPlantServiceClient(s.As(r)) }

// movement is a request to move some of l-1 in the main store.
func (s stockroom) movement(kind pb.MovementKind, kg float64) *pb.CreateMovementRequest {
	m := &pb.Movement{Kind: kind, Lot: "lots/l-1", Location: "main", QuantityKg: kg}
	if kind == pb.MovementKind_MOVEMENT_KIND_ISSUE {
		m.Customer = "a printer"
	}
	return &pb.CreateMovementRequest{MovementId: uuid.NewString(), Movement: m}
}

// onHand is what the book has of a lot.
func (s stockroom) onHand(lot string) float64 {
	s.t.Helper()
	return good(s.lots(app.Floor).GetLot(s.t.Context(), &pb.GetLotRequest{Name: "lots/" + lot}))(s.t).GetOnHandKg()
}

// checked proves that the balances agree with the ledger.
func (s stockroom) checked() {
	s.t.Helper()
	c := good(s.ledger(app.Quality).CheckLedger(s.t.Context(), &pb.CheckLedgerRequest{}))(s.t)
	if len(c.GetDifferences()) > 0 {
		s.t.Errorf("the balances do not agree with the ledger: %v", c.GetDifferences())
	}
}

// good is the value of a call that must not fail.
func good[T any](v T, err error) func(t *testing.T) T {
	return func(t *testing.T) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// refusal says how a request must be refused.
type refusal struct {
	code codes.Code
	text string // part of the sentence
}

func (r refusal) check(t *testing.T, name string, err error) {
	t.Helper()
	s := status.Convert(err)
	if s.Code() != r.code || !strings.Contains(s.Message(), r.text) {
		t.Errorf("%s: %s %q, want %s with %q", name, s.Code(), s.Message(), r.code, r.text)
	}
	for _, internal := range []string{"SQLSTATE", "pgx", "panic", "constraint"} {
		if strings.Contains(s.Message(), internal) {
			t.Errorf("%s: %q is not for people", name, s.Message())
		}
	}
}
