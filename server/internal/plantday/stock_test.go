package plantday

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"

	"millbase/clients/demo"
	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

// stockOf is what is on hand of a lot.
func stockOf(t *testing.T, conn *grpc.ClientConn, lot string) float64 {
	t.Helper()
	l, err := pb.NewLotServiceClient(conn).GetLot(t.Context(), &pb.GetLotRequest{Name: lot})
	must(t, 0, err)
	return l.OnHandKg
}

// production takes a planned batch from its reservation to finished stock.
func production(t *testing.T, s *servertest.Server) {
	ctx, batches, floor := t.Context(), pb.NewBatchServiceClient(s.As(app.InkMaker)), pb.NewBatchServiceClient(s.As(app.Floor))
	reserved, err := batches.ReserveBatch(ctx, &pb.ReserveBatchRequest{Name: "batches/b-203"})
	must(t, 0, err)
	ticket, err := floor.GetBatchTicket(ctx, &pb.GetBatchTicketRequest{Name: "batches/b-203"})
	must(t, 0, err)
	formula, err := pb.NewFormulaServiceClient(s.As(app.InkMaker)).GetFormula(ctx, &pb.GetFormulaRequest{Name: reserved.Formula})
	must(t, 0, err)
	charged(t, s, ticket, formula)
	before, weighed := map[string]float64{}, map[string]float64{}
	for _, l := range ticket.Lines {
		before[l.Lot] = stockOf(t, s.As(app.Floor), l.Lot)
		weighed[l.Lot] += l.WeighKg
	}
	then := time.Now()
	_, err = floor.FinishBatch(ctx, &pb.FinishBatchRequest{Name: "batches/b-203", FinishedKg: ticket.QuantityKg, FinishedLotId: "m-b-203",
		Location: "finished-store", RequestId: uuid.NewString()})
	must(t, 0, err)
	after := map[string]float64{"lots/m-b-203": ticket.QuantityKg}
	for lot, kg := range before {
		after[lot] = kg - weighed[lot]
		if now := stockOf(t, s.As(app.Floor), lot); math.Abs(now-after[lot]) > 1e-9 {
			t.Errorf("%s: %g kg before, %g on the ticket, %g now", lot, kg, weighed[lot], now)
		}
	}
	stockAsOf(t, s, then, before)
	stockAsOf(t, s, time.Now(), after)
	if kg, ok := balancesAsOf(t, s, then)["lots/m-b-203"]; ok {
		t.Errorf("the finished lot had %g kg before it was made", kg)
	}
}

// charged holds a ticket to its formula: for each material the finished mass
// times its share over the yield, to one division of the scale per line.
func charged(t *testing.T, s *servertest.Server, ticket *pb.BatchTicket, formula *pb.Formula) {
	t.Helper()
	plant, err := pb.NewPlantServiceClient(s.As(app.InkMaker)).GetPlant(t.Context(), &pb.GetPlantRequest{})
	must(t, 0, err)
	weighed, lines := map[string]float64{}, map[string]int{}
	for _, l := range ticket.Lines {
		weighed[l.Material] += l.WeighKg
		lines[l.Material]++
		if steps := l.WeighKg / plant.ScaleDivisionKg; math.Abs(steps-math.Round(steps)) > 1e-6 {
			t.Errorf("%s: %g kg can't be read on a scale of %g kg", l.Material, l.WeighKg, plant.ScaleDivisionKg)
		}
	}
	for _, i := range formula.Ingredients {
		want := ticket.QuantityKg * i.Share / formula.YieldFraction
		if math.Abs(weighed[i.Material]-want) > float64(max(1, lines[i.Material]))*plant.ScaleDivisionKg {
			t.Errorf("%s: the ticket weighs %g kg, the formula wants %g", i.Material, weighed[i.Material], want)
		}
		delete(weighed, i.Material)
	}
	if len(weighed) > 0 || len(ticket.Cautions) == 0 {
		t.Errorf("the ticket weighs what is not in the formula: %v; it has %d cautions", weighed, len(ticket.Cautions))
	}
}

func balancesAsOf(t *testing.T, s *servertest.Server, moment time.Time) map[string]float64 {
	t.Helper()
	got := map[string]float64{}
	answer := s.REST(app.Quality, "GET", "/v1/balances?page_size=1000&as_of="+moment.UTC().Format(time.RFC3339Nano), nil)
	rows, _ := answer.Body["balances"].([]any)
	if len(rows) < 200 {
		t.Fatalf("%d balances as of %v: %.300s", len(rows), moment, answer.Raw)
	}
	for _, r := range rows {
		row := r.(map[string]any)
		got[row["lot"].(string)] += row["on_hand_kg"].(float64)
	}
	return got
}

func stockAsOf(t *testing.T, s *servertest.Server, moment time.Time, want map[string]float64) {
	t.Helper()
	got := balancesAsOf(t, s, moment)
	for lot, kg := range want {
		if math.Abs(got[lot]-kg) > 1e-9 {
			t.Errorf("%s: %g kg as of %v, want %g", lot, got[lot], moment, kg)
		}
	}
}

// coverageOf is one material's row of the board.
func coverageOf(t *testing.T, s *servertest.Server, material string) *pb.CoverageRow {
	t.Helper()
	board, err := pb.NewPurchasingServiceClient(s.As(app.Purchasing)).GetCoverage(t.Context(), &pb.GetCoverageRequest{Weeks: 6, Material: material})
	must(t, 0, err)
	if len(board.Rows) != 1 {
		t.Fatalf("%d rows for %s", len(board.Rows), material)
	}
	return board.Rows[0]
}

// purchase orders what is suggested for the material that is short, sends,
// receives and releases it, and asks after each step.
func purchase(t *testing.T, s *servertest.Server) {
	ctx, buyer, lots := t.Context(), pb.NewPurchasingServiceClient(s.As(app.Purchasing)), pb.NewLotServiceClient(s.As(app.Quality))
	const short = "materials/qs-soft"
	before := coverageOf(t, s, short)
	if before.ShortKg <= 0 || len(before.Batches) == 0 || len(before.Suggestions) == 0 {
		t.Fatalf("%s should be short, for some batch, with something to order: %v", short, before)
	}
	ordered := 0.0
	for i, suggestion := range before.Suggestions {
		ordered += suggestion.QuantityKg
		name := fmt.Sprintf("po-day-%d", i)
		_, err := buyer.CreatePurchaseOrder(ctx, &pb.CreatePurchaseOrderRequest{PurchaseOrderId: name, PurchaseOrder: &pb.PurchaseOrder{Supplier: suggestion.Supplier,
			Lines: []*pb.PurchaseOrderLine{{Material: short, Offer: suggestion.Offer, QuantityKg: suggestion.QuantityKg,
				PricePerKg: suggestion.PricePerKg, DueDate: suggestion.ArrivalDate}}}})
		must(t, 0, err)
		if row := coverageOf(t, s, short); i == 0 && row.ShortKg != before.ShortKg {
			t.Errorf("a draft already counts as expected: short by %g kg, before %g", row.ShortKg, before.ShortKg)
		}
		_, err = buyer.SendPurchaseOrder(ctx, &pb.SendPurchaseOrderRequest{Name: "purchaseOrders/" + name})
		must(t, 0, err)
	}
	if row := coverageOf(t, s, short); row.ShortKg > 0 {
		t.Errorf("after ordering what was suggested %s is still short by %g kg", short, row.ShortKg)
	}
	for i, suggestion := range before.Suggestions {
		lot, order := fmt.Sprintf("l-day-%d", i), fmt.Sprintf("purchaseOrders/po-day-%d", i)
		_, err := lots.ReceiveLot(ctx, &pb.ReceiveLotRequest{LotId: lot, Lot: &pb.Lot{Material: short, Supplier: suggestion.Supplier, Cost: &pb.LotCost{PricePerKg: suggestion.PricePerKg}},
			QuantityKg: suggestion.QuantityKg, Location: "tank-hall", MovementId: uuid.NewString(), PurchaseOrder: order})
		must(t, 0, err)
		got, err := buyer.GetPurchaseOrder(ctx, &pb.GetPurchaseOrderRequest{Name: order})
		must(t, 0, err)
		if got.State != pb.PurchaseOrderState_PURCHASE_ORDER_STATE_RECEIVED || got.Lines[0].ReceivedKg != suggestion.QuantityKg {
			t.Errorf("after the receipt the order is %v", got)
		}
		if row := coverageOf(t, s, short); i == 0 && row.QuarantinedKg < before.QuarantinedKg+suggestion.QuantityKg {
			t.Errorf("in quarantine: %g kg, before %g, received %g", row.QuarantinedKg, before.QuarantinedKg, suggestion.QuantityKg)
		}
		_, err = lots.SetLotStatus(ctx, &pb.SetLotStatusRequest{Name: "lots/" + lot, Status: pb.LotStatus_LOT_STATUS_RELEASED})
		must(t, 0, err)
	}
	if row := coverageOf(t, s, short); row.ShortKg > 0 || math.Abs(row.OnHandKg-before.OnHandKg-ordered) > 1e-6 {
		t.Errorf("received and released: short by %g kg, on hand %g, before %g and %g ordered", row.ShortKg, row.OnHandKg, before.OnHandKg, ordered)
	}
}

// again loads the plant a second time on the same day: every request is a replay,
// so it must succeed and leave the ledger, the lots and the batches as they are.
func again(t *testing.T, s *servertest.Server) {
	ctx := t.Context()
	state := func() string {
		check, err := pb.NewLedgerServiceClient(s.As(app.Quality)).CheckLedger(ctx, &pb.CheckLedgerRequest{})
		must(t, 0, err)
		lots, err := pb.NewLotServiceClient(s.As(app.Quality)).ListLots(ctx, &pb.ListLotsRequest{PageSize: 1000})
		must(t, 0, err)
		batches, err := pb.NewBatchServiceClient(s.As(app.InkMaker)).ListBatches(ctx, &pb.ListBatchesRequest{PageSize: 1000})
		must(t, 0, err)
		formulas, err := pb.NewFormulaServiceClient(s.As(app.InkMaker)).ListFormulas(ctx, &pb.ListFormulasRequest{PageSize: 1000})
		must(t, 0, err)
		out := fmt.Sprint(check.Movements, check.Entries, check.OnHandKg, len(lots.Lots))
		for _, l := range lots.Lots {
			out += fmt.Sprint(" ", l.Name, l.Status, l.OnHandKg, l.ReservedKg)
		}
		for _, b := range batches.Batches {
			out += fmt.Sprint(" ", b.Name, b.State, b.QuantityKg)
		}
		for _, f := range formulas.Formulas {
			out += fmt.Sprint(" ", f.Name, f.Revision, f.Released)
		}
		return out
	}
	before := state()
	if err := demo.NewLoader(s.As(app.Admin), demo.Today(time.Now()), t.Logf).Load(ctx); err != nil {
		t.Errorf("loading again: %v", err)
	}
	if after := state(); after != before {
		t.Errorf("loading again changed the book:\nbefore %s\nafter  %s", before, after)
	}
}

// TestAnInterruptedLoadGoesOn breaks a load off at several points and runs it
// again until it is through.
func TestAnInterruptedLoadGoesOn(t *testing.T) {
	s := servertest.Start(t)
	conn, broken := s.As(app.Admin), 0
	for calls := 150; ; calls += 350 {
		left := calls
		cut := &cutting{ClientConnInterface: conn, left: func() bool { left--; return left >= 0 }}
		err := demo.NewLoader(cut, demo.Today(time.Now()), t.Logf).Load(t.Context())
		if err == nil {
			break
		}
		if !errors.Is(err, errCut) {
			t.Fatalf("after %d interruptions: %v", broken, err)
		}
		broken++
	}
	if broken < 2 {
		t.Fatalf("the load was broken off %d times only", broken)
	}
	size(t, conn)
}

var errCut = errors.New("the line is cut")

// cutting is a connection that fails for good after some calls.
type cutting struct {
	grpc.ClientConnInterface
	mu   sync.Mutex
	left func() bool
}

func (c *cutting) Invoke(ctx context.Context, method string, req, resp any, opts ...grpc.CallOption) error {
	c.mu.Lock()
	goes := c.left()
	c.mu.Unlock()
	if !goes {
		return errCut
	}
	return c.ClientConnInterface.Invoke(ctx, method, req, resp, opts...)
}
