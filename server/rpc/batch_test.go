package rpc_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	moneypb "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

func eur(units int64, nanos int32) *moneypb.Money {
	return &moneypb.Money{CurrencyCode: "EUR", Units: units, Nanos: nanos}
}

func must[T any](t *testing.T) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// smallPlant is a book filled through the API alone: four materials, a lot of
// each, a specification and a released formula of a sheetfed cyan.
func smallPlant(t *testing.T) *grpc.ClientConn {
	t.Helper()
	conn := servertest.Start(t).As(app.Admin)
	ctx := t.Context()
	must[*pb.Plant](t)(pb.NewPlantServiceClient(conn).UpdatePlant(ctx, &pb.UpdatePlantRequest{Plant: &pb.Plant{Title: "Mill", CurrencyCode: "EUR", TimeZone: "UTC", ScaleDivisionKg: 0.005}}))
	must[*pb.Supplier](t)(pb.NewSupplierServiceClient(conn).CreateSupplier(ctx, &pb.CreateSupplierRequest{SupplierId: "quellmark", Supplier: &pb.Supplier{Title: "Quellmark", CurrencyCode: "EUR"}}))
	expiry := time.Now().AddDate(0, 6, 0).Format(time.DateOnly)
	for _, m := range []struct {
		id, title, ci string
		class         pb.MaterialClass
		price         *moneypb.Money
		kg            float64
		of            propertiesOf
	}{
		{"blue", "Phthalo blue", "PB15:3", pb.MaterialClass_MATERIAL_CLASS_PIGMENT, eur(12, 0), 100, propertiesOf{"density_kg_per_l": 1.6, "pigment_fraction": 1, "tack_units": 10}},
		{"varnish", "Alkyd varnish", "", pb.MaterialClass_MATERIAL_CLASS_VARNISH, eur(3, 200_000_000), 400, propertiesOf{"density_kg_per_l": 1.02, "binder_solids_fraction": 0.7, "volatile_fraction": 0.3, "tack_units": 13}},
		{"oil", "Mineral oil", "", pb.MaterialClass_MATERIAL_CLASS_OIL, eur(1, 700_000_000), 200, propertiesOf{"density_kg_per_l": 0.82, "volatile_fraction": 1, "tack_units": 1}},
		{"cyan", "Sheetfed cyan", "", pb.MaterialClass_MATERIAL_CLASS_INK, nil, 0, nil},
	} {
		must[*pb.Material](t)(pb.NewMaterialServiceClient(conn).CreateMaterial(ctx, &pb.CreateMaterialRequest{MaterialId: m.id,
			Material: &pb.Material{Title: m.title, MaterialClass: m.class, ColourIndex: m.ci, Properties: m.of, ShelfLifeDays: 365}}))
		if m.kg == 0 {
			continue
		}
		must[*pb.Lot](t)(pb.NewLotServiceClient(conn).ReceiveLot(ctx, &pb.ReceiveLotRequest{LotId: m.id + "-1", QuantityKg: m.kg, Location: "a-1", MovementId: uuid.NewString(),
			Lot: &pb.Lot{Material: "materials/" + m.id, Supplier: "suppliers/quellmark", ExpiryDate: expiry, Cost: &pb.LotCost{PricePerKg: m.price}}}))
		must[*pb.Lot](t)(pb.NewLotServiceClient(conn).SetLotStatus(ctx, &pb.SetLotStatusRequest{Name: "lots/" + m.id + "-1", Status: pb.LotStatus_LOT_STATUS_RELEASED}))
	}
	must[*pb.Specification](t)(pb.NewSpecificationServiceClient(conn).CreateSpecification(ctx, &pb.CreateSpecificationRequest{SpecificationId: "cyan", Specification: cyanSpecification()}))
	must[*pb.Formula](t)(pb.NewFormulaServiceClient(conn).CreateFormula(ctx, &pb.CreateFormulaRequest{FormulaId: "cyan", Formula: cyanFormula()}))
	must[*pb.Formula](t)(pb.NewFormulaServiceClient(conn).ReleaseFormula(ctx, &pb.ReleaseFormulaRequest{Name: "formulas/cyan@1"}))
	return conn
}

func cyanSpecification() *pb.Specification {
	return &pb.Specification{Title: "Sheetfed cyan", Material: "materials/cyan", Limits: []*pb.Limit{
		{LimitId: "pigment", Title: "pigment loading", Lower: to(0.18), Upper: to(0.22), Subject: &pb.Limit_PigmentLoading_{PigmentLoading: &pb.Limit_PigmentLoading{ColourIndex: "PB15:3"}}},
		{LimitId: "tack", Title: "tack", Lower: to(8), Upper: to(12), Subject: &pb.Limit_Blended_{Blended: &pb.Limit_Blended{Property: "tack_units"}}},
		{LimitId: "viscosity", Upper: to(1e6), Subject: &pb.Limit_Share_{Share: &pb.Limit_Share{Materials: []string{"materials/oil"}, Classes: []pb.MaterialClass{pb.MaterialClass_MATERIAL_CLASS_WAX}}}},
	}}
}

func cyanFormula() *pb.Formula {
	return &pb.Formula{Title: "Sheetfed cyan", Material: "materials/cyan", Specification: "specifications/cyan", YieldFraction: 0.98, Ingredients: []*pb.Ingredient{
		{Material: "materials/blue", Share: 0.18}, {Material: "materials/varnish", Share: 0.7}, {Material: "materials/oil", Share: 0.12}},
		Route: []*pb.RouteStep{{Step: pb.ProcessStep_PROCESS_STEP_PREMIX}, {Step: pb.ProcessStep_PROCESS_STEP_THREE_ROLL_MILL, Passes: 3}}}
}

func TestFromTheBookToAFinishedLot(t *testing.T) {
	conn, ctx := smallPlant(t), t.Context()
	batches := pb.NewBatchServiceClient(conn)
	due := time.Now().AddDate(0, 0, 10).Format(time.DateOnly)

	best := must[*pb.OptimiseResponse](t)(pb.NewOptimiserServiceClient(conn).Optimise(ctx, &pb.OptimiseRequest{Specification: "specifications/cyan", QuantityKg: 100, Date: due, Book: &pb.BookCandidates{}}))
	if best.GetOutcome() != pb.OptimiseOutcome_OPTIMISE_OUTCOME_OPTIMAL || len(best.GetComponents()) != 3 || best.GetComponents()[0].GetCandidate() != "lots/varnish-1" ||
		best.GetComponents()[0].GetMaterial() != "materials/varnish" || best.GetCurrencyCode() != "EUR" {
		t.Errorf("%v", best)
	}
	request := &pb.CreateBatchRequest{BatchId: "b-1", RequestId: uuid.NewString(), Batch: &pb.Batch{Formula: "formulas/cyan", QuantityKg: 100, DueDate: due}}
	made := must[*pb.Batch](t)(batches.CreateBatch(ctx, request))
	again := must[*pb.Batch](t)(batches.CreateBatch(ctx, request))
	if made.GetFormula() != "formulas/cyan@1" || made.GetMaterial() != "materials/cyan" || made.GetState() != pb.BatchState_BATCH_STATE_PLANNED || again.GetEtag() != made.GetEtag() {
		t.Errorf("%v\n%v", made, again)
	}
	if _, err := batches.GetBatchTicket(ctx, &pb.GetBatchTicketRequest{Name: "batches/b-1"}); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("ticket of a planned batch: %v", err)
	}
	reserved := must[*pb.Batch](t)(batches.ReserveBatch(ctx, &pb.ReserveBatchRequest{Name: "batches/b-1", Etag: made.GetEtag()}))
	if len(reserved.GetLines()) != 3 || reserved.GetState() != pb.BatchState_BATCH_STATE_RESERVED || !strings.HasPrefix(reserved.GetLines()[0].GetReservation(), "reservations/") {
		t.Errorf("%v", reserved)
	}
	ticket := must[*pb.BatchTicket](t)(batches.GetBatchTicket(ctx, &pb.GetBatchTicketRequest{Name: "batches/b-1"}))
	if l := ticket.GetLines(); len(l) != 3 || l[0].GetTitle() != "Alkyd varnish" || l[0].GetStep() != 1 || l[0].GetWeighKg() != 71.43 || len(ticket.GetRoute()) != 2 || len(ticket.GetCautions()) == 0 {
		t.Errorf("%v", ticket)
	}
	finish := &pb.FinishBatchRequest{Name: "batches/b-1", FinishedKg: 99.5, FinishedLotId: "cyan-1", Location: "f-1", RequestId: uuid.NewString(),
		Weights: []*pb.ActualWeight{{Lot: "lots/oil-1", WeighedKg: 12.5}}}
	finished := must[*pb.Batch](t)(batches.FinishBatch(ctx, finish))
	replay := must[*pb.Batch](t)(batches.FinishBatch(ctx, finish))
	if finished.GetState() != pb.BatchState_BATCH_STATE_FINISHED || finished.GetFinishedLot() != "lots/cyan-1" || replay.GetEtag() != finished.GetEtag() {
		t.Errorf("%v\n%v", finished, replay)
	}
	lot := must[*pb.Lot](t)(pb.NewLotServiceClient(conn).GetLot(ctx, &pb.GetLotRequest{Name: "lots/cyan-1"}))
	if lot.GetOnHandKg() != 99.5 || lot.GetStatus() != pb.LotStatus_LOT_STATUS_QUARANTINED || lot.GetBatch() != "batches/b-1" || lot.GetCertificate()["pigment_fraction/PB15:3"] == 0 || lot.GetCost() == nil {
		t.Errorf("%v", lot)
	}
	check := must[*pb.CheckLedgerResponse](t)(pb.NewLedgerServiceClient(conn).CheckLedger(ctx, &pb.CheckLedgerRequest{}))
	if len(check.GetDifferences()) > 0 {
		t.Errorf("%v", check)
	}
	listed := must[*pb.ListBatchesResponse](t)(batches.ListBatches(ctx, &pb.ListBatchesRequest{Filter: `state = "FINISHED"`}))
	if len(listed.GetBatches()) != 1 {
		t.Errorf("%v", listed)
	}
}

func TestSpecificationsKeepEveryField(t *testing.T) {
	conn, ctx := smallPlant(t), t.Context()
	specs := pb.NewSpecificationServiceClient(conn)
	all := &pb.Specification{Title: "All", Note: "each kind", Limits: []*pb.Limit{
		{LimitId: "a", Title: "A", Upper: to(0.2), Hard: true, MoveWeight: 3, Subject: &pb.Limit_PigmentLoading_{PigmentLoading: &pb.Limit_PigmentLoading{ColourIndex: "PY13", ByStrength: true}}},
		{LimitId: "b", Upper: to(0.2), Subject: &pb.Limit_VocMass_{VocMass: &pb.Limit_VocMass{}}},
		{LimitId: "c", Upper: to(250), Subject: &pb.Limit_VocContent_{VocContent: &pb.Limit_VocContent{}}},
		{LimitId: "d", Lower: to(0.03), Upper: to(0.08), Subject: &pb.Limit_MetalOnBinder_{MetalOnBinder: &pb.Limit_MetalOnBinder{Metal: "cobalt"}}},
		{LimitId: "e", Upper: to(0), Subject: &pb.Limit_Share_{Share: &pb.Limit_Share{Materials: []string{"materials/oil"}, Classes: []pb.MaterialClass{pb.MaterialClass_MATERIAL_CLASS_WORK_OFF}}}},
		{LimitId: "f", Lower: to(0.01), Subject: &pb.Limit_WaxSolids_{WaxSolids: &pb.Limit_WaxSolids{}}},
		{LimitId: "g", Upper: to(1), Subject: &pb.Limit_WettingDemand_{WettingDemand: &pb.Limit_WettingDemand{}}},
		{LimitId: "h", Lower: to(20), Upper: to(60), Subject: &pb.Limit_Blended_{Blended: &pb.Limit_Blended{Property: "viscosity_pa_s", Index: pb.BlendingIndex_BLENDING_INDEX_DOUBLE_LOG}}},
	}}
	made := must[*pb.Specification](t)(specs.CreateSpecification(ctx, &pb.CreateSpecificationRequest{SpecificationId: "all", Specification: all}))
	got := must[*pb.Specification](t)(specs.GetSpecification(ctx, &pb.GetSpecificationRequest{Name: "specifications/all"}))
	for i, l := range all.GetLimits() {
		if got.GetLimits()[i].String() != l.String() {
			t.Errorf("limit %d came back as %v, was %v", i, got.GetLimits()[i], l)
		}
	}
	changed := must[*pb.Specification](t)(specs.UpdateSpecification(ctx, &pb.UpdateSpecificationRequest{
		Specification: &pb.Specification{Name: "specifications/all", Title: "Everything", Etag: made.GetEtag()}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"title"}}}))
	if changed.GetTitle() != "Everything" || len(changed.GetLimits()) != 8 || changed.GetNote() != "each kind" || changed.GetEtag() == made.GetEtag() {
		t.Errorf("%v", changed)
	}
	_, err := specs.UpdateSpecification(ctx, &pb.UpdateSpecificationRequest{Specification: &pb.Specification{Name: "specifications/all", Title: "Late", Etag: made.GetEtag()},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"title"}}})
	if status.Code(err) != codes.Aborted {
		t.Errorf("an old etag: %v", err)
	}
	listed := must[*pb.ListSpecificationsResponse](t)(specs.ListSpecifications(ctx, &pb.ListSpecificationsRequest{Filter: `material = "materials/cyan"`, PageSize: 5}))
	if len(listed.GetSpecifications()) != 1 || listed.GetSpecifications()[0].GetName() != "specifications/cyan" {
		t.Errorf("%v", listed)
	}
}
