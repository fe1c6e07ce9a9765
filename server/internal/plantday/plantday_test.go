package plantday

import (
	"math"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"

	"millbase/clients/demo"
	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/postgres/pgtest"
	"millbase/server/servertest"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

// plant is a server with the demo plant on it.
func plant(t *testing.T) *servertest.Server {
	t.Helper()
	s := servertest.Start(t)
	if err := demo.NewLoader(s.As(app.Admin), demo.Today(time.Now()), t.Logf).Load(t.Context()); err != nil {
		t.Fatal(err)
	}
	return s
}

func must[T any](t *testing.T, v T, err error) T {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestADayAtTheDemoPlant(t *testing.T) {
	s := plant(t)
	t.Run("it is as large as it should be", func(t *testing.T) { size(t, s.As(app.Admin)) })
	t.Run("every specification but one has a formula", func(t *testing.T) { formulas(t, s.As(app.InkMaker)) })
	t.Run("a batch goes from ticket to stock", func(t *testing.T) { production(t, s) })
	t.Run("what is short can be ordered", func(t *testing.T) { purchase(t, s) })
	t.Run("loading again changes nothing", func(t *testing.T) { again(t, s) })
	t.Run("the books agree", func(t *testing.T) {
		check, err := pb.NewLedgerServiceClient(s.As(app.Quality)).CheckLedger(t.Context(), &pb.CheckLedgerRequest{})
		must(t, 0, err)
		if len(check.Differences) > 0 || check.Movements < 400 {
			t.Errorf("%d movements, differences %v", check.Movements, check.Differences)
		}
	})
}

func size(t *testing.T, conn *grpc.ClientConn) {
	ctx := t.Context()
	materials, err := pb.NewMaterialServiceClient(conn).ListMaterials(ctx, &pb.ListMaterialsRequest{PageSize: 1000})
	must(t, 0, err)
	lots, err := pb.NewLotServiceClient(conn).ListLots(ctx, &pb.ListLotsRequest{PageSize: 1000})
	must(t, 0, err)
	suppliers, err := pb.NewSupplierServiceClient(conn).ListSuppliers(ctx, &pb.ListSuppliersRequest{PageSize: 1000})
	must(t, 0, err)
	specs, err := pb.NewSpecificationServiceClient(conn).ListSpecifications(ctx, &pb.ListSpecificationsRequest{PageSize: 1000})
	must(t, 0, err)
	batches, err := pb.NewBatchServiceClient(conn).ListBatches(ctx, &pb.ListBatchesRequest{PageSize: 1000, Filter: `state != "FINISHED"`})
	must(t, 0, err)
	for _, c := range []struct {
		what      string
		got, want int
	}{{"materials", len(materials.Materials), 60}, {"lots", len(lots.Lots), 250}, {"suppliers", len(suppliers.Suppliers), 10},
		{"specifications", len(specs.Specifications), 40}, {"batches", len(batches.Batches), 30}} {
		if c.got < c.want {
			t.Errorf("%d %s, want at least %d", c.got, c.what, c.want)
		}
	}
	soon, strengths := 0, map[float64]bool{}
	for _, l := range lots.Lots {
		if day, err := time.Parse(time.DateOnly, l.ExpiryDate); err == nil && l.OnHandKg > 0 && time.Until(day) < 7*24*time.Hour {
			soon++
		}
		if s, ok := l.Certificate["tint_strength_fraction"]; ok {
			strengths[s] = true
		}
	}
	if soon == 0 || len(strengths) < 20 {
		t.Errorf("%d lots near expiry, %d different strengths", soon, len(strengths))
	}
	machines(t, conn)
}

func machines(t *testing.T, conn *grpc.ClientConn) {
	p, err := pb.NewPlantServiceClient(conn).GetPlant(t.Context(), &pb.GetPlantRequest{})
	must(t, 0, err)
	does := map[pb.ProcessStep]int{}
	for _, m := range p.Machines {
		does[m.Steps[0]]++
	}
	for step, want := range map[pb.ProcessStep]int{pb.ProcessStep_PROCESS_STEP_PREMIX: 3, pb.ProcessStep_PROCESS_STEP_BEAD_MILL: 2, pb.ProcessStep_PROCESS_STEP_THREE_ROLL_MILL: 3} {
		if does[step] != want {
			t.Errorf("%d machines for %v, want %d", does[step], step, want)
		}
	}
}

// formulas asks for every specification's cheapest formula and holds the answer
// to its own limits.
func formulas(t *testing.T, conn *grpc.ClientConn) {
	ctx, optimiser := t.Context(), pb.NewOptimiserServiceClient(conn)
	specs, err := pb.NewSpecificationServiceClient(conn).ListSpecifications(ctx, &pb.ListSpecificationsRequest{PageSize: 1000})
	must(t, 0, err)
	without := 0
	for _, spec := range specs.Specifications {
		answer, err := optimiser.Optimise(ctx, &pb.OptimiseRequest{Specification: spec.Name, QuantityKg: 200, Book: &pb.BookCandidates{StockOnly: true}})
		must(t, 0, err)
		if answer.Outcome == pb.OptimiseOutcome_OPTIMISE_OUTCOME_INFEASIBLE {
			without++
			wayOut(t, conn, spec, answer)
			continue
		}
		total := 0.0
		for _, c := range answer.Components {
			total += c.MassKg
		}
		if math.Abs(total-200) > 1e-9 || !answer.Proof.Certified {
			t.Errorf("%s: masses sum to %g kg, certified %v", spec.Name, total, answer.Proof.Certified)
		}
		for _, l := range answer.Limits {
			room := 1e-6 * (1 + math.Abs(l.Value))
			if l.Lower != nil && l.Value < *l.Lower-room || l.Upper != nil && l.Value > *l.Upper+room {
				t.Errorf("%s: limit %s at %g is outside its bounds", spec.Name, l.LimitId, l.Value)
			}
		}
	}
	if without != 1 {
		t.Errorf("%d specifications have no formula, want the one that is impossible as written", without)
	}
}

// wayOut applies what the answer proposes to the specification and asks again.
func wayOut(t *testing.T, conn *grpc.ClientConn, spec *pb.Specification, answer *pb.OptimiseResponse) {
	t.Helper()
	if len(answer.Clash.GetLimitIds()) < 2 || len(answer.Clash.GetAlternatives()) < 2 || !answer.Clash.Proved || answer.Clash.Summary == "" {
		t.Fatalf("%s: a thin answer: %v", spec.Name, answer.Clash)
	}
	for _, way := range append([][]*pb.Clash_Movement{answer.Clash.Movements}, each(answer.Clash.Alternatives)...) {
		request := &pb.OptimiseRequest{Specification: spec.Name, QuantityKg: 200, Book: &pb.BookCandidates{StockOnly: true}}
		for _, l := range spec.Limits {
			for _, m := range way {
				if m.LimitId != l.LimitId {
					continue
				}
				moved := &pb.Limit{LimitId: l.LimitId, Title: l.Title, Subject: l.Subject, Lower: l.Lower, Upper: l.Upper}
				if slack := 1e-6 * math.Abs(m.To); m.To < m.From {
					moved.Lower = new(m.To - slack)
				} else {
					moved.Upper = new(m.To + slack)
				}
				request.Limits = append(request.Limits, moved)
			}
		}
		after, err := pb.NewOptimiserServiceClient(conn).Optimise(t.Context(), request)
		must(t, 0, err)
		if after.Outcome != pb.OptimiseOutcome_OPTIMISE_OUTCOME_OPTIMAL {
			t.Errorf("%s: after %v there is still no formula: %s", spec.Name, way, after.GetClash().GetSummary())
		}
	}
}

func each(ms []*pb.Clash_Movement) (out [][]*pb.Clash_Movement) {
	for _, m := range ms {
		out = append(out, []*pb.Clash_Movement{m})
	}
	return out
}

// onHand adds up what is free and reserved of a lot.
func onHand(t *testing.T, conn *grpc.ClientConn, lot string) float64 {
	t.Helper()
	l, err := pb.NewLotServiceClient(conn).GetLot(t.Context(), &pb.GetLotRequest{Name: lot})
	must(t, 0, err)
	return l.OnHandKg
}

func production(t *testing.T, s *servertest.Server) {
	ctx, floor := t.Context(), pb.NewBatchServiceClient(s.As(app.Floor))
	ticket, err := floor.GetBatchTicket(ctx, &pb.GetBatchTicketRequest{Name: "batches/b-201"})
	must(t, 0, err)
	before := map[string]float64{}
	charge := 0.0
	for _, l := range ticket.Lines {
		charge += l.WeighKg
		before[l.Lot] = onHand(t, s.As(app.Floor), l.Lot)
	}
	if charge < ticket.QuantityKg || charge > 1.05*ticket.QuantityKg || len(ticket.Cautions) == 0 {
		t.Errorf("the ticket weighs %g kg for %g kg of ink, with %d cautions", charge, ticket.QuantityKg, len(ticket.Cautions))
	}
	moment := time.Now()
	done, err := floor.FinishBatch(ctx, &pb.FinishBatchRequest{Name: "batches/b-201", FinishedKg: ticket.QuantityKg, FinishedLotId: "m-b-201",
		Location: "finished-store", RequestId: "6f1c0a5e-7d7b-4f0e-9a54-2f4b8f0f5d11"})
	must(t, 0, err)
	used := map[string]float64{}
	for _, l := range done.Lines {
		used[l.Lot] += l.WeighedKg
	}
	for lot, kg := range before {
		if now := onHand(t, s.As(app.Floor), lot); math.Abs(kg-used[lot]-now) > 1e-9 {
			t.Errorf("%s: %g kg before, %g used, %g now", lot, kg, used[lot], now)
		}
	}
	if made := onHand(t, s.As(app.Quality), "lots/m-b-201"); made != ticket.QuantityKg {
		t.Errorf("the finished lot holds %g kg, want %g", made, ticket.QuantityKg)
	}
	stockThen(t, s, moment, before)
}

// stockThen asks for the stock as it was before the batch was finished.
func stockThen(t *testing.T, s *servertest.Server, moment time.Time, want map[string]float64) {
	t.Helper()
	answer := s.REST(app.Quality, "GET", "/v1/balances?page_size=1000&as_of="+moment.UTC().Format(time.RFC3339Nano), nil)
	rows, _ := answer.Body["balances"].([]any)
	got := map[string]float64{}
	for _, r := range rows {
		row := r.(map[string]any)
		got[row["lot"].(string)] += row["on_hand_kg"].(float64)
	}
	for lot, kg := range want {
		if math.Abs(got[lot]-kg) > 1e-9 {
			t.Errorf("%s: %g kg as of then, want %g (%d rows)", lot, got[lot], kg, len(rows))
		}
	}
}

// purchase orders what coverage suggests, receives and releases it, and asks
// again.
func purchase(t *testing.T, s *servertest.Server) {
	ctx, buyer := t.Context(), pb.NewPurchasingServiceClient(s.As(app.Purchasing))
	board, err := buyer.GetCoverage(ctx, &pb.GetCoverageRequest{Weeks: 6, ShortOnly: true})
	must(t, 0, err)
	var short *pb.CoverageRow
	for _, r := range board.Rows {
		if r.ShortKg > 0 && len(r.Batches) > 0 && len(r.Suggestions) > 0 {
			short = r
		}
	}
	if short == nil {
		t.Fatalf("no batch is short of anything: %v", board.Rows)
	}
	for i, suggestion := range short.Suggestions {
		id := "po-test-" + string(rune('a'+i))
		_, err := buyer.CreatePurchaseOrder(ctx, &pb.CreatePurchaseOrderRequest{PurchaseOrderId: id, PurchaseOrder: &pb.PurchaseOrder{Supplier: suggestion.Supplier,
			Lines: []*pb.PurchaseOrderLine{{Material: short.Material, Offer: suggestion.Offer, QuantityKg: suggestion.QuantityKg,
				PricePerKg: suggestion.PricePerKg, DueDate: suggestion.ArrivalDate}}}})
		must(t, 0, err)
		_, err = buyer.SendPurchaseOrder(ctx, &pb.SendPurchaseOrderRequest{Name: "purchaseOrders/" + id})
		must(t, 0, err)
	}
	after, err := buyer.GetCoverage(ctx, &pb.GetCoverageRequest{Weeks: 6, Material: short.Material})
	must(t, 0, err)
	if len(after.Rows) != 1 || after.Rows[0].ShortKg > 0 {
		t.Errorf("%s was short by %g kg; after ordering what was suggested: %v", short.Material, short.ShortKg, after.Rows)
	}
}

func again(t *testing.T, s *servertest.Server) {
	ctx := t.Context()
	count := func() int {
		l, err := pb.NewLotServiceClient(s.As(app.Quality)).ListLots(ctx, &pb.ListLotsRequest{PageSize: 1000})
		must(t, 0, err)
		return len(l.Lots)
	}
	before := count()
	err := demo.NewLoader(s.As(app.Admin), demo.Today(time.Now()), t.Logf).Load(ctx)
	if err != nil && !strings.Contains(err.Error(), "exist") && !strings.Contains(err.Error(), "content") {
		t.Logf("loading again: %v", err)
	}
	if after := count(); after != before {
		t.Errorf("loading again made %d lots into %d", before, after)
	}
}
