package rpc_test

import (
	"context"
	"encoding/csv"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

// assembly is the inventory record of Krajewski and Ritzman, Operations
// Management, as a plant: chairs are made of seats alone, a batch of them due in
// each week that needs some; a lot of 37 seats is there and 230 are on order.
func assembly(t *testing.T, ordering *pb.Ordering) *servertest.Server {
	t.Helper()
	s := works(t)
	conn, ctx := s.As(app.Admin), t.Context()
	for _, m := range []*pb.Material{{Name: "seat", Title: "=Seat", MaterialClass: pb.MaterialClass_MATERIAL_CLASS_ADDITIVE, Ordering: ordering},
		{Name: "chair", Title: "Chair", MaterialClass: pb.MaterialClass_MATERIAL_CLASS_INK}} {
		id := m.Name
		m.Name = ""
		must[*pb.Material](t)(pb.NewMaterialServiceClient(conn).CreateMaterial(ctx, &pb.CreateMaterialRequest{MaterialId: id, Material: m}))
	}
	must[*pb.Offer](t)(pb.NewSupplierServiceClient(conn).CreateOffer(ctx, &pb.CreateOfferRequest{Parent: "suppliers/quellmark", OfferId: "seat",
		Offer: &pb.Offer{Material: "materials/seat", LeadTimeDays: 14, PriceBreaks: []*pb.PriceBreak{{PricePerKg: eur(2, 0)}}}}))
	must[*pb.Lot](t)(pb.NewLotServiceClient(conn).ReceiveLot(ctx, &pb.ReceiveLotRequest{LotId: "seats", QuantityKg: 37, Location: "a-1", MovementId: uuid.NewString(),
		Lot: &pb.Lot{Material: "materials/seat"}}))
	must[*pb.Lot](t)(pb.NewLotServiceClient(conn).SetLotStatus(ctx, &pb.SetLotStatusRequest{Name: "lots/seats", Status: pb.LotStatus_LOT_STATUS_RELEASED}))
	must[*pb.Formula](t)(pb.NewFormulaServiceClient(conn).CreateFormula(ctx, &pb.CreateFormulaRequest{FormulaId: "chair", Formula: &pb.Formula{Title: "Chair",
		Material: "materials/chair", YieldFraction: 1, Ingredients: []*pb.Ingredient{{Material: "materials/seat", Share: 1}}}}))
	must[*pb.Formula](t)(pb.NewFormulaServiceClient(conn).ReleaseFormula(ctx, &pb.ReleaseFormulaRequest{Name: "formulas/chair@1"}))
	must[*pb.PurchaseOrder](t)(pb.NewPurchasingServiceClient(conn).CreatePurchaseOrder(ctx, &pb.CreatePurchaseOrderRequest{PurchaseOrderId: "seats",
		PurchaseOrder: &pb.PurchaseOrder{Supplier: "suppliers/quellmark",
			Lines: []*pb.PurchaseOrderLine{{Material: "materials/seat", QuantityKg: 230, PricePerKg: eur(2, 0), DueDate: "2026-11-03"}}}}))
	must[*pb.PurchaseOrder](t)(pb.NewPurchasingServiceClient(conn).SendPurchaseOrder(ctx, &pb.SendPurchaseOrderRequest{Name: "purchaseOrders/seats"}))
	// There is no work in it, so the seats are needed on the Friday itself.
	friday := time.Date(2026, 11, 6, 0, 0, 0, 0, time.UTC)
	for week, kg := range []float64{150, 0, 0, 120, 0, 150, 120, 0} {
		if kg > 0 {
			must[*pb.Batch](t)(pb.NewBatchServiceClient(conn).CreateBatch(ctx, &pb.CreateBatchRequest{BatchId: fmt.Sprintf("week-%d", week+1),
				Batch: &pb.Batch{Formula: "formulas/chair", QuantityKg: kg, DueDate: friday.AddDate(0, 0, 7*week).Format(time.DateOnly)}}))
		}
	}
	return s
}

func seatRow(t *testing.T, s *servertest.Server, r *pb.GetCoverageRequest) *pb.CoverageRow {
	t.Helper()
	r.Material = "materials/seat"
	return must[*pb.Coverage](t)(pb.NewPurchasingServiceClient(s.As(app.Purchasing)).GetCoverage(t.Context(), r)).GetRows()[0]
}

// The published grid: on hand 117 117 117 227 227 77 187 187, releases of 230 in
// weeks 2 and 5. Alone, worked out here: 117 117 117 -3 -3 -153 -273 -273.
func TestPublishedNettingGrid(t *testing.T) {
	fixed := &pb.Ordering{LotRule: pb.LotRule_LOT_RULE_FIXED_LOT, FixedLotKg: 230}
	s := assembly(t, fixed)
	r := seatRow(t, s, &pb.GetCoverageRequest{Pegging: true})
	for name, row := range map[string][2][]float64{
		"gross":     {r.GetRequiredKg(), {150, 0, 0, 120, 0, 150, 120, 0}},
		"scheduled": {r.GetExpectedKg(), {230, 0, 0, 0, 0, 0, 0, 0}},
		"on hand":   {r.GetPlannedProjectedKg(), {117, 117, 117, 227, 227, 77, 187, 187}},
		"alone":     {r.GetProjectedKg(), {117, 117, 117, -3, -3, -153, -273, -273}},
		"receipts":  {r.GetPlannedReceiptKg(), {0, 0, 0, 230, 0, 0, 230, 0}},
		"releases":  {r.GetPlannedReleaseKg(), {0, 230, 0, 0, 230, 0, 0, 0}},
	} {
		if !slices.Equal(row[0], row[1]) {
			t.Errorf("%s %v, want %v", name, row[0], row[1])
		}
	}
	// Week 4 takes 117 that are left and 3 of the first lot, week 6 150 of it, week 7
	// the 77 left and 43 of the second.
	if o := r.GetSuggestions(); len(o) != 2 || o[0].GetOrderByDate() != "2026-11-13" || o[0].GetQuantityKg() != 230 || o[0].GetPastDueDays() != 0 ||
		!slices.Equal(o[0].GetBatches(), []string{"batches/week-4", "batches/week-6", "batches/week-7"}) || !slices.Equal(o[1].GetBatches(), []string{"batches/week-7"}) {
		t.Errorf("suggested %v", o)
	}
	if n := r.GetNeeds()[1]; n.GetBatches()[0] != "batches/week-4" || len(n.GetCovers()) != 2 || n.GetCovers()[0].GetSource() != "purchaseOrders/seats" ||
		n.GetCovers()[0].GetQuantityKg() != 117 || n.GetCovers()[1].GetSource() != "planned" || n.GetCovers()[1].GetSupplier() != "suppliers/quellmark" || n.GetShortKg() != 0 {
		t.Errorf("week 4 is covered by %v", n)
	}
	checkSeatPegging(t, s)
}

func checkSeatPegging(t *testing.T, s *servertest.Server) {
	t.Helper()
	buyer := pb.NewPurchasingServiceClient(s.As(app.Purchasing))
	order := must[*pb.Pegging](t)(buyer.GetPegging(t.Context(), &pb.GetPeggingRequest{Name: "purchaseOrders/seats"}))
	// 37 are there: of the order 113 go to week 1 and 117 to week 4.
	if n := order.GetServes(); len(n) != 2 || len(order.GetNeeds()) != 0 || len(order.GetFree()) != 0 || n[0].GetBatches()[0] != "batches/week-1" ||
		n[0].GetCovers()[0].GetQuantityKg() != 113 || n[1].GetCovers()[0].GetQuantityKg() != 117 {
		t.Errorf("of the order %v", order)
	}
	batch := must[*pb.Pegging](t)(buyer.GetPegging(t.Context(), &pb.GetPeggingRequest{Name: "batches/week-7"}))
	if n := batch.GetNeeds(); len(n) != 1 || n[0].GetMaterial() != "materials/seat" || n[0].GetQuantityKg() != 120 || len(batch.GetFree()) != 1 || batch.GetFree()[0].GetMaterial() != "materials/chair" {
		t.Errorf("of the batch %v", batch)
	}
	if got := s.REST(app.InkMaker, "GET", "/v1/batches/week-7:pegging", nil); got.Status != http.StatusOK || got.Body["name"] != "batches/week-7" {
		t.Errorf("over REST %s", got.Raw)
	}
	if got := s.REST(app.Purchasing, "GET", "/v1/purchaseOrders/seats:pegging", nil); got.Status != http.StatusOK {
		t.Errorf("over REST %s", got.Raw)
	}
	peg := func(role app.Role, name string) func(context.Context) error {
		return func(ctx context.Context) error {
			_, err := pb.NewPurchasingServiceClient(s.As(role)).GetPegging(ctx, &pb.GetPeggingRequest{Name: name})
			return err
		}
	}
	refuse(t, []bad{
		{"order desk", codes.PermissionDenied, "", peg(app.OrderDesk, "batches/week-7")},
		{"no batch", codes.NotFound, "week-9", peg(app.Purchasing, "batches/week-9")},
		{"no order", codes.NotFound, "po-9", peg(app.Purchasing, "purchaseOrders/po-9")},
		{"a lot", codes.InvalidArgument, "purchaseOrders/... or batches/...", peg(app.Purchasing, "lots/seats")},
	})
}

// Safety time and a fence, by hand: with ten days of safety time week 4's lot is to
// be there ten days before, and ordered two weeks before that.
func TestSafetyTimeAndFenceOnTheBoard(t *testing.T) {
	s := assembly(t, &pb.Ordering{LotRule: pb.LotRule_LOT_RULE_FIXED_LOT, FixedLotKg: 230, SafetyTimeDays: 10})
	r := seatRow(t, s, &pb.GetCoverageRequest{})
	// Needed on Friday the 27th, there by the 17th, ordered on the 3rd, tomorrow.
	if o := r.GetSuggestions()[0]; o.GetReceiptByDate() != "2026-11-17" || o.GetOrderByDate() != "2026-11-03" || o.GetLate() || o.GetPastDueDays() != 0 {
		t.Errorf("with safety time %v", o)
	}
	materials := pb.NewMaterialServiceClient(s.As(app.Purchasing))
	change := func(o *pb.Ordering) {
		m := must[*pb.Material](t)(materials.GetMaterial(t.Context(), &pb.GetMaterialRequest{Name: "materials/seat"}))
		m.Ordering = o
		must[*pb.Material](t)(materials.UpdateMaterial(t.Context(), &pb.UpdateMaterialRequest{Material: m, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"ordering"}}}))
	}
	change(&pb.Ordering{LotRule: pb.LotRule_LOT_RULE_FIXED_LOT, FixedLotKg: 230, SafetyTimeDays: 13})
	if r = seatRow(t, s, &pb.GetCoverageRequest{Pegging: true}); r.GetPastDueReleaseKg() != 230 || r.GetSuggestions()[0].GetPastDueDays() != 2 || r.GetSuggestions()[0].GetLate() ||
		r.GetSuggestions()[0].GetOrderByDate() != "2026-11-02" || r.GetSuggestions()[0].GetArrivalDate() != "2026-11-16" {
		t.Errorf("two days past due, but in time for the batch: %v", r)
	}
	// What is past due is there when it can be, not when it was planned to be.
	if c := r.GetNeeds()[1].GetCovers()[1]; c.GetSource() != "planned" || c.GetArrivalDate() != "2026-11-16" || c.GetLateDays() != 0 {
		t.Errorf("week 4 is covered by %v", r.GetNeeds()[1])
	}
	change(&pb.Ordering{LotRule: pb.LotRule_LOT_RULE_LOT_FOR_LOT, FenceDays: 28})
	r = seatRow(t, s, &pb.GetCoverageRequest{})
	if e := r.GetExpedite(); len(e) != 1 || e[0].GetDate() != "2026-11-27" || e[0].GetQuantityKg() != 3 || e[0].GetSource() != "" {
		t.Errorf("within the fence %v", e)
	}
	if want := []float64{0, 0, 0, 0, 3, 150, 120, 0}; !slices.Equal(r.GetPlannedReceiptKg(), want) {
		t.Errorf("planned from the fence on %v, want %v", r.GetPlannedReceiptKg(), want)
	}
	ordering := func(o *pb.Ordering) func(context.Context) error {
		return func(ctx context.Context) error {
			_, err := materials.UpdateMaterial(ctx, &pb.UpdateMaterialRequest{Material: &pb.Material{Name: "materials/seat", Ordering: o},
				UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"ordering"}}})
			return err
		}
	}
	refuse(t, []bad{
		{"no lot", codes.InvalidArgument, "fixed_lot_kg", ordering(&pb.Ordering{LotRule: pb.LotRule_LOT_RULE_FIXED_LOT})},
		{"a lot for nothing", codes.InvalidArgument, "fixed_lot_kg", ordering(&pb.Ordering{LotRule: pb.LotRule_LOT_RULE_LOT_FOR_LOT, FixedLotKg: 5})},
		{"no period", codes.InvalidArgument, "lot_period_days", ordering(&pb.Ordering{LotRule: pb.LotRule_LOT_RULE_PERIOD_LOTS})},
		{"a period for nothing", codes.InvalidArgument, "lot_period_days", ordering(&pb.Ordering{LotPeriodDays: 7})},
		{"negative", codes.InvalidArgument, "safety_time_days", ordering(&pb.Ordering{SafetyTimeDays: -1})},
	})
}

// By day and as comma-separated values: the same board.
func TestCoverageByDayAndAsCSV(t *testing.T) {
	s := assembly(t, nil)
	r := seatRow(t, s, &pb.GetCoverageRequest{Days: 5})
	if want := []float64{37, 267, 267, 267, 117}; !slices.Equal(r.GetProjectedKg(), want) {
		t.Errorf("by day %v, want %v", r.GetProjectedKg(), want)
	}
	got := s.REST(app.Purchasing, "GET", "/v1/coverage:csv?days=5&material=materials/seat", nil)
	if got.Status != http.StatusOK || got.Header.Get("Content-Type") != "text/csv; charset=utf-8" {
		t.Fatalf("%d %v %s", got.Status, got.Header, got.Raw)
	}
	lines, err := csv.NewReader(strings.NewReader(string(got.Raw))).ReadAll()
	if err != nil || len(lines) != 6 {
		t.Fatalf("%d lines, %v", len(lines), err)
	}
	at := func(column string) int { return slices.Index(lines[0], column) }
	for day, want := range []string{"37", "267", "267", "267", "117"} {
		line := lines[day+1]
		if line[at("projected_kg")] != want || line[at("date")] != r2d(day) || line[at("title")] != "'=Seat" {
			t.Errorf("line %d: %v", day, line)
		}
	}
	if got := s.REST(app.OrderDesk, "GET", "/v1/coverage:csv", nil); got.Status != http.StatusForbidden || strings.Contains(string(got.Raw), "eat") {
		t.Errorf("the order desk gets %d %s", got.Status, got.Raw)
	}
	refuse(t, []bad{{"weeks and days", codes.InvalidArgument, "leave out weeks or days", func(ctx context.Context) error {
		_, err := pb.NewPurchasingServiceClient(s.As(app.Purchasing)).ExportCoverage(ctx, &pb.ExportCoverageRequest{Weeks: 2, Days: 3})
		return err
	}}})
}

func r2d(day int) string {
	return time.Date(2026, 11, 2+day, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
}
