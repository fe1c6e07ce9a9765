package rpc_test

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	moneypb "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	pb "millbase/proto/millbase/v1"
)

type propertiesOf map[string]float64

// sheetfed is an invented sheetfed cyan with its candidates in the request.
func sheetfed() *pb.OptimiseRequest {
	req := &pb.OptimiseRequest{QuantityKg: 250, CurrencyCode: "EUR", Limits: []*pb.Limit{
		{LimitId: "pigment", Title: "pigment loading", Lower: to(0.18), Upper: to(0.22), Subject: &pb.Limit_PigmentLoading_{PigmentLoading: &pb.Limit_PigmentLoading{ByStrength: true}}},
		{LimitId: "voc", Title: "VOC", Upper: to(300), Subject: &pb.Limit_VocContent_{VocContent: &pb.Limit_VocContent{}}},
		{LimitId: "cobalt", Title: "cobalt on binder", Lower: to(0.03), Upper: to(0.08), Subject: &pb.Limit_MetalOnBinder_{MetalOnBinder: &pb.Limit_MetalOnBinder{Metal: "cobalt"}}},
		{LimitId: "wax", Title: "wax", Lower: to(0.02), Upper: to(0.04), Subject: &pb.Limit_Share_{Share: &pb.Limit_Share{Classes: []pb.MaterialClass{pb.MaterialClass_MATERIAL_CLASS_WAX}}}},
		{LimitId: "tack", Title: "tack", Lower: to(8), Upper: to(12), Subject: &pb.Limit_Blended_{Blended: &pb.Limit_Blended{Property: "tack_units"}}},
		{LimitId: "density", Title: "density", Upper: to(1.2), Subject: &pb.Limit_Blended_{Blended: &pb.Limit_Blended{Property: "density_kg_per_l"}}},
	}}
	add := func(id string, class pb.MaterialClass, cents int64, p propertiesOf) {
		req.Candidates = append(req.Candidates, &pb.InlineCandidate{CandidateId: id, MaterialClass: class, Properties: p,
			PricePerKg: &moneypb.Money{CurrencyCode: "EUR", Units: cents / 100, Nanos: int32(cents % 100 * 1e7)}})
	}
	add("blue a", pb.MaterialClass_MATERIAL_CLASS_PIGMENT, 1420, propertiesOf{"density_kg_per_l": 1.6, "pigment_fraction/PB15:3": 1, "tint_strength_fraction": 0.97, "tack_units": 10})
	add("blue b", pb.MaterialClass_MATERIAL_CLASS_PIGMENT, 1505, propertiesOf{"density_kg_per_l": 1.6, "pigment_fraction/PB15:3": 1, "tint_strength_fraction": 1.06, "tack_units": 10})
	add("varnish", pb.MaterialClass_MATERIAL_CLASS_VARNISH, 333, propertiesOf{"density_kg_per_l": 1.02, "binder_solids_fraction": 0.7, "volatile_fraction": 0.3, "tack_units": 14})
	add("long varnish", pb.MaterialClass_MATERIAL_CLASS_VARNISH, 410, propertiesOf{"density_kg_per_l": 0.98, "binder_solids_fraction": 0.85, "volatile_fraction": 0.15, "tack_units": 9})
	add("oil", pb.MaterialClass_MATERIAL_CLASS_OIL, 199, propertiesOf{"density_kg_per_l": 0.82, "volatile_fraction": 1, "tack_units": 1})
	add("drier", pb.MaterialClass_MATERIAL_CLASS_DRIER, 920, propertiesOf{"density_kg_per_l": 0.95, "metal_fraction/cobalt": 0.1, "volatile_fraction": 0.4, "tack_units": 2})
	add("wax", pb.MaterialClass_MATERIAL_CLASS_WAX, 640, propertiesOf{"density_kg_per_l": 0.96, "wax_solids_fraction": 0.5, "volatile_fraction": 0.5, "tack_units": 3})
	return req
}

// The masses of an answer, put together by plain arithmetic, obey every limit.
func TestAnswersObeyTheirLimits(t *testing.T) {
	client := pb.NewOptimiserServiceClient(inkMaker(t))
	feasible := 0
	rapid.Check(t, func(r *rapid.T) {
		req := sheetfed()
		req.QuantityKg = float64(rapid.IntRange(1000, 5_000_000).Draw(r, "grams")) / 1000
		for _, c := range req.Candidates {
			c.PricePerKg = &moneypb.Money{CurrencyCode: "EUR", Units: rapid.Int64Range(1, 30).Draw(r, "price"), Nanos: int32(rapid.IntRange(0, 999_999).Draw(r, "micro")) * 1000}
			if rapid.IntRange(0, 5).Draw(r, "scarce") == 0 {
				c.AvailableKg = to(math.Trunc(req.QuantityKg*rapid.Float64Range(0, 1).Draw(r, "share")*1000) / 1000)
			}
		}
		req.Limits[1].Upper = to(rapid.Float64Range(150, 400).Draw(r, "voc"))
		req.Limits[0].Lower = to(rapid.Float64Range(0.10, 0.22).Draw(r, "loading"))
		out, err := client.Optimise(context.Background(), req)
		if err != nil {
			r.Fatal(err)
		}
		if out.GetOutcome() == pb.OptimiseOutcome_OPTIMISE_OUTCOME_INFEASIBLE {
			if len(out.GetClash().GetMovements()) == 0 || !strings.HasPrefix(out.GetClash().GetSummary(), "No formula: ") {
				r.Fatalf("no way out: %v", out.GetClash())
			}
			return
		}
		feasible++
		obeys(r, req, out)
	})
	if feasible == 0 {
		t.Error("not one of the problems had an answer")
	}
}

// obeys checks an answer without the solver's help.
func obeys(t *rapid.T, req *pb.OptimiseRequest, out *pb.OptimiseResponse) {
	of := map[string]*pb.InlineCandidate{}
	for _, c := range req.GetCandidates() {
		of[c.GetCandidateId()] = c
	}
	var kg, strong, voc, litres, cobalt, binder, wax, tack float64
	for _, x := range out.GetComponents() {
		c, m := of[x.GetCandidate()], x.GetMassKg()
		p := c.GetProperties()
		if c.AvailableKg != nil && m > c.GetAvailableKg() {
			t.Fatalf("%s: %g kg of %g kg", x.GetCandidate(), m, c.GetAvailableKg())
		}
		kg += m
		strong += m * p["pigment_fraction/PB15:3"] * p["tint_strength_fraction"]
		voc += 1000 * m * p["volatile_fraction"]
		litres += m / p["density_kg_per_l"]
		cobalt += 100 * m * p["metal_fraction/cobalt"]
		binder += m * p["binder_solids_fraction"]
		tack += m * p["tack_units"]
		if c.GetMaterialClass() == pb.MaterialClass_MATERIAL_CLASS_WAX {
			wax += m
		}
	}
	if math.Abs(kg-req.GetQuantityKg()) > 1e-9*kg+1e-9 {
		t.Fatalf("%g kg instead of %g kg", kg, req.GetQuantityKg())
	}
	for i, v := range []float64{strong / kg, voc / litres, cobalt / binder, wax / kg, tack / kg, kg / litres} {
		l := req.GetLimits()[i]
		// An answer may be off by one part in 100,000 of the limit: less than any
		// test or scale can tell.
		slack := 1.001e-5 * max(math.Abs(l.GetLower()), math.Abs(l.GetUpper()))
		if l.Lower != nil && v < l.GetLower()-slack || l.Upper != nil && v > l.GetUpper()+slack {
			t.Fatalf("%s is %g: %v", l.GetLimitId(), v, l)
		}
		if said := out.GetLimits()[i].GetValue(); math.Abs(said-v) > 1e-9*math.Abs(v)+1e-12 {
			t.Fatalf("%s is %g, the answer says %g", l.GetLimitId(), v, said)
		}
	}
}

func TestImpossibleIsAnsweredInPlainWords(t *testing.T) {
	req := sheetfed()
	req.Limits[1].Upper = to(100)
	out, err := pb.NewOptimiserServiceClient(inkMaker(t)).Optimise(t.Context(), req)
	if err != nil {
		t.Fatal(err)
	}
	clash := out.GetClash()
	if out.GetOutcome() != pb.OptimiseOutcome_OPTIMISE_OUTCOME_INFEASIBLE || !clash.GetProved() || len(clash.GetLimitIds()) == 0 || out.GetCostPerKg() != nil {
		t.Fatalf("%v", out)
	}
	t.Log(clash.GetSummary())
	if !strings.Contains(clash.GetSummary(), "VOC of at most 100 g/L") || !strings.Contains(clash.GetSummary(), "aise VOC to ") {
		t.Errorf("summary %q", clash.GetSummary())
	}
	for _, m := range append(clash.GetMovements(), clash.GetAlternatives()...) {
		if m.GetText() == "" || m.GetUnit() == "" || m.GetFrom() == m.GetTo() || (m.GetLimitId() == "") == (m.GetStock() == "") {
			t.Errorf("movement %v", m)
		}
	}
}

func TestOptimiseRefusals(t *testing.T) {
	client := pb.NewOptimiserServiceClient(inkMaker(t))
	for name, c := range map[string]struct {
		says   string
		change func(*pb.OptimiseRequest)
	}{
		"NaN quantity":      {"quantity_kg", func(r *pb.OptimiseRequest) { r.QuantityKg = math.NaN() }},
		"infinite quantity": {"quantity_kg", func(r *pb.OptimiseRequest) { r.QuantityKg = math.Inf(1) }},
		"huge quantity":     {"quantity_kg", func(r *pb.OptimiseRequest) { r.QuantityKg = 1e300 }},
		"negative":          {"quantity_kg", func(r *pb.OptimiseRequest) { r.QuantityKg = -5 }},
		"7th decimal":       {"quantity_kg", func(r *pb.OptimiseRequest) { r.QuantityKg = 1.0000001 }},
		"NaN bound":         {"limits[0].lower", func(r *pb.OptimiseRequest) { r.Limits[0].Lower = to(math.NaN()) }},
		"huge bound":        {"limits[1].upper", func(r *pb.OptimiseRequest) { r.Limits[1].Upper = to(1e300) }},
		"bounds crossed":    {"limits[0].lower", func(r *pb.OptimiseRequest) { r.Limits[0].Lower = to(0.5) }},
		"no subject":        {"limits[2]", func(r *pb.OptimiseRequest) { r.Limits[2].Subject = nil }},
		"same limit":        {"limits[1].limit_id", func(r *pb.OptimiseRequest) { r.Limits[1].LimitId = "pigment" }},
		"unknown property":  {"limits[4].blended.property", func(r *pb.OptimiseRequest) { r.Limits[4].GetBlended().Property = "gloss_units" }},
		"no price":          {"candidates[0].price_per_kg", func(r *pb.OptimiseRequest) { r.Candidates[0].PricePerKg = nil }},
		"price nanos":       {"candidates[0].price_per_kg", func(r *pb.OptimiseRequest) { r.Candidates[0].PricePerKg.Nanos = -1 }},
		"huge price":        {"candidates[0].price_per_kg", func(r *pb.OptimiseRequest) { r.Candidates[0].PricePerKg.Units = math.MaxInt64 }},
		"NaN property":      {"candidates[2].properties", func(r *pb.OptimiseRequest) { r.Candidates[2].Properties["tack_units"] = math.NaN() }},
		"huge property":     {"candidates[2].properties", func(r *pb.OptimiseRequest) { r.Candidates[2].Properties["tack_units"] = 1e300 }},
		"available":         {"candidates[1].available_kg", func(r *pb.OptimiseRequest) { r.Candidates[1].AvailableKg = to(0.00000001) }},
		"same candidate":    {"candidates[1].candidate_id", func(r *pb.OptimiseRequest) { r.Candidates[1].CandidateId = "blue a" }},
		"date":              {"date", func(r *pb.OptimiseRequest) { r.Date = "2026-02-31" }},
		"water":             {"water_density_kg_per_l", func(r *pb.OptimiseRequest) { r.WaterDensityKgPerL = 0.5 }},
		"no such material":  {"book.materials[0]", func(r *pb.OptimiseRequest) { r.Book = &pb.BookCandidates{Materials: []string{"materials/nothing"}} }},
	} {
		req := proto.Clone(sheetfed()).(*pb.OptimiseRequest)
		c.change(req)
		_, err := client.Optimise(t.Context(), req)
		if status.Code(err) != codes.InvalidArgument || !strings.Contains(fmt.Sprint(status.Convert(err).Message(), status.Convert(err).Details()), c.says) {
			t.Errorf("%s: got %v, want INVALID_ARGUMENT about %s", name, err, c.says)
		}
	}
	req := sheetfed()
	req.Specification = "specifications/nothing"
	if _, err := client.Optimise(t.Context(), req); status.Code(err) != codes.NotFound {
		t.Errorf("no such specification: %v", err)
	}
}

func TestAnEmptyBookIsAnAnswer(t *testing.T) {
	req := sheetfed()
	req.Candidates = nil
	out, err := pb.NewOptimiserServiceClient(inkMaker(t)).Optimise(t.Context(), req)
	if err != nil || out.GetOutcome() != pb.OptimiseOutcome_OPTIMISE_OUTCOME_INFEASIBLE || !strings.Contains(out.GetClash().GetSummary(), "nothing to make it from") {
		t.Errorf("%v %v", out, err)
	}
}

func TestOptimiseOutOfTime(t *testing.T) {
	ctx, cancel := context.WithTimeout(t.Context(), time.Microsecond)
	defer cancel()
	if _, err := pb.NewOptimiserServiceClient(inkMaker(t)).Optimise(ctx, sheetfed()); status.Code(err) != codes.DeadlineExceeded {
		t.Errorf("got %v", err)
	}
}
