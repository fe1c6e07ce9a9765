package rpc_test

import (
	"math"
	"net/http"
	"testing"

	moneypb "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/protobuf/encoding/protojson"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

// stiff is 100 kg of an ink with a tack of 14 that should have at most 12, and an
// oil of tack 2 to add: (1400 + 2 x)/(100 + x) = 12 gives 20 kg.
const stiff = `{"pot": [{"candidate": "varnish", "mass_kg": 100}], "tests": {"tack": 14}, "capacity_kg": 150,
	"limits": [{"limit_id": "tack", "title": "tack", "upper": 12, "blended": {"property": "tack_units"}}],
	"candidates": [
		{"candidate_id": "varnish", "material_class": "MATERIAL_CLASS_VARNISH", "price_per_kg": {"currency_code": "EUR", "units": 3}, "available_kg": 0, "properties": {"tack_units": 12}},
		{"candidate_id": "oil", "material_class": "MATERIAL_CLASS_OIL", "price_per_kg": {"currency_code": "EUR", "units": 1, "nanos": 500000000}, "properties": {"tack_units": 2}}]}`

func TestCorrectOverREST(t *testing.T) {
	s := servertest.Start(t)
	ask := func(body string) *pb.CorrectBatchResponse {
		t.Helper()
		answer := s.REST(app.InkMaker, http.MethodPost, "/v1/batches:correct", body)
		out := &pb.CorrectBatchResponse{}
		if err := protojson.Unmarshal(answer.Raw, out); err != nil || answer.Status != http.StatusOK {
			t.Fatalf("%d: %v: %s", answer.Status, err, answer.Raw)
		}
		return out
	}
	out := ask(stiff)
	if out.Outcome != pb.CorrectionOutcome_CORRECTION_OUTCOME_CORRECTED || len(out.Additions) != 1 || out.Additions[0].Candidate != "oil" {
		t.Fatalf("%v", out)
	}
	if math.Abs(out.AddedKg-20) > 2e-6 || out.AddedCost.GetUnits() != 30 || out.KeptKg != 100 || !out.Proof.Certified {
		t.Errorf("%v", out)
	}
	if out.Before[0].Value != 14 || out.Before[0].Slack != -2 || math.Abs(out.After[0].Value-12) > 1e-5 {
		t.Errorf("before %v, after %v", out.Before, out.After)
	}

	if denied := s.REST(app.Quality, http.MethodPost, "/v1/batches:correct", stiff); denied.Status != http.StatusForbidden {
		t.Errorf("a formula shown to quality control: %d %s", denied.Status, denied.Raw)
	}

	req := &pb.CorrectBatchRequest{}
	if err := protojson.Unmarshal([]byte(stiff), req); err != nil {
		t.Fatal(err)
	}
	req.CapacityKg = 110
	text, err := protojson.Marshal(req)
	if err != nil {
		t.Fatal(err)
	}
	out = ask(string(text))
	if out.Outcome != pb.CorrectionOutcome_CORRECTION_OUTCOME_IN_PART || !out.CapacityClashes || len(out.Clash.GetLimitIds()) != 1 {
		t.Errorf("%v", out)
	}
	if math.Abs(out.KeptKg-100*110.0/120) > 1e-3 || math.Abs(out.KeptKg+out.TakenOutKg-100) > 1e-9 {
		t.Errorf("kept %g, taken out %g", out.KeptKg, out.TakenOutKg)
	}
}

// A premium makes a dearer candidate of the request come in; the costs stay real.
func TestUseUpOfARequest(t *testing.T) {
	client := pb.NewOptimiserServiceClient(inkMaker(t))
	req := sheetfed()
	plain := must[*pb.OptimiseResponse](t)(client.Optimise(t.Context(), req))
	for _, c := range req.Candidates {
		if c.CandidateId == "blue b" || c.CandidateId == "blue a" {
			c.AvailableKg = to(30)
		}
		if c.CandidateId == "long varnish" {
			c.AvailableKg, c.UsePremiumPerKg = to(20), &moneypb.Money{Units: 5}
		}
	}
	out := must[*pb.OptimiseResponse](t)(client.Optimise(t.Context(), req))
	if len(out.UsedUp) != 1 || out.UsedUp[0].MassKg != 20 || out.UseUpPremium.GetUnits() != 100 || out.UseUpCost == nil {
		t.Fatalf("%v", out.UsedUp)
	}
	if plain.UseUpCost != nil || plain.UsedUp != nil {
		t.Errorf("a report on premiums that nobody asked for: %v", plain.UsedUp)
	}
	for _, c := range out.Components {
		if (c.Candidate == "long varnish") != (c.UsePremium.GetUnits() == 100) {
			t.Errorf("%s earns %v", c.Candidate, c.UsePremium)
		}
	}
}
