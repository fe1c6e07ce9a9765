package demo

import (
	"context"
	"fmt"
	"math/rand/v2"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"
	"google.golang.org/grpc"

	pb "millbase/proto/millbase/v1"
)

// Loader loads the demo plant through the public API.
type Loader struct {
	materials pb.MaterialServiceClient
	suppliers pb.SupplierServiceClient
	lots      pb.LotServiceClient
	ledger    pb.LedgerServiceClient
	specs     pb.SpecificationServiceClient
	formulas  pb.FormulaServiceClient
	optimiser pb.OptimiserServiceClient
	batches   pb.BatchServiceClient
	orders    pb.PurchasingServiceClient
	plant     pb.PlantServiceClient
	colours   pb.ColourServiceClient
	tests     pb.LotTestServiceClient

	today  time.Time // calendar date, midnight UTC
	report func(format string, args ...any)
}

// NewLoader loads over the connection, which must carry an admin's key. today is
// the calendar date at the plant; report is told of each step.
func NewLoader(conn grpc.ClientConnInterface, today time.Time, report func(format string, args ...any)) *Loader {
	return &Loader{
		materials: pb.NewMaterialServiceClient(conn), suppliers: pb.NewSupplierServiceClient(conn),
		lots: pb.NewLotServiceClient(conn), ledger: pb.NewLedgerServiceClient(conn),
		specs: pb.NewSpecificationServiceClient(conn), formulas: pb.NewFormulaServiceClient(conn),
		optimiser: pb.NewOptimiserServiceClient(conn), batches: pb.NewBatchServiceClient(conn),
		orders: pb.NewPurchasingServiceClient(conn), plant: pb.NewPlantServiceClient(conn),
		colours: pb.NewColourServiceClient(conn), tests: pb.NewLotTestServiceClient(conn),
		today: today, report: report,
	}
}

// uid is a request id that depends on the day and the words alone: a load that
// was interrupted can be run again on the same day and goes on where it was.
func uid(today time.Time, words ...string) string {
	return uuid.NewSHA1(uuid.NameSpaceOID, fmt.Appendf(nil, "tarnbeck %s %v", today.Format(time.DateOnly), words)).String()
}

// Loaded reports whether a load has come to its end: what it does last is there.
func Loaded(ctx context.Context, conn grpc.ClientConnInterface) (bool, error) {
	list, err := pb.NewLedgerServiceClient(conn).ListMovements(ctx, &pb.ListMovementsRequest{PageSize: 1, Filter: `kind = "TRANSFER"`})
	return len(list.GetMovements()) > 0, err
}

// Load fills an empty book, or goes on where a load of the same day was broken
// off.
func (l *Loader) Load(ctx context.Context) error {
	steps := []struct {
		title string
		do    func(context.Context) (int, error)
	}{
		{"plant: calendar, machines, rates", l.loadPlant},
		{"suppliers", l.loadSuppliers},
		{"materials", l.loadMaterials},
		{"offers", l.loadOffers},
		{"lots received and tested", l.loadLots},
		{"bleach tests of pigment lots", l.loadBleachTests},
		{"specifications", l.loadSpecifications},
		{"base inks: formulas, and batches made", l.loadBaseInks},
		{"base inks characterised on two papers", l.loadColours},
		{"inks: formulas from the optimiser", l.loadInkFormulas},
		{"finished ink in stock", l.loadFinishedStock},
		{"purchase orders", l.loadOrders},
		{"batches due in the next six weeks", l.loadBatches},
		{"counts, transfers, scrap", l.loadMovements},
	}
	for _, s := range steps {
		n, err := s.do(ctx)
		if err != nil {
			return fmt.Errorf("%s: %w", s.title, err)
		}
		l.report("  %4d  %s", n, s.title)
	}
	return nil
}

// each runs do for every item, a few at a time.
func each[T any](ctx context.Context, items []T, do func(context.Context, T) error) (int, error) {
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(8)
	for _, item := range items {
		group.Go(func() error { return do(ctx, item) })
	}
	return len(items), group.Wait()
}

func (l *Loader) loadPlant(ctx context.Context) (int, error) {
	etag := ""
	if now, err := l.plant.GetPlant(ctx, &pb.GetPlantRequest{}); err == nil {
		etag = now.GetEtag()
	}
	p := plant(l.today, etag)
	_, err := l.plant.UpdatePlant(ctx, &pb.UpdatePlantRequest{Plant: p})
	return len(p.Machines), err
}

func (l *Loader) loadSuppliers(ctx context.Context) (int, error) {
	return each(ctx, suppliers, func(ctx context.Context, s supplier) error {
		_, err := l.suppliers.CreateSupplier(ctx, &pb.CreateSupplierRequest{
			SupplierId: s.id, RequestId: uid(l.today, "supplier", s.id),
			Supplier: &pb.Supplier{Title: s.title, CurrencyCode: s.currency, LeadTimeDays: s.leadDays},
		})
		return err
	})
}

func (l *Loader) loadMaterials(ctx context.Context) (int, error) {
	zero := 0.0
	if _, err := l.materials.CreateProperty(ctx, &pb.CreatePropertyRequest{
		PropertyId: "gloss_units", RequestId: uid(l.today, "property", "gloss"),
		Property: &pb.Property{Title: "Gloss index", Unit: "units", Index: pb.BlendingIndex_BLENDING_INDEX_LINEAR, Basis: "mass",
			DefaultValue: &zero, MaxValue: 120},
	}); err != nil {
		return 0, err
	}
	return each(ctx, allMaterials(), func(ctx context.Context, m material) error {
		_, err := l.materials.CreateMaterial(ctx, &pb.CreateMaterialRequest{
			MaterialId: m.id, RequestId: uid(l.today, "material", m.id),
			Material: &pb.Material{
				Title: m.title, MaterialClass: m.class, ColourIndex: m.ci, Properties: m.props, Deviations: m.deviations(), ShelfLifeDays: m.shelfDays,
				SafetyStockKg: m.safetyKg, Cautions: m.cautions, StandardCostPerKg: eur(m.price),
			},
		})
		return err
	})
}

// bought is everything that comes from a supplier.
func bought() []material { return append(rawMaterials(), packaging()...) }

// allMaterials is what is bought, what is left over, and what is made.
func allMaterials() []material {
	out := append(bought(), workOff()...)
	for _, k := range inks() {
		out = append(out, material{id: k.id, title: k.title, class: k.class, shelfDays: 540})
	}
	return out
}

func (l *Loader) loadOffers(ctx context.Context) (int, error) {
	type row struct {
		m material
		s supplier
	}
	var rows []row
	for _, m := range bought() {
		for _, s := range m.suppliers {
			rows = append(rows, row{m, supplierByID(s)})
		}
	}
	return each(ctx, rows, func(ctx context.Context, r row) error {
		price := r.m.price * r.s.factor / rates[r.s.currency].value
		offer := &pb.Offer{
			Material: "materials/" + r.m.id, PackSizeKg: r.m.packKg, MinimumOrderKg: r.m.packKg, LeadTimeDays: r.s.leadDays,
			DutyPercent: r.s.duty, ValidFromDate: l.day(-30), ValidUntilDate: l.day(75),
			PriceBreaks: []*pb.PriceBreak{
				{FromKg: 0, PricePerKg: amount(r.s.currency, round(price*1.02, 3))},
				{FromKg: 500, PricePerKg: amount(r.s.currency, round(price*0.985, 3))},
				{FromKg: 2000, PricePerKg: amount(r.s.currency, round(price*0.955, 3))},
			},
		}
		if r.s.freight > 0 {
			offer.FreightPerKg = amount(r.s.currency, r.s.freight)
		}
		_, err := l.suppliers.CreateOffer(ctx, &pb.CreateOfferRequest{
			Parent: "suppliers/" + r.s.id, OfferId: r.m.id, Offer: offer, RequestId: uid(l.today, "offer", r.s.id, r.m.id),
		})
		return err
	})
}

// day is the date n days from today.
func (l *Loader) day(n int) string { return l.today.AddDate(0, 0, n).Format(time.DateOnly) }

func (l *Loader) loadLots(ctx context.Context) (int, error) {
	r := rand.New(rand.NewPCG(seed, 1))
	var all []delivery
	for _, m := range append(bought(), workOff()...) {
		all = append(all, deliveries(m, l.today, r, 1001+len(all))...)
	}
	return each(ctx, all, func(ctx context.Context, d delivery) error {
		if _, err := l.lots.ReceiveLot(ctx, d.request); err != nil {
			return fmt.Errorf("lot %s: %w", d.request.LotId, err)
		}
		if d.status == pb.LotStatus_LOT_STATUS_QUARANTINED {
			return nil
		}
		_, err := l.lots.SetLotStatus(ctx, &pb.SetLotStatusRequest{Name: "lots/" + d.request.LotId, Status: d.status, Reason: "incoming test"})
		return err
	})
}

func (l *Loader) loadSpecifications(ctx context.Context) (int, error) {
	return each(ctx, inks(), func(ctx context.Context, k ink) error {
		_, err := l.specs.CreateSpecification(ctx, &pb.CreateSpecificationRequest{
			SpecificationId: k.id, RequestId: uid(l.today, "specification", k.id),
			Specification: &pb.Specification{Title: k.title, Material: "materials/" + k.id, Limits: k.limits, Note: k.note},
		})
		return err
	})
}
