package rpc_test

import (
	"math"
	"net/http"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/match/matchtest"
)

// short is a pot of 50 kg with a fifth less yellow than the shade takes, in which
// the cyan turned out to be of strength cyan.
func (c colourRoom) short(cyan float64) *pb.CorrectShadeRequest {
	return &pb.CorrectShadeRequest{Measured: curveOf(mixed(map[int]float64{0: 0.16, 7: 0.1 * cyan})), Target: c.asks(map[int]float64{0: 0.2, 7: 0.1}).Target,
		Print: &pb.ShadePrint{Substrate: "substrates/offset"}, CapacityKg: 70, ToleranceDe00: 0.5,
		Pot: []*pb.PotComponent{{Candidate: "lots/yellow-1", MassKg: 8}, {Candidate: "lots/cyan-1", MassKg: 5}, {Candidate: "lots/transparent-1", MassKg: 37}}}
}

func (c colourRoom) correct(req *pb.CorrectShadeRequest) *pb.CorrectShadeResponse {
	c.t.Helper()
	return good(pb.NewShadeServiceClient(c.As(app.InkMaker)).CorrectShade(c.t.Context(), req))(c.t)
}

// drawnDown is the drawdown of a pot with what was added to it.
func (c colourRoom) drawnDown(req *pb.CorrectShadeRequest, additions []*pb.FormulaComponent, strength map[string]float64) *pb.Curve {
	kg, total := map[int]float64{}, 0.0
	add := func(lot string, mass float64) {
		id, _, _ := strings.Cut(strings.TrimPrefix(lot, "lots/"), "-")
		s, off := strength[id]
		if !off {
			s = 1
		}
		if i := inBook[id]; matchtest.Bases[i].K != nil {
			kg[i] += mass * s
		}
		total += mass
	}
	for _, x := range req.Pot {
		add(x.Candidate, x.MassKg)
	}
	for _, x := range additions {
		add(x.Candidate, x.MassKg)
	}
	for i := range kg {
		kg[i] /= total
	}
	return curveOf(mixed(kg))
}

// What is added to the pot as the answer says brings its drawdown in, though a base
// is weaker than its own drawdowns were.
func TestCorrectionOfAShade(t *testing.T) {
	room := newColourRoom(t)
	for _, strength := range []float64{1, 0.9} {
		req := room.short(strength)
		out := room.correct(req)
		t.Log(out.Summary)
		if out.Outcome != pb.CorrectionOutcome_CORRECTION_OUTCOME_CORRECTED || len(out.Additions) == 0 || out.PotKg != 50 || out.KeptKg != 50 {
			t.Fatalf("%v", out)
		}
		if was := out.Measured[0].GetDe00(); was < 1.5 || out.After[0].GetDe00() > 0.5002 || !strings.Contains(out.Summary, "Add ") {
			t.Errorf("%.2f away, then %.2f", was, out.After[0].GetDe00())
		}
		cost := 0.0
		for _, a := range out.Additions {
			cost += a.MassKg * money(a.PricePerKg)
		}
		near(t, "cost", money(out.AddedCost), cost, 0.00501)
		for _, s := range out.Strengths {
			want := 1.0
			if s.Candidate == "lots/cyan-1" {
				want = strength
			}
			near(t, "strength of "+s.Candidate, s.Factor, want, 0.02)
		}
		again := proto.Clone(req).(*pb.CorrectShadeRequest)
		again.Measured = room.drawnDown(req, out.Additions, map[string]float64{"cyan": strength})
		again.ToleranceDe00 = 0.55 // the fit of the drawdowns is not exact
		for _, a := range out.Additions {
			again.Pot = put(again.Pot, a.Candidate, a.MassKg)
		}
		if after := room.correct(again); after.Outcome != pb.CorrectionOutcome_CORRECTION_OUTCOME_IN_LIMITS || !strings.Contains(after.Summary, "Nothing has to be added") {
			t.Errorf("drawn down again: %s", after.Summary)
		}
	}
}

// put adds to a pot.
func put(pot []*pb.PotComponent, candidate string, kg float64) []*pb.PotComponent {
	for _, x := range pot {
		if x.Candidate == candidate {
			x.MassKg = math.Round(1e6*(x.MassKg+kg)) / 1e6
			return pot
		}
	}
	return append(pot, &pb.PotComponent{Candidate: candidate, MassKg: kg})
}

func TestCorrectionOfAShadeByScaleAndMass(t *testing.T) {
	room := newColourRoom(t)
	req := room.short(1)
	cheap := room.correct(req)
	req.LeastMass = true
	light := room.correct(req)
	if light.AddedKg > cheap.AddedKg+1e-6 || money(cheap.AddedCost) > money(light.AddedCost)+0.01 {
		t.Errorf("least mass adds %g kg for %v, least cost %g kg for %v", light.AddedKg, light.AddedCost, cheap.AddedKg, cheap.AddedCost)
	}
	req.Weighing = &pb.Weighing{Scales: []*pb.Scale{{Title: "floor", DivisionKg: 0.05}}}
	for _, a := range room.correct(req).Additions {
		near(t, "divisions of "+a.Candidate, a.MassKg*20, float64(int(a.MassKg*20+0.5)), 1e-6)
	}
}

// A pot without room is brought in in part; one with the wrong base not at all.
func TestCorrectionsOfAShadeThatFail(t *testing.T) {
	room := newColourRoom(t)
	req := room.short(1)
	req.CapacityKg = 50.3
	out := room.correct(req)
	t.Log(out.Summary)
	if out.Outcome != pb.CorrectionOutcome_CORRECTION_OUTCOME_IN_PART || out.Reach == nil || out.KeptKg >= 50 || out.KeptKg+out.AddedKg > 50.3001 ||
		out.After[0].GetDe00() > 0.5002 || !strings.Contains(out.Summary, "Take ") {
		t.Errorf("%v", out)
	}
	near(t, "all of it", out.KeptKg+out.TakenOutKg, 50, 1e-6)

	req = room.short(1)
	req.Book = &pb.BookCandidates{Materials: []string{"materials/black"}}
	out = room.correct(req)
	t.Log(out.Summary)
	if out.Outcome != pb.CorrectionOutcome_CORRECTION_OUTCOME_IMPOSSIBLE || math.Abs(out.Reach.GetNearestDe00()-out.Measured[0].GetDe00()) > 0.05 || !strings.Contains(out.Summary, "Nothing that can be added") {
		t.Errorf("%v", out)
	}
}

func TestCorrectionOfAShadeByRole(t *testing.T) {
	room := newColourRoom(t)
	text, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(room.short(1))
	if err != nil {
		t.Fatal(err)
	}
	answer := room.REST(app.Quality, http.MethodPost, "/v1/shades:correct", string(text))
	out := &pb.CorrectShadeResponse{}
	if err := protojson.Unmarshal(answer.Raw, out); err != nil || answer.Status != http.StatusOK {
		t.Fatalf("%d: %v: %s", answer.Status, err, answer.Raw)
	}
	if len(out.Additions) == 0 || strings.Contains(string(answer.Raw), "EUR") || strings.Contains(string(answer.Raw), "price_per_kg\":{") {
		t.Errorf("quality control reads costs: %s", answer.Raw)
	}
	for _, role := range []app.Role{app.OrderDesk, app.Purchasing, app.Floor} {
		if denied := room.REST(role, http.MethodPost, "/v1/shades:correct", string(text)); denied.Status != http.StatusForbidden {
			t.Errorf("a formula shown to %v: %d", role, denied.Status)
		}
	}
}

func TestBadCorrectionsOfAShade(t *testing.T) {
	room := newColourRoom(t)
	client := pb.NewShadeServiceClient(room.As(app.InkMaker))
	for name, c := range map[string]struct {
		field  string
		change func(*pb.CorrectShadeRequest)
	}{
		"no pot":            {"pot", func(r *pb.CorrectShadeRequest) { r.Pot = nil }},
		"unknown lot":       {"pot[1].candidate", func(r *pb.CorrectShadeRequest) { r.Pot[1].Candidate = "lots/none" }},
		"unknown colour":    {"pot[1].candidate", func(r *pb.CorrectShadeRequest) { r.Pot[1].Candidate = "lots/mauve-1" }},
		"no mass":           {"pot[0].mass_kg", func(r *pb.CorrectShadeRequest) { r.Pot[0].MassKg = 0 }},
		"no drawdown":       {"measured", func(r *pb.CorrectShadeRequest) { r.Measured = nil }},
		"another grid":      {"measured", func(r *pb.CorrectShadeRequest) { r.Measured.Values = r.Measured.Values[:33] }},
		"no target":         {"target.curve", func(r *pb.CorrectShadeRequest) { r.Target = &pb.ShadeTarget{} }},
		"small pot":         {"capacity_kg", func(r *pb.CorrectShadeRequest) { r.CapacityKg = 10 }},
		"unknown substrate": {"", func(r *pb.CorrectShadeRequest) { r.Print.Substrate = "substrates/board" }},
		"tolerance of mass": {"weighing.tolerance_kg", func(r *pb.CorrectShadeRequest) {
			r.Weighing = &pb.Weighing{ToleranceKg: 1, Scales: []*pb.Scale{{DivisionKg: 0.1}}}
		}},
		"nothing coloured": {"print.colourants", func(r *pb.CorrectShadeRequest) {
			r.Book = &pb.BookCandidates{Materials: []string{"materials/transparent"}}
		}},
	} {
		req := proto.Clone(room.short(1)).(*pb.CorrectShadeRequest)
		c.change(req)
		_, err := client.CorrectShade(t.Context(), req)
		want := codes.InvalidArgument
		if c.field == "" {
			if err == nil || !strings.Contains(err.Error(), "NotFound") {
				t.Errorf("%s: %v", name, err)
			}
			continue
		}
		if err := refusedAt(err, want, c.field); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}
