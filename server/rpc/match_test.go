package rpc_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"os"
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	moneypb "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
	"millbase/solver/colour"
	"millbase/solver/match/matchtest"
)

// paints are the measured absorption and scattering of artists' paints, 380 to 730
// nm: R. S. Berns, Artist Paint Spectral Database, 2016. Two are left out whose K
// and S are mostly noise where they reflect nothing.
func paints(t *testing.T) (names []string, of map[string]colour.Optics) {
	t.Helper()
	file, err := os.Open("../../solver/match/testdata/artist_paint_ks_19.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	of = map[string]colour.Optics{}
	for _, row := range rows[1:] {
		values := make([]float64, 36)
		for i := range values {
			values[i] = parse(t, row[3+i])
		}
		x := of[row[0]]
		if row[2] == "K" {
			x.K = values
			if row[0] != "PyrroleOrange" && row[0] != "DioxazinePurple" {
				names = append(names, row[0])
			}
		} else {
			x.S = values
		}
		of[row[0]] = x
	}
	return names, of
}

func price(units int64) *moneypb.Money { return &moneypb.Money{CurrencyCode: "EUR", Units: units} }

func curveOf(c colour.Curve) *pb.Curve {
	return &pb.Curve{FirstNm: int32(c.First), StepNm: int32(c.Step), Values: c.Values}
}

// Mixtures of five measured paints, by their curves alone, come back as the
// recipes that they were made by.
func TestMeasuredPaintsThroughTheAPI(t *testing.T) {
	client := pb.NewShadeServiceClient(inkMaker(t))
	names, of := paints(t)
	r := rand.New(rand.NewPCG(4, 4))
	surface := colour.Surface{K1: 0.03, K2: 0.6}
	for range 25 {
		r.Shuffle(len(names), func(i, j int) { names[i], names[j] = names[j], names[i] })
		req := &pb.MatchShadeRequest{QuantityKg: 100, Viewing: &pb.Viewing{Illuminant: pb.Illuminant_ILLUMINANT_D65, Observer: pb.Observer_OBSERVER_TEN_DEGREE},
			Offers: []pb.ShadeOfferKind{pb.ShadeOfferKind_SHADE_OFFER_KIND_CLOSEST},
			Print:  &pb.ShadePrint{Mode: pb.PrintMode_PRINT_MODE_OPAQUE, Surface: &pb.Surface{K1: surface.K1, K2: surface.K2}}}
		recipe, sum := map[string]float64{}, 0.0
		for _, name := range names[:5] {
			recipe[name] = 0.05 + r.Float64()
			sum += recipe[name]
		}
		var optics []colour.Optics
		var parts []float64
		for i, name := range names[:5] {
			recipe[name] /= sum
			optics, parts = append(optics, of[name]), append(parts, recipe[name])
			req.Candidates = append(req.Candidates, &pb.InlineCandidate{CandidateId: name, PricePerKg: price(int64(3 + i))})
			req.Print.Colourants = append(req.Print.Colourants, &pb.InlineColourant{Candidate: name, K: of[name].K, S: of[name].S})
		}
		target := colour.Opaque(colour.Curve{First: 380, Step: 10, Values: make([]float64, 36)}, optics, parts, surface)
		req.Target = &pb.ShadeTarget{Curve: curveOf(target)}
		out := must[*pb.MatchShadeResponse](t)(client.MatchShade(t.Context(), req))
		if out.Outcome != pb.ShadeOutcome_SHADE_OUTCOME_MATCHED || len(out.Offers) != 1 {
			t.Fatalf("%v: %s", recipe, out.Summary)
		}
		o := out.Offers[0]
		if o.Lights[0].GetDe00() >= 0.05 || !o.Proof.Certified {
			t.Errorf("%v: %g away, %v", recipe, o.Lights[0].GetDe00(), o.Proof)
		}
		if len(o.Components) != 5 {
			t.Errorf("%d components", len(o.Components))
		}
		for _, c := range o.Components {
			if off := math.Abs(c.MassKg/100 - recipe[c.Candidate]); off >= 0.001 {
				t.Errorf("%s: off by %.3f percentage points", c.Candidate, 100*off)
			}
		}
	}
}

// spot is a match of the twelve invented bases on paper, with limits.
func spot(target colour.Curve, of ...int) *pb.MatchShadeRequest {
	if len(of) == 0 {
		of = []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}
	}
	p := matchtest.Problem(matchtest.Pick(of...), matchtest.Paper(), target)
	req := &pb.MatchShadeRequest{QuantityKg: 120, Target: &pb.ShadeTarget{Curve: curveOf(target)}, Print: &pb.ShadePrint{Bare: curveOf(p.Substrate)},
		Limits: []*pb.Limit{{LimitId: "tack", Title: "tack", Lower: to(7), Upper: to(11), Subject: &pb.Limit_Blended_{Blended: &pb.Limit_Blended{Property: "tack_units"}}}}}
	for j := range p.Blend.Candidates {
		c := &p.Blend.Candidates[j]
		cents := int64(math.Round(100 * c.CostPerKg))
		req.Candidates = append(req.Candidates, &pb.InlineCandidate{CandidateId: c.ID, MaterialClass: pb.MaterialClass_MATERIAL_CLASS_BASE_INK, Properties: c.Properties,
			PricePerKg: &moneypb.Money{CurrencyCode: "EUR", Units: cents / 100, Nanos: int32(cents % 100 * 1e7)}})
		req.Print.Colourants = append(req.Print.Colourants, &pb.InlineColourant{Candidate: c.ID, K: p.Colourants[j].K})
	}
	return req
}

// mixed is the print of some of the bases at these shares.
func mixed(shares map[int]float64) colour.Curve {
	var units [][]float64
	var used []float64
	for i, s := range shares {
		units, used = append(units, matchtest.Bases[i].K), append(used, s)
	}
	return colour.Film(matchtest.Paper(), units, used, colour.Surface{})
}

func TestOffersOfASpotColour(t *testing.T) {
	client := pb.NewShadeServiceClient(inkMaker(t))
	target := mixed(map[int]float64{0: 0.3, 3: 0.12, 9: 0.02})
	req := spot(target)
	req.FrontierPoints = 5
	out := must[*pb.MatchShadeResponse](t)(client.MatchShade(t.Context(), req))
	if out.Outcome != pb.ShadeOutcome_SHADE_OUTCOME_MATCHED || len(out.Offers) != 4 || len(out.Frontier) != 5 || out.ToleranceDe00 != 1 {
		t.Fatalf("%s: %d offers, %d points", out.Summary, len(out.Offers), len(out.Frontier))
	}
	t.Log(out.Summary)
	index := map[string]int{}
	for i := range matchtest.Bases {
		index[matchtest.Bases[i].Name] = i
	}
	seen := colour.Viewing{}
	for i, o := range out.Offers {
		if o.Kind != pb.ShadeOfferKind(i+1) {
			t.Errorf("offer %d is the %s", i, o.Kind)
		}
		var kg, cost float64
		var units [][]float64
		var used []float64
		for _, c := range o.Components {
			kg, cost = kg+c.MassKg, cost+c.MassKg*money(c.PricePerKg)
			if k := matchtest.Bases[index[c.Candidate]].K; k != nil {
				units, used = append(units, k), append(used, c.MassKg/120)
			}
		}
		near(t, "mass", kg, 120, 1e-9)
		near(t, "cost", money(o.TotalCost), cost, 0.00501)
		// The colour again from the masses.
		curve := colour.Film(matchtest.Paper(), units, used, colour.Surface{})
		near(t, "difference", o.Lights[0].GetDe00(), colour.Difference2000(target.Seen(seen), curve.Seen(seen)), 1e-9)
		near(t, "curve", o.Curve.Values[20], curve.Values[20], 1e-12)
		if o.Lights[0].GetDe00() > 1.0002 || len(used) != int(o.Bases) || !o.Proof.Certified {
			t.Errorf("%s: %g away with %d of %d bases", o.Kind, o.Lights[0].GetDe00(), len(used), o.Bases)
		}
		if o.Limits[0].Value < 7-1e-6 || o.Limits[0].Value > 11+1e-6 {
			t.Errorf("%s: tack %g", o.Kind, o.Limits[0].Value)
		}
		if len(o.Lights[0].TargetSwatch) != 7 || o.Lights[1].Viewing.Illuminant != pb.Illuminant_ILLUMINANT_A || o.Metamerism == nil {
			t.Errorf("%s: %v", o.Kind, o.Lights)
		}
	}
	cheapest, closest, fewest, steady := out.Offers[0], out.Offers[1], out.Offers[2], out.Offers[3]
	switch {
	case money(cheapest.TotalCost) > money(closest.TotalCost)+0.01 || money(cheapest.TotalCost) > money(fewest.TotalCost)+0.01:
		t.Errorf("the cheapest costs %v, the closest %v, the fewest %v", cheapest.TotalCost, closest.TotalCost, fewest.TotalCost)
	case closest.Lights[0].GetDe00() > 0.01:
		t.Errorf("the closest to a mixture of the bases is %g away", closest.Lights[0].GetDe00())
	case fewest.Bases > 3:
		t.Errorf("%d bases where 3 do", fewest.Bases)
	case steady.Lights[1].GetDe00() > closest.Lights[1].GetDe00()+0.01:
		t.Errorf("%g under the second light, the closest %g", steady.Lights[1].GetDe00(), closest.Lights[1].GetDe00())
	}
	for i := 1; i < len(out.Frontier); i++ {
		if a, b := out.Frontier[i-1], out.Frontier[i]; money(b.CostPerKg) > money(a.CostPerKg)+1e-4 || b.ToleranceDe00 <= a.ToleranceDe00 {
			t.Errorf("the frontier goes from %v to %v", a, b)
		}
	}
}

func TestShadesThatCanNotBeHad(t *testing.T) {
	client := pb.NewShadeServiceClient(inkMaker(t))
	ask := func(req *pb.MatchShadeRequest, want pb.ShadeOutcome) *pb.MatchShadeResponse {
		t.Helper()
		out := must[*pb.MatchShadeResponse](t)(client.MatchShade(t.Context(), req))
		t.Log(out.Summary)
		if out.Outcome != want {
			t.Fatalf("%s: %s", out.Outcome, out.Summary)
		}
		return out
	}
	green := mixed(map[int]float64{0: 0.3, 8: 0.3})
	// No green of yellow, red and violet.
	out := ask(spot(green, 0, 3, 6, 9, 11), pb.ShadeOutcome_SHADE_OUTCOME_OUT_OF_REACH)
	if r := out.Reach; r.NearestDe00 < 5 || !strings.Contains(out.Summary, "Out of reach of these bases: the nearest is") || len(out.Offers) != 1 || r.Why == "" {
		t.Errorf("%v", out.Reach)
	}
	// The bases would do, with more stock of one.
	req := spot(green)
	for _, c := range req.Candidates {
		if strings.HasPrefix(c.CandidateId, "green") {
			c.AvailableKg = to(6)
		}
		if strings.HasPrefix(c.CandidateId, "blue") {
			c.AvailableKg = to(0)
		}
	}
	out = ask(req, pb.ShadeOutcome_SHADE_OUTCOME_OUT_OF_REACH)
	if len(out.Reach.Stocks) == 0 || out.Reach.WithoutLimitsDe00 > 1 || !strings.Contains(out.Summary, "too little of green") {
		t.Errorf("%v", out.Reach)
	}
	// They would, but for a limit.
	req = spot(green)
	req.Limits = append(req.Limits, &pb.Limit{LimitId: "pigment", Title: "pigment", Upper: to(0.04), Subject: &pb.Limit_PigmentLoading_{PigmentLoading: &pb.Limit_PigmentLoading{}}})
	out = ask(req, pb.ShadeOutcome_SHADE_OUTCOME_OUT_OF_REACH)
	if !slices.Contains(out.Reach.LimitIds, "pigment") || !strings.Contains(out.Summary, "pigment of at most 0.04") {
		t.Errorf("%v", out.Reach)
	}
	// The limits clash whatever the shade.
	req = spot(green)
	req.Limits[0].Lower, req.Limits[0].Upper = to(20), to(21)
	out = ask(req, pb.ShadeOutcome_SHADE_OUTCOME_CLASH)
	if out.Clash == nil || !slices.Equal(out.Clash.LimitIds, []string{"tack"}) || len(out.Offers) != 0 {
		t.Errorf("%v", out.Clash)
	}
}

// A base of twice the strength goes in at half the share.
func TestStrengthOfABaseScalesItsShare(t *testing.T) {
	client := pb.NewShadeServiceClient(inkMaker(t))
	req := spot(mixed(map[int]float64{7: 0.3}), 7, 11)
	req.Offers = []pb.ShadeOfferKind{pb.ShadeOfferKind_SHADE_OFFER_KIND_CLOSEST}
	blue := func() float64 {
		t.Helper()
		out := must[*pb.MatchShadeResponse](t)(client.MatchShade(t.Context(), req))
		for _, c := range out.Offers[0].Components {
			if strings.HasPrefix(c.Candidate, "blue") {
				return c.MassKg
			}
		}
		t.Fatal("no blue")
		return 0
	}
	near(t, "blue at nominal strength", blue(), 36, 0.001)
	req.Candidates[0].Properties["tint_strength_fraction"] = 1.25
	near(t, "blue of 1.25 times the strength", blue(), 36/1.25, 0.001)
}

// Lights, observer, surface and the number of bases of the request count.
func TestTermsOfAMatch(t *testing.T) {
	client := pb.NewShadeServiceClient(inkMaker(t))
	target := mixed(map[int]float64{1: 0.2, 4: 0.1, 7: 0.05, 9: 0.02})
	req := spot(target)
	req.MaxBases, req.ToleranceDe00 = 2, 30
	req.Viewing = &pb.Viewing{Illuminant: pb.Illuminant_ILLUMINANT_D65, Observer: pb.Observer_OBSERVER_TEN_DEGREE}
	req.SecondViewing = &pb.Viewing{Illuminant: pb.Illuminant_ILLUMINANT_D50}
	req.Print.Surface = &pb.Surface{K1: 0.04, K2: 0.5}
	out := must[*pb.MatchShadeResponse](t)(client.MatchShade(t.Context(), req))
	first, second := colour.Viewing{Illuminant: colour.D65, Observer: colour.TenDegree}, colour.Viewing{}
	near(t, "target under the second light", out.Target[1].Lab.A, target.Seen(second).A, 1e-9)
	units := map[string][]float64{}
	for _, b := range matchtest.Bases {
		units[b.Name] = b.K
	}
	for _, o := range out.Offers {
		var k [][]float64
		var used []float64
		for _, c := range o.Components {
			if units[c.Candidate] != nil {
				k, used = append(k, units[c.Candidate]), append(used, c.MassKg/120)
			}
		}
		curve := colour.Film(matchtest.Paper(), k, used, colour.Surface{K1: 0.04, K2: 0.5})
		near(t, "difference", o.Lights[0].GetDe00(), colour.Difference2000(target.Seen(first), curve.Seen(first)), 1e-9)
		near(t, "difference under the second light", o.Lights[1].GetDe00(), colour.Difference2000(target.Seen(second), curve.Seen(second)), 1e-9)
		if o.Bases > 2 || len(used) != int(o.Bases) {
			t.Errorf("%s of %d bases", o.Kind, o.Bases)
		}
	}
}

func TestMatchOverREST(t *testing.T) {
	s := servertest.Start(t)
	req := spot(mixed(map[int]float64{0: 0.2, 7: 0.1}))
	req.Target = &pb.ShadeTarget{Lab: &pb.Lab{L: 60, A: -30, B: 30}}
	text, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(req)
	if err != nil {
		t.Fatal(err)
	}
	answer := s.REST(app.InkMaker, http.MethodPost, "/v1/shades:match", string(text))
	out := &pb.MatchShadeResponse{}
	if err := protojson.Unmarshal(answer.Raw, out); err != nil || answer.Status != http.StatusOK {
		t.Fatalf("%d: %v: %s", answer.Status, err, answer.Raw)
	}
	if len(out.Offers) != 3 || len(out.Target) != 1 || out.Offers[0].Lights[1].De00 != nil || out.Offers[0].Metamerism != nil {
		t.Errorf("of a target in CIELAB: %v", out)
	}
	for _, role := range []app.Role{app.OrderDesk, app.Purchasing, app.Quality, app.Floor} {
		if denied := s.REST(role, http.MethodPost, "/v1/shades:match", string(text)); denied.Status != http.StatusForbidden {
			t.Errorf("a formula shown to %v: %d", role, denied.Status)
		}
	}
}

func TestBadMatches(t *testing.T) {
	client := pb.NewShadeServiceClient(inkMaker(t))
	good := spot(mixed(map[int]float64{0: 0.3, 3: 0.12}))
	for name, c := range map[string]struct {
		field  string
		change func(*pb.MatchShadeRequest)
	}{
		"no target":           {"target.curve", func(r *pb.MatchShadeRequest) { r.Target = &pb.ShadeTarget{} }},
		"two targets":         {"target", func(r *pb.MatchShadeRequest) { r.Target.Lab = &pb.Lab{L: 50} }},
		"short target":        {"target.curve", func(r *pb.MatchShadeRequest) { r.Target.Curve.Values = r.Target.Curve.Values[:9] }},
		"another grid":        {"target.curve", func(r *pb.MatchShadeRequest) { r.Target.Curve.Values = r.Target.Curve.Values[:35] }},
		"beyond white":        {"target.lab", func(r *pb.MatchShadeRequest) { r.Target = &pb.ShadeTarget{Lab: &pb.Lab{L: 120}} }},
		"no substrate":        {"print.substrate", func(r *pb.MatchShadeRequest) { r.Print.Bare = nil }},
		"two substrates":      {"print.bare", func(r *pb.MatchShadeRequest) { r.Print.Substrate = "substrates/x" }},
		"steps of 7 nm":       {"print.bare", func(r *pb.MatchShadeRequest) { r.Print.Bare.StepNm = 7 }},
		"surface":             {"print.surface.k1", func(r *pb.MatchShadeRequest) { r.Print.Surface = &pb.Surface{K1: 1} }},
		"short k":             {"print.colourants[2].k", func(r *pb.MatchShadeRequest) { r.Print.Colourants[2].K = r.Print.Colourants[2].K[:20] }},
		"huge k":              {"print.colourants[2].k", func(r *pb.MatchShadeRequest) { r.Print.Colourants[2].K[3] = 1e7 }},
		"negative k":          {"print.colourants[2].k[3]", func(r *pb.MatchShadeRequest) { r.Print.Colourants[2].K[3] = -1 }},
		"unknown colourant":   {"print.colourants[1].candidate", func(r *pb.MatchShadeRequest) { r.Print.Colourants[1].Candidate = "mauve" }},
		"same colourant":      {"print.colourants[1].candidate", func(r *pb.MatchShadeRequest) { r.Print.Colourants[1].Candidate = r.Print.Colourants[0].Candidate }},
		"missing colourant":   {"print.colourants", func(r *pb.MatchShadeRequest) { r.Print.Colourants = r.Print.Colourants[1:] }},
		"k without s":         {"print.colourants[0]", func(r *pb.MatchShadeRequest) { r.Print.Mode = pb.PrintMode_PRINT_MODE_OPAQUE }},
		"tolerance":           {"tolerance_de00", func(r *pb.MatchShadeRequest) { r.ToleranceDe00 = 51 }},
		"no quantity":         {"quantity_kg", func(r *pb.MatchShadeRequest) { r.QuantityKg = 0 }},
		"one frontier point":  {"frontier_points", func(r *pb.MatchShadeRequest) { r.FrontierPoints = 1 }},
		"same offer twice":    {"offers[1]", func(r *pb.MatchShadeRequest) { r.Offers = []pb.ShadeOfferKind{1, 1} }},
		"unknown offer":       {"offers[0]", func(r *pb.MatchShadeRequest) { r.Offers = []pb.ShadeOfferKind{9} }},
		"limit":               {"limits[0].lower", func(r *pb.MatchShadeRequest) { r.Limits[0].Lower = to(12) }},
		"property":            {"candidates[1].properties[gloss]", func(r *pb.MatchShadeRequest) { r.Candidates[1].Properties["gloss"] = 3 }},
		"no price":            {"candidates[1].price_per_kg", func(r *pb.MatchShadeRequest) { r.Candidates[1].PricePerKg = nil }},
		"excluded from where": {"book.excluded[0]", func(r *pb.MatchShadeRequest) { r.Book = &pb.BookCandidates{Excluded: []string{"lots/none"}} }},
	} {
		req := proto.Clone(good).(*pb.MatchShadeRequest)
		c.change(req)
		_, err := client.MatchShade(t.Context(), req)
		if err := refusedAt(err, codes.InvalidArgument, c.field); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// refusedAt is nil for a refusal with that code and a field violation at the field.
func refusedAt(err error, code codes.Code, field string) error {
	s := status.Convert(err)
	if s.Code() != code {
		return fmt.Errorf("want %s at %s, got %w", code, field, err)
	}
	for _, detail := range s.Details() {
		if bad, ok := detail.(*errdetails.BadRequest); ok {
			for _, v := range bad.GetFieldViolations() {
				if v.GetField() == field && v.GetDescription() != "" {
					return nil
				}
			}
		}
	}
	return fmt.Errorf("want a violation at %s, got %w: %v", field, err, s.Details())
}
