package refusals

import (
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/genproto/googleapis/type/money"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

// book is a small book with one of everything, and good requests on it.
type book struct {
	t      *testing.T
	server *servertest.Server
	serial atomic.Int64
	due    string
}

// fresh gives an id that nothing has yet.
func (b *book) fresh(kind string) string { return fmt.Sprintf("%s-%d", kind, b.serial.Add(1)) }

func eur(units int64) *money.Money { return &money.Money{CurrencyCode: "EUR", Units: units} }

// must makes one call that has to succeed.
func must[T any](t *testing.T, answer T, err error) T {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	return answer
}

// newBook fills the book.
func newBook(t *testing.T) *book {
	t.Helper()
	b := &book{t: t, server: servertest.Start(t), due: time.Now().AddDate(0, 0, 20).Format(time.DateOnly)}
	conn, ctx := b.server.As(app.Admin), t.Context()
	materials, lots := pb.NewMaterialServiceClient(conn), pb.NewLotServiceClient(conn)
	for _, m := range []*pb.Material{oil("linseed"), oil("soya"), {Name: "cyan", Title: "Cyan", MaterialClass: pb.MaterialClass_MATERIAL_CLASS_INK}} {
		id := m.Name
		m.Name = ""
		_, err := materials.CreateMaterial(ctx, &pb.CreateMaterialRequest{MaterialId: id, Material: m})
		must(t, id, err)
	}
	_, err := pb.NewSupplierServiceClient(conn).CreateSupplier(ctx, &pb.CreateSupplierRequest{SupplierId: "quellmark", Supplier: supplier()})
	must(t, 0, err)
	_, err = pb.NewSupplierServiceClient(conn).CreateOffer(ctx, &pb.CreateOfferRequest{Parent: "suppliers/quellmark", OfferId: "linseed", Offer: offer()})
	must(t, 0, err)
	for _, lot := range []string{"l-1", "l-2"} {
		_, err = lots.ReceiveLot(ctx, &pb.ReceiveLotRequest{LotId: lot, Lot: &pb.Lot{Material: "materials/linseed", Supplier: "suppliers/quellmark",
			Cost: &pb.LotCost{PricePerKg: eur(2)}}, QuantityKg: 5000, Location: "store", MovementId: uuid.NewString()})
		must(t, 0, err)
		_, err = lots.SetLotStatus(ctx, &pb.SetLotStatusRequest{Name: "lots/" + lot, Status: pb.LotStatus_LOT_STATUS_RELEASED})
		must(t, 0, err)
	}
	_, err = pb.NewSpecificationServiceClient(conn).CreateSpecification(ctx, &pb.CreateSpecificationRequest{SpecificationId: "cyan", Specification: specification()})
	must(t, 0, err)
	formulas := pb.NewFormulaServiceClient(conn)
	_, err = formulas.CreateFormula(ctx, &pb.CreateFormulaRequest{FormulaId: "cyan", Formula: formula()})
	must(t, 0, err)
	_, err = formulas.ReleaseFormula(ctx, &pb.ReleaseFormulaRequest{Name: "formulas/cyan@1"})
	must(t, 0, err)
	_, err = pb.NewQuoteServiceClient(conn).CreateQuote(ctx, &pb.CreateQuoteRequest{QuoteId: "q-1", Quote: b.quote()})
	must(t, 0, err)
	return b
}

func oil(id string) *pb.Material {
	return &pb.Material{Name: id, Title: "A drying oil", MaterialClass: pb.MaterialClass_MATERIAL_CLASS_OIL,
		Properties: map[string]float64{"density_kg_per_l": 0.93}, Deviations: map[string]float64{"density_kg_per_l": 0.001}, StandardCostPerKg: eur(2), SafetyStockKg: 10}
}

func supplier() *pb.Supplier {
	return &pb.Supplier{Title: "Quellmark Oils", CurrencyCode: "EUR", LeadTimeDays: 7}
}

func offer() *pb.Offer {
	return &pb.Offer{Material: "materials/linseed", PriceBreaks: []*pb.PriceBreak{{PricePerKg: eur(2)}}, PackSizeKg: 20, MinimumOrderKg: 20,
		FreightPerKg: eur(1), ValidFromDate: "2026-01-01", ValidUntilDate: "2099-01-01"}
}

func specification() *pb.Specification {
	high := 0.99
	return &pb.Specification{Title: "Cyan", Material: "materials/cyan", Limits: []*pb.Limit{{LimitId: "density", Upper: &high, MoveWeight: 1, Safety: &pb.Limit_Safety{Confidence: 0.9},
		Subject: &pb.Limit_Blended_{Blended: &pb.Limit_Blended{Property: "density_kg_per_l"}}}}}
}

func formula() *pb.Formula {
	return &pb.Formula{Title: "Cyan", Material: "materials/cyan", Specification: "specifications/cyan", YieldFraction: 0.99,
		Ingredients: []*pb.Ingredient{{Material: "materials/linseed", Share: 1}}}
}

// batch plans a batch of its own, and reserves it when asked.
func (b *book) batch(reserve bool) string {
	b.t.Helper()
	batches, id := pb.NewBatchServiceClient(b.server.As(app.Admin)), b.fresh("b")
	_, err := batches.CreateBatch(b.t.Context(), &pb.CreateBatchRequest{BatchId: id, Batch: &pb.Batch{Formula: "formulas/cyan@1", QuantityKg: 1, DueDate: b.due}})
	must(b.t, 0, err)
	if reserve {
		_, err = batches.ReserveBatch(b.t.Context(), &pb.ReserveBatchRequest{Name: "batches/" + id})
		must(b.t, 0, err)
	}
	return "batches/" + id
}

func (b *book) order() string {
	b.t.Helper()
	id := b.fresh("po")
	_, err := pb.NewPurchasingServiceClient(b.server.As(app.Admin)).CreatePurchaseOrder(b.t.Context(),
		&pb.CreatePurchaseOrderRequest{PurchaseOrderId: id, PurchaseOrder: b.purchase()})
	must(b.t, 0, err)
	return "purchaseOrders/" + id
}

// partReceived is an order of which a little has come.
func (b *book) partReceived() string {
	b.t.Helper()
	name, conn := b.order(), b.server.As(app.Admin)
	_, err := pb.NewPurchasingServiceClient(conn).SendPurchaseOrder(b.t.Context(), &pb.SendPurchaseOrderRequest{Name: name})
	must(b.t, 0, err)
	_, err = pb.NewLotServiceClient(conn).ReceiveLot(b.t.Context(), &pb.ReceiveLotRequest{LotId: b.fresh("l"), Lot: &pb.Lot{Material: "materials/linseed"},
		QuantityKg: 10, Location: "store", MovementId: uuid.NewString(), PurchaseOrder: name})
	must(b.t, 0, err)
	return name
}

func (b *book) purchase() *pb.PurchaseOrder {
	return &pb.PurchaseOrder{Supplier: "suppliers/quellmark", Lines: []*pb.PurchaseOrderLine{{Material: "materials/linseed",
		Offer: "suppliers/quellmark/offers/linseed", QuantityKg: 100, PricePerKg: eur(2), DueDate: b.due}}}
}

func (b *book) movement() string {
	b.t.Helper()
	m, err := pb.NewLedgerServiceClient(b.server.As(app.Admin)).CreateMovement(b.t.Context(), issue())
	return must(b.t, m.GetName(), err)
}

func (b *book) reservation() string {
	b.t.Helper()
	r, err := pb.NewLedgerServiceClient(b.server.As(app.Admin)).CreateReservation(b.t.Context(), reserve())
	return must(b.t, r.GetName(), err)
}

func issue() *pb.CreateMovementRequest {
	return &pb.CreateMovementRequest{MovementId: uuid.NewString(), Movement: &pb.Movement{Kind: pb.MovementKind_MOVEMENT_KIND_ISSUE,
		Lot: "lots/l-1", Location: "store", QuantityKg: 0.25, Customer: "Millgate Press"}}
}

func reserve() *pb.CreateReservationRequest {
	return &pb.CreateReservationRequest{ReservationId: uuid.NewString(), Reservation: &pb.Reservation{Lot: "lots/l-2", Location: "store", QuantityKg: 0.25}}
}
