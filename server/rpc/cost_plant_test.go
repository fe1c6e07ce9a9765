package rpc_test

import (
	"testing"
	"time"

	"github.com/google/uuid"
	moneypb "google.golang.org/genproto/googleapis/type/money"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

// works is an invented plant, filled through the API alone, on Monday 2 November
// 2026 at 08:00: cyan of half base ink, 49 % varnish and 1 % drier, 80 % yield.
// 30 kg of it are in stock; the drier is not, and due on the 4th.
func works(t *testing.T) *servertest.Server {
	t.Helper()
	s := servertest.StartWith(t, servertest.Options{Clock: func() time.Time { return time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC) }})
	conn, ctx := s.As(app.Admin), t.Context()
	must[*pb.Plant](t)(pb.NewPlantServiceClient(conn).UpdatePlant(ctx, &pb.UpdatePlantRequest{Plant: worksPlant()}))
	must[*pb.Supplier](t)(pb.NewSupplierServiceClient(conn).CreateSupplier(ctx, &pb.CreateSupplierRequest{SupplierId: "quellmark",
		Supplier: &pb.Supplier{Title: "Quellmark", CurrencyCode: "EUR", LeadTimeDays: 20}}))
	for _, m := range []struct {
		id, title string
		class     pb.MaterialClass
		standard  *moneypb.Money
		kg        float64
	}{
		{"secret-blue", "Secret blue", pb.MaterialClass_MATERIAL_CLASS_PIGMENT, eur(12, 0), 0},
		{"secret-varnish", "Secret varnish", pb.MaterialClass_MATERIAL_CLASS_VARNISH, eur(3, 500_000_000), 300},
		{"secret-drier", "Secret drier", pb.MaterialClass_MATERIAL_CLASS_DRIER, eur(9, 0), 0},
		{"secret-base", "Secret base", pb.MaterialClass_MATERIAL_CLASS_BASE_INK, nil, 100},
		{"cyan", "Sheetfed cyan", pb.MaterialClass_MATERIAL_CLASS_INK, nil, 30},
	} {
		must[*pb.Material](t)(pb.NewMaterialServiceClient(conn).CreateMaterial(ctx, &pb.CreateMaterialRequest{MaterialId: m.id,
			Material: &pb.Material{Title: m.title, MaterialClass: m.class, StandardCostPerKg: m.standard}}))
		if m.kg > 0 {
			lot := "lot-of-" + m.id
			must[*pb.Lot](t)(pb.NewLotServiceClient(conn).ReceiveLot(ctx, &pb.ReceiveLotRequest{LotId: lot, QuantityKg: m.kg, Location: "a-1", MovementId: uuid.NewString(),
				Lot: &pb.Lot{Material: "materials/" + m.id, Supplier: "suppliers/quellmark", Cost: &pb.LotCost{PricePerKg: eur(7, 0)}}}))
			must[*pb.Lot](t)(pb.NewLotServiceClient(conn).SetLotStatus(ctx, &pb.SetLotStatusRequest{Name: "lots/" + lot, Status: pb.LotStatus_LOT_STATUS_RELEASED}))
		}
	}
	for _, f := range []*pb.Formula{
		{Name: "base", Title: "Secret base formula", Material: "materials/secret-base", Ingredients: []*pb.Ingredient{
			{Material: "materials/secret-blue", Share: 0.4}, {Material: "materials/secret-varnish", Share: 0.6}},
			Route: []*pb.RouteStep{{Step: pb.ProcessStep_PROCESS_STEP_PREMIX}, {Step: pb.ProcessStep_PROCESS_STEP_THREE_ROLL_MILL, Passes: 2}}},
		{Name: "recipe", Title: "Secret recipe", Material: "materials/cyan", YieldFraction: 0.8, Ingredients: []*pb.Ingredient{
			{Material: "materials/secret-base", Share: 0.5}, {Material: "materials/secret-varnish", Share: 0.49}, {Material: "materials/secret-drier", Share: 0.01}},
			Route: []*pb.RouteStep{{Step: pb.ProcessStep_PROCESS_STEP_LET_DOWN}, {Step: pb.ProcessStep_PROCESS_STEP_QUALITY_TEST}, {Step: pb.ProcessStep_PROCESS_STEP_CANNING}}},
	} {
		id := f.Name
		f.Name = ""
		must[*pb.Formula](t)(pb.NewFormulaServiceClient(conn).CreateFormula(ctx, &pb.CreateFormulaRequest{FormulaId: id, Formula: f}))
		must[*pb.Formula](t)(pb.NewFormulaServiceClient(conn).ReleaseFormula(ctx, &pb.ReleaseFormulaRequest{Name: "formulas/" + id + "@1"}))
	}
	must[*pb.PurchaseOrder](t)(pb.NewPurchasingServiceClient(conn).CreatePurchaseOrder(ctx, drierOrder("po-118")))
	must[*pb.PurchaseOrder](t)(pb.NewPurchasingServiceClient(conn).SendPurchaseOrder(ctx, &pb.SendPurchaseOrderRequest{Name: "purchaseOrders/po-118"}))
	return s
}

func drierOrder(id string) *pb.CreatePurchaseOrderRequest {
	return &pb.CreatePurchaseOrderRequest{PurchaseOrderId: id, PurchaseOrder: &pb.PurchaseOrder{Supplier: "suppliers/quellmark",
		Lines: []*pb.PurchaseOrderLine{{Material: "materials/secret-drier", QuantityKg: 5, PricePerKg: eur(10, 0), DueDate: "2026-11-04"}}}}
}

func worksPlant() *pb.Plant {
	p := &pb.Plant{Title: "Works", CurrencyCode: "EUR", TimeZone: "UTC", ScaleDivisionKg: 0.001, OverheadPercent: "10", MarginPercent: "25",
		LaboratoryCharge: eur(85, 0), QualityReleaseDays: 1,
		ExchangeRates: []*pb.ExchangeRate{{CurrencyCode: "USD", Rate: "0.9", RateDate: "2026-11-01"}},
		Packs:         []*pb.Pack{{PackId: "pail-20", Title: "Pail of 20 kg", HoldsKg: 20, Cost: eur(3, 0)}},
		Machines: []*pb.Machine{
			{MachineId: "secret-mixer", Title: "Secret mixer", Steps: []pb.ProcessStep{pb.ProcessStep_PROCESS_STEP_PREMIX, pb.ProcessStep_PROCESS_STEP_LET_DOWN},
				CapacityKg: 500, MinutesPerBatch: 60, SetupMinutes: 30, WashUpMinutes: 30, RatePerHour: eur(60, 0)},
			{MachineId: "secret-roll", Title: "Secret roll", Steps: []pb.ProcessStep{pb.ProcessStep_PROCESS_STEP_THREE_ROLL_MILL},
				ThroughputKgPerH: 100, SetupMinutes: 15, WashUpMinutes: 45, RatePerHour: eur(45, 0)},
			{MachineId: "secret-bench", Title: "Secret bench", Steps: []pb.ProcessStep{pb.ProcessStep_PROCESS_STEP_QUALITY_TEST}, MinutesPerBatch: 60, RatePerHour: eur(40, 0)},
			{MachineId: "secret-filler", Title: "Secret filler", Steps: []pb.ProcessStep{pb.ProcessStep_PROCESS_STEP_CANNING}, ThroughputKgPerH: 200, RatePerHour: eur(36, 0)},
		}}
	for day := int32(1); day <= 5; day++ {
		p.Shifts = append(p.Shifts, &pb.Shift{IsoWeekday: day, FromTime: "08:00", ToTime: "16:00"})
	}
	return p
}
