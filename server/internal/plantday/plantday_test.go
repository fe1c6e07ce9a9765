package plantday

import (
	"math"
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
func plant(t testing.TB) *servertest.Server { return plantWith(t, servertest.Options{}) }

func plantWith(t testing.TB, o servertest.Options) *servertest.Server {
	t.Helper()
	s := servertest.StartWith(t, o)
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
		{"specifications", len(specs.Specifications), 41}, {"batches", len(batches.Batches), 30}} {
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
		holds(t, conn, spec, answer)
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
