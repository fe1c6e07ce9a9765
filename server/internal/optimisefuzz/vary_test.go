package optimisefuzz

import (
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

// What the fuzzer starts from reaches formulas, clashes and refusals alike, and
// the judge refutes a formula that is spoiled on its way out.
func TestRequestsVary(t *testing.T) {
	client := pb.NewOptimiserServiceClient(servertest.Start(t).As(app.InkMaker))
	outcomes, refusals, refutations := map[pb.OptimiseOutcome]int{}, 0, 0
	for seed := range uint64(400) {
		req := (&dice{own: seed * 977}).request()
		out, err := client.Optimise(t.Context(), req)
		if status.Code(err) == codes.InvalidArgument {
			refusals++
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		judge(t, req, out)
		outcomes[out.GetOutcome()]++
		if len(out.GetComponents()) > 0 {
			out.Components[0].MassKg *= 1.5
			if refuted(req, out) != "" {
				refutations++
			}
		}
	}
	t.Logf("%v, %d refused, %d refuted", outcomes, refusals, refutations)
	formulas := outcomes[pb.OptimiseOutcome_OPTIMISE_OUTCOME_OPTIMAL] + outcomes[pb.OptimiseOutcome_OPTIMISE_OUTCOME_NOT_PROVEN]
	if formulas < 50 || outcomes[pb.OptimiseOutcome_OPTIMISE_OUTCOME_INFEASIBLE] < 20 || refusals < 10 || refutations != formulas {
		t.Errorf("the requests do not vary, or a spoiled formula passes: %v, %d refused, %d of %d refuted", outcomes, refusals, refutations, formulas)
	}
}
