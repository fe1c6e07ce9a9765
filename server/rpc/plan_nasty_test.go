package rpc_test

import (
	"net/http"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	moneypb "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

// Problems that can't be planned are refused by the field that is wrong.
func TestBadPlanProblems(t *testing.T) {
	conn, _ := freshBook(t, app.Purchasing)
	low := 1.0
	for field, spoil := range map[string]func(*pb.MakePlanRequest, *pb.PlanProblem){
		"problem.supplies[0].material": func(_ *pb.MakePlanRequest, p *pb.PlanProblem) { p.Supplies[0].Material = "butter" },
		"problem.materials[1].material_id": func(_ *pb.MakePlanRequest, p *pb.PlanProblem) {
			p.Materials[1].MaterialId = p.Materials[0].MaterialId
		},
		"problem.offers[0].offer_id":      func(_ *pb.MakePlanRequest, p *pb.PlanProblem) { p.Offers[0].OfferId = p.Supplies[0].SupplyId },
		"problem.offers[0].prices_per_kg": func(_ *pb.MakePlanRequest, p *pb.PlanProblem) { p.Offers[0].PricesPerKg = p.Offers[0].PricesPerKg[:2] },
		"problem.offers[0].leftover_per_kg": func(_ *pb.MakePlanRequest, p *pb.PlanProblem) {
			p.Offers[0].LeftoverPerKg = &moneypb.Money{CurrencyCode: "GBP", Units: 90}
		},
		"problem.offers[2].prices_per_kg[1].currency_code": func(_ *pb.MakePlanRequest, p *pb.PlanProblem) {
			p.Offers[2].PricesPerKg[1] = &moneypb.Money{CurrencyCode: "USD", Units: 90}
		},
		"problem.supplies[1].until_period": func(_ *pb.MakePlanRequest, p *pb.PlanProblem) {
			until := int32(1)
			p.Supplies[1].FromPeriod, p.Supplies[1].UntilPeriod = 2, &until
		},
		"problem.batches[0].due_period":            func(_ *pb.MakePlanRequest, p *pb.PlanProblem) { p.Batches[0].DuePeriod = 6 },
		"problem.batches[0].most_kg":               func(_ *pb.MakePlanRequest, p *pb.PlanProblem) { p.Batches[0].QuantityKg = 5000 },
		"problem.batches[0].quantity_kg":           func(_ *pb.MakePlanRequest, p *pb.PlanProblem) { p.Batches[0].MostKg = nil },
		"problem.batches[0].candidates[0]":         func(_ *pb.MakePlanRequest, p *pb.PlanProblem) { p.Batches[0].Candidates = []string{"butter"} },
		"problem.batches[0].limits[0].lower":       func(_ *pb.MakePlanRequest, p *pb.PlanProblem) { p.Batches[0].Limits[0].Upper = &low },
		"problem.batches[0].limits[0]":             func(_ *pb.MakePlanRequest, p *pb.PlanProblem) { p.Batches[0].Limits[0].Subject = nil },
		"problem.uses[1].most_kg":                  func(_ *pb.MakePlanRequest, p *pb.PlanProblem) { p.Uses[1].MostKg = []float64{1, 2} },
		"problem.uses[0].materials[1]":             func(_ *pb.MakePlanRequest, p *pb.PlanProblem) { p.Uses[0].Materials[1] = "butter" },
		"problem.materials[0].storage_cost_per_kg": func(_ *pb.MakePlanRequest, p *pb.PlanProblem) { p.Materials[0].StorageCostPerKg.Units = -1 },
		"problem.supplies[0].quantity_kg":          func(_ *pb.MakePlanRequest, p *pb.PlanProblem) { p.Supplies[0].QuantityKg = 0.1234567 },
		"changes": func(r *pb.MakePlanRequest, _ *pb.PlanProblem) {
			r.Changes = []*pb.PlanChange{{Change: &pb.PlanChange_RejectedLot{RejectedLot: "lots/l-1"}}}
		},
		"plan_id": func(r *pb.MakePlanRequest, _ *pb.PlanProblem) { r.PlanId = "monday" },
	} {
		p := foodManufacture()
		r := &pb.MakePlanRequest{What: &pb.MakePlanRequest_Problem{Problem: p}}
		spoil(r, p)
		_, err := pb.NewPlanServiceClient(conn).MakePlan(t.Context(), r)
		found := false
		for _, d := range status.Convert(err).Details() {
			if bad, ok := d.(*errdetails.BadRequest); ok {
				for _, v := range bad.FieldViolations {
					found = found || strings.HasPrefix(v.Field, field) && len(v.Description) > 10
				}
			}
		}
		if status.Code(err) != codes.InvalidArgument || !found {
			t.Errorf("%s: %v", field, status.Convert(err).Proto())
		}
	}
}

// The same problem over REST; the order desk gets none of it.
func TestFoodManufactureOverREST(t *testing.T) {
	s := servertest.Start(t)
	raw, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(foodManufacture())
	if err != nil {
		t.Fatal(err)
	}
	body := `{"problem": ` + string(raw) + `}`
	r := s.REST(app.Purchasing, http.MethodPost, "/v1/plans:make", body)
	var p pb.Plan
	if err := protojson.Unmarshal(r.Raw, &p); err != nil || r.Status != http.StatusOK || p.Cost.Total.Units != -107842 {
		t.Errorf("%d %v: %.300s", r.Status, err, r.Raw)
	}
	for _, path := range []string{"/v1/plans", "/v1/plans/p-1"} {
		if r := s.REST(app.OrderDesk, http.MethodGet, path, nil); r.Status != http.StatusForbidden || strings.Contains(string(r.Raw), "cost") {
			t.Errorf("the desk reads %s: %d %s", path, r.Status, r.Raw)
		}
	}
	if r := s.REST(app.OrderDesk, http.MethodPost, "/v1/plans:make", body); r.Status != http.StatusForbidden {
		t.Errorf("the desk plans: %d", r.Status)
	}
}
