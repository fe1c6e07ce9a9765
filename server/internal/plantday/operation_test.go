package plantday

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"google.golang.org/grpc/codes"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/jobs"
	"millbase/server/servertest"
)

// TestLongWorkFromTheCommandLine: the repriced book and the joint plan in the
// background, waited for, say what the calls say; each is its starter's role's.
func TestLongWorkFromTheCommandLine(t *testing.T) {
	s := plantWith(t, servertest.Options{Jobs: &jobs.Config{}})
	p := build(t, s)
	good := func(role app.Role, args string) string {
		t.Helper()
		code, out, errs := p.run(t, role, strings.Fields(args)...)
		if code != 0 {
			t.Fatalf("millbase %s leaves with %d: %s", args, code, errs)
		}
		for _, line := range strings.Split(out, "\n") {
			if utf8.RuneCountInString(line) > 110 {
				t.Errorf("millbase %s prints a line of %d: %q", args, utf8.RuneCountInString(line), line)
			}
		}
		return out
	}
	start := func(role app.Role, args string) (operation string) {
		t.Helper()
		out := good(role, args+" --background")
		first, _, _ := strings.Cut(out, "\n")
		operation, ok := strings.CutPrefix(first, "Started: ")
		if !ok || !strings.Contains(out, "millbase operations wait "+operation) {
			t.Fatalf("millbase %s: %s", args, out)
		}
		return operation
	}
	t.Run("cancel", func(t *testing.T) { cancelledPlan(t, s) })
	book := start(app.InkMaker, "reprice --price medium-alkyd=+20%")
	plan := start(app.Purchasing, "plan make --weeks 4 --seconds 5")

	waited := good(app.InkMaker, "operations wait "+book)
	direct := good(app.InkMaker, "reprice --price medium-alkyd=+20%")
	table := direct[strings.Index(direct, "\nformula"):]
	if !strings.Contains(waited, table[:strings.Index(table, "\n\n")]) || !strings.Contains(waited, "cost before") {
		t.Errorf("the book in the background:\n%s\nand in the call:\n%s", waited, direct)
	}
	if out := good(app.Purchasing, "operations wait "+plan); !strings.Contains(out, "Plan ") || !strings.Contains(out, "batches over") {
		t.Errorf("the plan in the background:\n%s", out)
	}
	if out := good(app.Purchasing, "operations"); !strings.Contains(out, plan) || !strings.Contains(out, "make_plan") || strings.Contains(out, book) {
		t.Errorf("what purchasing sees:\n%s", out)
	}
	if code, out, errs := p.run(t, app.Purchasing, "operations", "show", book); code == 0 || out != "" || !strings.Contains(errs, "your role may see") {
		t.Errorf("purchasing reads the ink maker's: %d %s %s", code, out, errs)
	}
	if code, out, _ := p.run(t, app.OrderDesk, "operations"); code == 0 || out != "" {
		t.Errorf("the order desk: %d %s", code, out)
	}
	if out := good(app.InkMaker, "operations cancel "+book); !strings.Contains(out, "formulas on") {
		t.Errorf("cancelled after its end it stays as it is:\n%s", out)
	}
	good(app.InkMaker, "operations delete "+book)
	if out := good(app.InkMaker, "operations"); strings.Contains(out, book) {
		t.Errorf("still there:\n%s", out)
	}
}

// cancelledPlan: a plan that would search for a minute ends soon after it is told to.
func cancelledPlan(t *testing.T, s *servertest.Server) {
	conn := s.As(app.Purchasing)
	o, err := pb.NewPlanServiceClient(conn).StartPlan(t.Context(), &pb.StartPlanRequest{Plan: &pb.MakePlanRequest{
		GapPercent: 1e-9, TimeLimitSeconds: 60, What: &pb.MakePlanRequest_Book{Book: &pb.PlanBook{Weeks: 12}}}})
	must(t, o, err)
	ops, m := pb.NewOperationServiceClient(conn), &pb.OperationMetadata{}
	for m.GetProgressFraction() < 0.1 && m.GetEndTime() == nil {
		time.Sleep(20 * time.Millisecond)
		now, err := ops.GetOperation(t.Context(), &pb.GetOperationRequest{Name: o.GetName()})
		if err = must(t, now, err).GetMetadata().UnmarshalTo(m); err != nil {
			t.Fatal(err)
		}
	}
	time.Sleep(2 * time.Second) // into the search
	begin := time.Now()
	_, err = ops.CancelOperation(t.Context(), &pb.CancelOperationRequest{Name: o.GetName()})
	must(t, 0, err)
	done, err := ops.WaitOperation(t.Context(), &pb.WaitOperationRequest{Name: o.GetName()})
	if took := time.Since(begin); took > 5*time.Second {
		t.Errorf("it took %s to end", took)
	} else {
		t.Logf("ended %s after it was told to", took)
	}
	if code := codes.Code(must(t, done, err).GetError().GetCode()); code != codes.Canceled {
		t.Errorf("%s: %v", code, done)
	}
}
