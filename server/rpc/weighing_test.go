package rpc_test

import (
	"math"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "millbase/proto/millbase/v1"
)

// scaled is the sheetfed question on two scales.
func scaled() *pb.OptimiseRequest {
	req := sheetfed()
	req.Weighing = &pb.Weighing{Scales: []*pb.Scale{{Title: "floor scale", DivisionKg: 0.5, FromKg: 20}, {Title: "bench scale", DivisionKg: 0.01}}}
	return req
}

func TestWeighableFormula(t *testing.T) {
	client := pb.NewOptimiserServiceClient(inkMaker(t))
	free := must[*pb.OptimiseResponse](t)(client.Optimise(t.Context(), sheetfed()))
	out := must[*pb.OptimiseResponse](t)(client.Optimise(t.Context(), scaled()))
	if out.GetOutcome() != pb.OptimiseOutcome_OPTIMISE_OUTCOME_OPTIMAL || !out.GetWeighed().GetProven() || money(out.GetCostPerKg()) < money(free.GetCostPerKg())-1e-4 {
		t.Fatalf("%v", out)
	}
	kg := 0.0
	for _, c := range out.GetComponents() {
		kg += c.GetMassKg()
		division, scale := 0.01, "bench scale"
		if c.GetMassKg() >= 20 {
			division, scale = 0.5, "floor scale"
		}
		if n := c.GetMassKg() / division; math.Abs(n-math.Round(n)) > 1e-6 || c.GetScale() != scale {
			t.Errorf("%s: %g kg on the %s", c.GetCandidate(), c.GetMassKg(), c.GetScale())
		}
	}
	if over := out.GetWeighed().GetOverKg(); math.Abs(kg-250-over) > 1e-9 || math.Abs(over) > 0.25 {
		t.Errorf("%g kg, said to be %g over", kg, over)
	}
	if free.GetWeighed() != nil {
		t.Errorf("not asked to be weighable: %v", free.GetWeighed())
	}
}

func TestRulesInTheWay(t *testing.T) {
	client := pb.NewOptimiserServiceClient(inkMaker(t))
	req := scaled()
	req.Weighing.MostComponents = 3 // pigment, varnish, drier and wax are four
	out := must[*pb.OptimiseResponse](t)(client.Optimise(t.Context(), req))
	said := strings.Join(out.GetWeighed().GetInTheWay(), " ")
	if out.GetOutcome() != pb.OptimiseOutcome_OPTIMISE_OUTCOME_NOT_WEIGHABLE || !strings.Contains(said, "3 components") || !strings.Contains(said, "instead of 3") {
		t.Fatalf("%v: %s", out.GetOutcome(), said)
	}
	t.Log(out.GetClash().GetSummary(), said)
}

func TestBadWeighing(t *testing.T) {
	client := pb.NewOptimiserServiceClient(inkMaker(t))
	wax, nobody := &pb.Members{Candidates: []string{"wax"}}, &pb.Members{Candidates: []string{"nobody"}}
	for field, spoil := range map[string]func(*pb.Weighing){
		"weighing.scales[1].division_kg":                     func(w *pb.Weighing) { w.Scales[1].DivisionKg = 1e-9 },
		"weighing.tolerance_kg":                              func(w *pb.Weighing) { w.ToleranceKg = 251 },
		"weighing.whole_containers[0].members.candidates[0]": func(w *pb.Weighing) { w.WholeContainers = []*pb.WholeContainer{{Members: nobody, ContentKg: 1}} },
		"weighing.implications[0].needed.candidates[0]":      func(w *pb.Weighing) { w.Implications = []*pb.Implication{{Used: wax, Needed: nobody}} },
		"weighing.exclusions[0].groups[1].candidates[0]":     func(w *pb.Weighing) { w.Exclusions = []*pb.Exclusion{{Groups: []*pb.Members{wax, nobody}}} },
		"weighing.exclusions[0]":                             func(w *pb.Weighing) { w.Exclusions = []*pb.Exclusion{{Groups: []*pb.Members{wax, wax}}} },
		"weighing.choices[1].members": func(w *pb.Weighing) {
			w.Choices = []*pb.Choice{{Members: wax, AtLeast: 1}, {Members: &pb.Members{}, AtMost: 1}}
		},
		"weighing.choices[0]": func(w *pb.Weighing) { w.Choices = []*pb.Choice{{Members: wax}} },
	} {
		req := scaled()
		spoil(req.Weighing)
		_, err := client.Optimise(t.Context(), req)
		if status.Code(err) != codes.InvalidArgument {
			t.Errorf("%s: got %v", field, err)
			continue
		}
		var at []string
		for _, d := range status.Convert(err).Details() {
			if bad, ok := d.(*errdetails.BadRequest); ok {
				for _, v := range bad.GetFieldViolations() {
					at = append(at, v.GetField())
				}
			}
		}
		if len(at) == 0 || at[0] != field {
			t.Errorf("%s: got %v (%v)", field, at, err)
		}
	}
}
