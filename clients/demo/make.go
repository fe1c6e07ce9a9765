package demo

import (
	"context"
	"fmt"
	"math"
	"sort"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "millbase/proto/millbase/v1"
)

// dispersionRoute is three passes over mills with tests between (common
// practice); mixRoute mixes finished base inks, so it needs no bead mill.
var (
	dispersionRoute = []*pb.RouteStep{
		{Step: pb.ProcessStep_PROCESS_STEP_PREMIX, Passes: 1}, {Step: pb.ProcessStep_PROCESS_STEP_BEAD_MILL, Passes: 1},
		{Step: pb.ProcessStep_PROCESS_STEP_THREE_ROLL_MILL, Passes: 1}, {Step: pb.ProcessStep_PROCESS_STEP_QUALITY_TEST, Passes: 1},
		{Step: pb.ProcessStep_PROCESS_STEP_LET_DOWN, Passes: 1}, {Step: pb.ProcessStep_PROCESS_STEP_FINAL_THREE_ROLL_PASS, Passes: 1},
		{Step: pb.ProcessStep_PROCESS_STEP_QUALITY_TEST, Passes: 1}, {Step: pb.ProcessStep_PROCESS_STEP_CANNING, Passes: 1},
	}
	mixRoute = []*pb.RouteStep{
		{Step: pb.ProcessStep_PROCESS_STEP_LET_DOWN, Passes: 1}, {Step: pb.ProcessStep_PROCESS_STEP_FINAL_THREE_ROLL_PASS, Passes: 1},
		{Step: pb.ProcessStep_PROCESS_STEP_QUALITY_TEST, Passes: 1}, {Step: pb.ProcessStep_PROCESS_STEP_CANNING, Passes: 1},
	}
)

// newFormula asks for the cheapest formula of a specification from stock and
// enters it in the formula book, released, by material. A formula that an earlier
// load has entered stays: stock has moved since, and so would the optimum.
func (l *Loader) newFormula(ctx context.Context, k ink) error {
	switch there, err := l.formulas.GetFormula(ctx, &pb.GetFormulaRequest{Name: "formulas/" + k.id}); {
	case err == nil && there.Released:
		return nil
	case err == nil:
		return l.release(ctx, k.id, there.Revision)
	case status.Code(err) != codes.NotFound:
		return fmt.Errorf("%s: %w", k.id, err)
	}
	answer, err := l.optimiser.Optimise(ctx, &pb.OptimiseRequest{
		Specification: "specifications/" + k.id, QuantityKg: 100, Date: l.day(0), CostBasis: pb.CostBasis_COST_BASIS_LOT,
		Book: &pb.BookCandidates{StockOnly: true, Excluded: leftovers()},
	})
	if err != nil {
		return fmt.Errorf("%s: %w", k.id, err)
	}
	if answer.Outcome != pb.OptimiseOutcome_OPTIMISE_OUTCOME_OPTIMAL {
		return fmt.Errorf("%s: %s", k.id, answer.GetClash().GetSummary())
	}
	route := dispersionRoute
	if k.class == inkClass && len(k.id) > 5 && k.id[:5] == "spot-" {
		route = mixRoute
	}
	formula, err := l.formulas.CreateFormula(ctx, &pb.CreateFormulaRequest{
		FormulaId: k.id, RequestId: uid(l.today, "formula", k.id),
		Formula: &pb.Formula{
			Title: k.title, Material: "materials/" + k.id, Specification: "specifications/" + k.id,
			Ingredients: ingredients(answer.Components), Route: route, YieldFraction: 0.985,
		},
	})
	if err != nil {
		return fmt.Errorf("%s: %w", k.id, err)
	}
	return l.release(ctx, k.id, formula.Revision)
}

func (l *Loader) release(ctx context.Context, id string, revision int32) error {
	_, err := l.formulas.ReleaseFormula(ctx, &pb.ReleaseFormulaRequest{Name: fmt.Sprintf("formulas/%s@%d", id, revision)})
	return err
}

// leftovers names the work-off: it comes and goes, so the formula book does not
// count on it.
func leftovers() []string {
	var out []string
	for _, m := range workOff() {
		out = append(out, "materials/"+m.id)
	}
	return out
}

// ingredients adds the components up by material and rounds the shares to whole
// parts per million that add up to one: the rest goes to the largest.
func ingredients(components []*pb.FormulaComponent) []*pb.Ingredient {
	shares := map[string]float64{}
	for _, c := range components {
		shares[c.Material] += c.Share
	}
	var names []string
	for name := range shares {
		if shares[name] >= 1e-6 {
			names = append(names, name)
		}
	}
	sort.Slice(names, func(i, j int) bool {
		if a, b := shares[names[i]], shares[names[j]]; a != b {
			return a > b
		}
		return names[i] < names[j]
	})
	out := make([]*pb.Ingredient, len(names))
	left := 1_000_000.0
	for i, name := range names {
		parts := math.Round(shares[name] * 1e6)
		left -= parts
		out[i] = &pb.Ingredient{Material: name, Share: parts / 1e6}
	}
	out[0].Share = math.Round(out[0].Share*1e6+left) / 1e6
	return out
}

// produce plans, reserves and finishes a batch of an ink and releases its lot.
func (l *Loader) produce(ctx context.Context, id, formula string, kg float64) error {
	if _, err := l.batches.CreateBatch(ctx, &pb.CreateBatchRequest{
		BatchId: id, RequestId: uid(l.today, "batch", id),
		Batch: &pb.Batch{Formula: "formulas/" + formula, QuantityKg: kg, DueDate: l.day(0)},
	}); err != nil {
		return fmt.Errorf("batch %s: %w", id, err)
	}
	name := "batches/" + id
	batch, err := l.batches.GetBatch(ctx, &pb.GetBatchRequest{Name: name})
	if err != nil {
		return err
	}
	if batch.State == pb.BatchState_BATCH_STATE_PLANNED {
		if _, err := l.batches.ReserveBatch(ctx, &pb.ReserveBatchRequest{Name: name}); err != nil {
			return fmt.Errorf("batch %s: %w", id, err)
		}
	}
	lot := "m-" + id
	if _, err := l.batches.FinishBatch(ctx, &pb.FinishBatchRequest{
		Name: name, FinishedKg: kg, FinishedLotId: lot, Location: "finished-store", RequestId: uid(l.today, "finish", id),
	}); err != nil {
		return fmt.Errorf("batch %s: %w", id, err)
	}
	_, err = l.lots.SetLotStatus(ctx, &pb.SetLotStatusRequest{Name: "lots/" + lot, Status: pb.LotStatus_LOT_STATUS_RELEASED, Reason: "tested"})
	return err
}

func (l *Loader) loadBaseInks(ctx context.Context) (int, error) {
	n := 0
	for _, k := range baseInks() {
		if err := l.newFormula(ctx, k); err != nil {
			return n, err
		}
		for run := 1; run <= 2; run++ {
			if err := l.produce(ctx, fmt.Sprintf("%s-%d", k.id, run), k.id, 240); err != nil {
				return n, err
			}
		}
		n++
	}
	return n, nil
}

func (l *Loader) loadInkFormulas(ctx context.Context) (int, error) {
	n := 0
	for _, k := range append(processInks(), spotColours()...) {
		if err := l.newFormula(ctx, k); err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}

func (l *Loader) loadFinishedStock(ctx context.Context) (int, error) {
	stock := []struct {
		ink string
		kg  float64
	}{{"sheetfed-cyan", 180}, {"sheetfed-black", 320}, {"sheetfed-yellow", 150}, {"heatset-black", 400}, {"spot-cherry", 40}}
	for _, s := range stock {
		if err := l.produce(ctx, s.ink+"-stock", s.ink, s.kg); err != nil {
			return 0, err
		}
	}
	return len(stock), nil
}

// order is a row of the purchase orders that are open on the day of loading.
type order struct {
	id, supplier, material string
	kg, price              float64
	due                    int // days from today
	send                   bool
}

// LatePigment is the open order of magenta pigment.
const LatePigment = "po-115"

var orders = []order{
	{"po-112", "lindholt", "qs-soft", 360, 3.11, 9, true},
	{LatePigment, "veldrin", "pr57-1-bluish", 600, 8.90, 12, true},
	{"po-118", "brackenau", "cobalt-10", 40, 14.60, 8, true},
	{"po-119", "quellmark", "soya", 2160, 1.36, 5, true},
	{"po-121", "sundmarsh", "pbk7-furnace", 1000, 2.62, 15, true},
	{"po-123", "pellwick", "pe-micronised", 200, 5.80, 20, false},
}

func (l *Loader) loadOrders(ctx context.Context) (int, error) {
	return each(ctx, orders, func(ctx context.Context, o order) error {
		s := supplierByID(o.supplier)
		_, err := l.orders.CreatePurchaseOrder(ctx, &pb.CreatePurchaseOrderRequest{
			PurchaseOrderId: o.id, RequestId: uid(l.today, "order", o.id),
			PurchaseOrder: &pb.PurchaseOrder{Supplier: "suppliers/" + o.supplier, Lines: []*pb.PurchaseOrderLine{{
				Material: "materials/" + o.material, Offer: "suppliers/" + o.supplier + "/offers/" + o.material,
				QuantityKg: o.kg, PricePerKg: amount(s.currency, o.price), DueDate: l.day(o.due),
			}}},
		})
		if err != nil || !o.send {
			return err
		}
		now, err := l.orders.GetPurchaseOrder(ctx, &pb.GetPurchaseOrderRequest{Name: "purchaseOrders/" + o.id})
		if err != nil || now.State != pb.PurchaseOrderState_PURCHASE_ORDER_STATE_DRAFT {
			return err
		}
		_, err = l.orders.SendPurchaseOrder(ctx, &pb.SendPurchaseOrderRequest{Name: "purchaseOrders/" + o.id})
		return err
	})
}

// loadBatches plans 30 batches over six weeks; those of the first days are
// reserved.
func (l *Loader) loadBatches(ctx context.Context) (int, error) {
	plan := []struct {
		ink string
		kg  float64
	}{
		{"sheetfed-black", 600}, {"sheetfed-cyan", 450}, {"sheetfed-magenta", 500}, {"sheetfed-yellow", 450}, {"spot-harbour-blue", 120},
		{"heatset-black", 700}, {"heatset-cyan", 400}, {"spot-moss", 90}, {"heatset-magenta", 400}, {"heatset-yellow", 400},
		{"coldset-black", 700}, {"sheetfed-black", 600}, {"spot-brick", 110}, {"sheetfed-cyan", 500}, {"spot-slate", 80},
		{"sheetfed-magenta", 550}, {"sheetfed-yellow", 500}, {"spot-plum", 60}, {"heatset-black", 600}, {"coldset-cyan", 300},
		{"coldset-magenta", 300}, {"spot-marigold", 100}, {"sheetfed-black", 500}, {"spot-lagoon", 90}, {"sheetfed-cyan", 450},
		{"heatset-magenta", 350}, {"spot-gorse", 70}, {"sheetfed-magenta", 450}, {"spot-night", 120}, {"sheetfed-yellow", 400},
	}
	for i, p := range plan {
		id := fmt.Sprintf("b-%d", 201+i)
		due := l.workday(2 + i*40/len(plan))
		if _, err := l.batches.CreateBatch(ctx, &pb.CreateBatchRequest{
			BatchId: id, RequestId: uid(l.today, "batch", id),
			Batch: &pb.Batch{Formula: "formulas/" + p.ink, QuantityKg: p.kg, DueDate: due},
		}); err != nil {
			return i, fmt.Errorf("batch %s: %w", id, err)
		}
		if i >= 2 {
			continue
		}
		now, err := l.batches.GetBatch(ctx, &pb.GetBatchRequest{Name: "batches/" + id})
		if err != nil {
			return i, err
		}
		if now.State == pb.BatchState_BATCH_STATE_PLANNED {
			if _, err := l.batches.ReserveBatch(ctx, &pb.ReserveBatchRequest{Name: "batches/" + id}); err != nil {
				return i, fmt.Errorf("batch %s: %w", id, err)
			}
		}
	}
	return len(plan), nil
}

// workday is the date n days from today, or the Monday after when that is a
// weekend.
func (l *Loader) workday(n int) string {
	d := l.today.AddDate(0, 0, n)
	for d.Weekday() == time.Saturday || d.Weekday() == time.Sunday {
		d = d.AddDate(0, 0, 1)
	}
	return d.Format(time.DateOnly)
}

// loadMovements posts what happens beside production.
func (l *Loader) loadMovements(ctx context.Context) (int, error) {
	moves := []*pb.Movement{
		{Kind: pb.MovementKind_MOVEMENT_KIND_ADJUSTMENT, Lot: "lots/l-1003", Location: "dry-store", QuantityKg: -1.4, Note: "count of the quarter"},
		{Kind: pb.MovementKind_MOVEMENT_KIND_SCRAP, Lot: "lots/l-1007", Location: "dry-store", QuantityKg: 2.5, Note: "torn bag"},
		{Kind: pb.MovementKind_MOVEMENT_KIND_TRANSFER, Lot: "lots/l-1011", Location: "dry-store", ToLocation: "main-store", QuantityKg: 20, Note: "to weigh-up"},
	}
	for i, m := range moves {
		if _, err := l.ledger.CreateMovement(ctx, &pb.CreateMovementRequest{
			Movement: m, MovementId: uid(l.today, "movement", fmt.Sprint(i)),
		}); err != nil {
			return i, err
		}
	}
	return len(moves), nil
}
