package rpc_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "millbase/proto/millbase/v1"
)

// uncertain is sheetfed with the deviations that tests leave.
func uncertain() *pb.OptimiseRequest {
	req := sheetfed()
	for _, c := range req.Candidates {
		c.Deviations = map[string]float64{}
		for key, part := range map[string]float64{"tint_strength_fraction": 0.015, "volatile_fraction": 0.02, "tack_units": 0.03} {
			if v := c.Properties[key]; v > 0 {
				c.Deviations[key] = part * v
			}
		}
	}
	return req
}

func aimAt(property string, lower, upper *float64) *pb.Aim {
	return &pb.Aim{Target: &pb.Limit{LimitId: "aim", Title: "aim", Lower: lower, Upper: upper,
		Subject: &pb.Limit_Blended_{Blended: &pb.Limit_Blended{Property: property}}}, Rank: 1}
}

func optimum(t *testing.T, client pb.OptimiserServiceClient, req *pb.OptimiseRequest) *pb.OptimiseResponse {
	t.Helper()
	out, err := client.Optimise(t.Context(), req)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Safety over the API: it costs something, holds as asked, and is priced.
func TestSafeLimits(t *testing.T) {
	client := pb.NewOptimiserServiceClient(inkMaker(t))
	req := uncertain()
	cheap := optimum(t, client, req)
	if len(cheap.Safety) != 0 || cheap.SafetyPricePerKg != nil {
		t.Errorf("safety that nobody asked for: %v", cheap.Safety)
	}
	req.Limits[0].Safety = &pb.Limit_Safety{Confidence: 0.9}
	req.Limits[4].Safety = &pb.Limit_Safety{Budget: 2, Spread: 1}
	safe := optimum(t, client, req)
	if len(safe.Safety) != 2 {
		t.Fatalf("%v", safe)
	}
	pigment, tack := safe.Safety[0], safe.Safety[1]
	if pigment.LimitId != "pigment" || pigment.Confidence < 0.9-1e-6 || pigment.Deviation <= 0 || pigment.Margin <= pigment.Deviation || pigment.Asked.GetConfidence() != 0.9 {
		t.Errorf("%v", pigment)
	}
	if tack.LimitId != "tack" || tack.Asked.GetBudget() != 2 || tack.Highest != nil {
		t.Errorf("%v", tack)
	}
	price := float64(safe.SafetyPricePerKg.GetUnits()) + float64(safe.SafetyPricePerKg.GetNanos())/1e9
	dearer := total(safe) - total(cheap)
	if price <= 0 || math.Abs(dearer/req.QuantityKg-price) > 2e-4 {
		t.Errorf("safety costs %g per kg, the formula %g more", price, dearer/req.QuantityKg)
	}
	if said := strings.Join(safe.Assumptions, " "); !strings.Contains(said, "independently") {
		t.Errorf("assumptions %q", said)
	}

	req.Limits[0].Safety.Confidence = 0.999
	req.Limits[0].Lower, req.Limits[0].Upper = to(0.195), to(0.2)
	none := optimum(t, client, req)
	if none.Outcome != pb.OptimiseOutcome_OPTIMISE_OUTCOME_INFEASIBLE || none.PossibleConfidence <= 0.5 || none.PossibleConfidence >= 0.999 || none.Safety[0].Highest == nil {
		t.Fatalf("%v", none)
	}
	if s := none.Clash.Summary; !strings.Contains(s, "safety asked for") {
		t.Errorf("summary %q", s)
	}
	req.Limits[0].Safety.Confidence, req.Limits[4].Safety = none.PossibleConfidence, nil
	if again := optimum(t, client, req); again.Outcome != pb.OptimiseOutcome_OPTIMISE_OUTCOME_OPTIMAL {
		t.Errorf("%g is not possible: %v", none.PossibleConfidence, again.Clash)
	}
}

func total(r *pb.OptimiseResponse) float64 {
	return float64(r.TotalCost.GetUnits()) + float64(r.TotalCost.GetNanos())/1e9
}

// Aims over the API: nearer than without, at a cost that is said.
func TestAims(t *testing.T) {
	client := pb.NewOptimiserServiceClient(inkMaker(t))
	req := sheetfed()
	cheap := optimum(t, client, req)
	req.Aims = []*pb.Aim{aimAt("tack_units", nil, to(8.5))}
	near := optimum(t, client, req)
	if len(near.Aims) != 1 || len(near.PayOff) != 2 || near.PayOff[0].LimitId != "" || near.PayOff[1].LimitId != "aim" {
		t.Fatalf("%v", near)
	}
	a := near.Aims[0]
	if a.Unit != "tack units" || a.Value > near.PayOff[0].Values[0]+1e-6 || total(near) < total(cheap)-0.01 {
		t.Errorf("%v, cheapest %v", a, near.PayOff[0])
	}
	if math.Abs(near.PayOff[0].Values[0]-cheap.Limits[4].Value) > 1e-4 {
		t.Errorf("the cheapest has tack %g, by the table %g", cheap.Limits[4].Value, near.PayOff[0].Values[0])
	}
	req.Aims[0].Rank, req.Aims[0].WeightAbove = 0, 1e-9
	if slack := optimum(t, client, req); math.Abs(total(slack)-total(cheap)) > 0.02 {
		t.Errorf("an aim worth nothing costs %g", total(slack)-total(cheap))
	}
}

func TestAimAndSafetyRefusals(t *testing.T) {
	client := pb.NewOptimiserServiceClient(inkMaker(t))
	for field, change := range map[string]func(*pb.OptimiseRequest){
		"limits[0].safety.confidence": func(r *pb.OptimiseRequest) { r.Limits[0].Safety.Confidence = 0.4 },
		"limits[0].safety.budget":     func(r *pb.OptimiseRequest) { r.Limits[0].Safety.Budget = 2 },
		"limits[0].safety.spread":     func(r *pb.OptimiseRequest) { r.Limits[0].Safety.Spread = 2 },
		"candidates[0].deviations":    func(r *pb.OptimiseRequest) { r.Candidates[0].Deviations = map[string]float64{"gloss_units": 1} },
		"aims[0].target":              func(r *pb.OptimiseRequest) { r.Aims[0].Target = nil },
		"aims[0].target.lower":        func(r *pb.OptimiseRequest) { r.Aims[0].Target.Lower, r.Aims[0].Target.Upper = nil, nil },
		"aims[0].target.blended":      func(r *pb.OptimiseRequest) { r.Aims[0].Target.GetBlended().Property = "gloss_units" },
		"aims[0].weight_below":        func(r *pb.OptimiseRequest) { r.Aims[0].Rank = 0 },
		"aims[0].target.safety":       func(r *pb.OptimiseRequest) { r.Aims[0].Target.Safety = &pb.Limit_Safety{Confidence: 0.9} },
		"aims[1].target.limit_id":     func(r *pb.OptimiseRequest) { r.Aims = append(r.Aims, r.Aims[0]) },
		"aims[0].rank":                func(r *pb.OptimiseRequest) { r.Aims[0].Rank = 21 },
		"cost_rank":                   func(r *pb.OptimiseRequest) { r.CostRank = -1 },
		"aim_tolerance_percent":       func(r *pb.OptimiseRequest) { r.AimTolerancePercent = 101 },
		"cost_tolerance_percent":      func(r *pb.OptimiseRequest) { r.CostTolerancePercent = math.NaN() },
	} {
		req := uncertain()
		req.Limits[0].Safety = &pb.Limit_Safety{Confidence: 0.9}
		req.Aims = []*pb.Aim{aimAt("tack_units", to(11), nil)}
		change(req)
		_, err := client.Optimise(t.Context(), req)
		if status.Code(err) != codes.InvalidArgument || !strings.Contains(fmt.Sprint(status.Convert(err).Message(), status.Convert(err).Details()), field) {
			t.Errorf("%s: got %v", field, err)
		}
	}
}

// A deviation is plausible, or refused when the material is entered.
func TestDeviationBelowNothing(t *testing.T) {
	conn := inkMaker(t)
	client := pb.NewMaterialServiceClient(conn)
	_, err := client.CreateMaterial(t.Context(), &pb.CreateMaterialRequest{MaterialId: "deviating", Material: &pb.Material{Title: "Varnish",
		MaterialClass: pb.MaterialClass_MATERIAL_CLASS_VARNISH, Properties: map[string]float64{"tack_units": 12}, Deviations: map[string]float64{"tack_units": -1}}})
	if status.Code(err) != codes.InvalidArgument {
		t.Errorf("a deviation below 0: %v", err)
	}
}
