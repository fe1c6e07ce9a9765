package rpc_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/colour"
)

// The paper and the ink of these tests: a white, and an ink that absorbs around 620
// nm, with its K/S on that paper at full strength.
func paperCurve() colour.Curve {
	c := colour.Curve{First: 380, Step: 10, Values: make([]float64, 36)}
	for i := range c.Values {
		c.Values[i] = 0.86 - 0.1*math.Exp(-float64(i)/4)
	}
	return c
}

func inkUnit() []float64 {
	out := make([]float64, 36)
	for i := range out {
		d := (float64(380+10*i) - 620) / 40
		out[i] = 12 * math.Exp(-d*d/2)
	}
	return out
}

// colours is a stockroom with a substrate, and its colour book as a role has it.
func colours(t *testing.T) (s stockroom, book pb.ColourServiceClient) {
	s = newStockroom(t)
	book = pb.NewColourServiceClient(s.As(app.Quality))
	good(book.CreateSubstrate(t.Context(), &pb.CreateSubstrateRequest{SubstrateId: "white", Substrate: &pb.Substrate{Title: "White", Curve: curveOf(paperCurve()),
		Surface: &pb.Surface{K1: 0.03, K2: 0.5}, FilmGPerM2: 1.2, Measured: "45/0, M0"}}))(t)
	return s, book
}

// drawdowns are those of the ink at some concentrations.
func drawdowns(at ...float64) *pb.CreateCharacterisationRequest {
	r := &pb.CreateCharacterisationRequest{CharacterisationId: "blue-white", RequestId: uuid.NewString(), Characterisation: &pb.Characterisation{
		Material: "materials/blue", Substrate: "substrates/white"}}
	for _, c := range at {
		print := colour.Film(paperCurve(), [][]float64{inkUnit()}, []float64{c}, colour.Surface{K1: 0.03, K2: 0.5})
		r.Characterisation.Drawdowns = append(r.Characterisation.Drawdowns, &pb.Drawdown{Concentration: c, Curve: curveOf(print)})
	}
	return r
}

func TestCharacterise(t *testing.T) {
	_, book := colours(t)
	req := drawdowns(0.1, 0.4, 1)
	made := good(book.CreateCharacterisation(t.Context(), req))(t)
	for i, k := range inkUnit() {
		if math.Abs(made.GetK()[i]-k) > 1e-6*max(1, k) {
			t.Errorf("K at %d nm: %v, want %v", 380+10*i, made.GetK()[i], k)
		}
	}
	if made.GetResidual() > 1e-9 || made.GetMostAbsorptionNm() != 620 || len(made.GetWarnings()) != 0 || made.GetSuperseded() || len(made.GetDrawdowns()) != 3 {
		t.Errorf("made: %v", made)
	}
	if again := good(book.CreateCharacterisation(t.Context(), req))(t); !proto.Equal(again, made) {
		t.Errorf("again: %v", again)
	}
	// One drawdown, at twice the film, of half the concentration: the same K/S.
	thick := drawdowns(0.5)
	thick.CharacterisationId = "blue-white-2"
	d := thick.Characterisation.Drawdowns[0]
	d.Concentration, d.FilmGPerM2 = 0.25, 2.4
	next := good(book.CreateCharacterisation(t.Context(), thick))(t)
	if math.Abs(next.GetK()[24]-12) > 1e-6 || len(next.GetWarnings()) != 1 {
		t.Errorf("of a thick film: K %v, %v", next.GetK()[24], next.GetWarnings())
	}
	old := good(book.GetCharacterisation(t.Context(), &pb.GetCharacterisationRequest{Name: made.GetName()}))(t)
	if !old.GetSuperseded() {
		t.Errorf("the one before is still current: %v", old)
	}
	now := good(book.ListCharacterisations(t.Context(), &pb.ListCharacterisationsRequest{Filter: `material = "materials/blue" AND substrate = "substrates/white" AND superseded = false`}))(t)
	if len(now.GetCharacterisations()) != 1 || now.GetCharacterisations()[0].GetName() != next.GetName() {
		t.Errorf("current: %v", now)
	}
}

// TestCharacteriseOpaque: K and S of a white and of an ink let down in it.
func TestCharacteriseOpaque(t *testing.T) {
	_, book := colours(t)
	surface := colour.Surface{K1: 0.03, K2: 0.5}
	white := colour.Optics{K: slices.Repeat([]float64{0.004}, 36), S: slices.Repeat([]float64{1}, 36)}
	ink := colour.Optics{K: inkUnit(), S: slices.Repeat([]float64{0.2}, 36)}
	mixed := func(c float64) *pb.Drawdown {
		return &pb.Drawdown{Concentration: max(c, 1e-9), Curve: curveOf(colour.Opaque(paperCurve(), []colour.Optics{ink, white}, []float64{c, 1 - c}, surface))}
	}
	alone := mixed(0)
	alone.Concentration = 1
	ask := func(id, in string, of ...*pb.Drawdown) (*pb.Characterisation, error) {
		return book.CreateCharacterisation(t.Context(), &pb.CreateCharacterisationRequest{CharacterisationId: id, Characterisation: &pb.Characterisation{
			Material: "materials/blue", Substrate: "substrates/white", Mode: pb.PrintMode_PRINT_MODE_OPAQUE, White: in, Drawdowns: of}})
	}
	good(ask("tio2", "", alone))(t)
	made := good(ask("blue-in-white", "characterisations/tio2", mixed(0.05), mixed(0.3), mixed(0.8)))(t)
	for i := range ink.K {
		if math.Abs(made.GetK()[i]-ink.K[i]) > 1e-4*max(1, ink.K[i]) || math.Abs(made.GetS()[i]-0.2) > 1e-3 {
			t.Errorf("at %d nm: K %v S %v, want %v .2", 380+10*i, made.GetK()[i], made.GetS()[i], ink.K[i])
		}
	}
	_, err := ask("one", "characterisations/tio2", mixed(0.5))
	refusal{codes.InvalidArgument, "two concentrations"}.check(t, "one concentration", err)
	_, err = ask("none", "characterisations/none", mixed(0.5), mixed(0.1))
	refusal{codes.InvalidArgument, "characterisations/none"}.check(t, "an unknown white", err)
}

func TestColourBookRefusals(t *testing.T) {
	s, book := colours(t)
	for name, c := range map[string]struct {
		change func(r *pb.Characterisation)
		want   refusal
	}{
		"an unknown ink":       {func(r *pb.Characterisation) { r.Material = "materials/none" }, refusal{codes.InvalidArgument, "materials/none"}},
		"an unknown substrate": {func(r *pb.Characterisation) { r.Substrate = "substrates/none" }, refusal{codes.InvalidArgument, "substrates/none"}},
		"no drawdown":          {func(r *pb.Characterisation) { r.Drawdowns = nil }, refusal{codes.InvalidArgument, "drawdowns"}},
		"other wavelengths":    {func(r *pb.Characterisation) { r.Drawdowns[1].Curve.FirstNm = 390 }, refusal{codes.InvalidArgument, "drawdowns[1].curve"}},
		"120 %":                {func(r *pb.Characterisation) { r.Drawdowns[0].Concentration = 1.2 }, refusal{codes.InvalidArgument, "drawdowns[0].concentration"}},
		"a white of a film":    {func(r *pb.Characterisation) { r.White = "characterisations/x" }, refusal{codes.InvalidArgument, "opaque"}},
	} {
		r := drawdowns(0.2, 1)
		c.change(r.Characterisation)
		_, err := book.CreateCharacterisation(t.Context(), r)
		c.want.check(t, name, err)
	}
	good(book.CreateCharacterisation(t.Context(), drawdowns(0.2, 0.5, 1)))(t)
	changed := curveOf(paperCurve())
	changed.Values[3] = 0.5
	_, err := book.UpdateSubstrate(t.Context(), &pb.UpdateSubstrateRequest{Substrate: &pb.Substrate{Name: "substrates/white", Title: "White", Curve: changed, FilmGPerM2: 1.2}})
	refusal{codes.FailedPrecondition, "another id"}.check(t, "a curve that inks were characterised on", err)
	_, err = pb.NewColourServiceClient(s.As(app.OrderDesk)).ListSubstrates(t.Context(), &pb.ListSubstratesRequest{})
	refusal{codes.PermissionDenied, "role order desk"}.check(t, "the order desk", err)
	_, err = book.ReadMeasurements(t.Context(), &pb.ReadMeasurementsRequest{Content: []byte("CGATS.17\nBEGIN_DATA\n1 2 3\nEND_DATA\n")})
	refusal{codes.InvalidArgument, "line "}.check(t, "a malformed file", err)
}

// TestReadMeasurements: what is read is what was written.
func TestReadMeasurements(t *testing.T) {
	_, book := colours(t)
	var head, row []string
	for i, v := range paperCurve().Values {
		head, row = append(head, fmt.Sprint(380+10*i)), append(row, fmt.Sprint(v))
	}
	file := "name," + strings.Join(head, ",") + "\nwhite paper," + strings.Join(row, ",") + "\n"
	r := good(book.ReadMeasurements(t.Context(), &pb.ReadMeasurementsRequest{Content: []byte(file)}))(t)
	if len(r.GetSamples()) != 1 || r.GetSamples()[0].GetTitle() != "white paper" || !proto.Equal(r.GetSamples()[0].GetCurve(), curveOf(paperCurve())) || r.GetSamples()[0].GetLine() != 2 {
		t.Errorf("read: %v", r)
	}
}

// TestProcessInkAims: aims and tolerances of ISO 2846-1:2017, table 1 (D50/2).
func TestProcessInkAims(t *testing.T) {
	_, book := colours(t)
	for _, c := range []struct {
		ink    pb.ProcessInk
		lab    *pb.Lab
		within bool
	}{
		{pb.ProcessInk_PROCESS_INK_YELLOW, &pb.Lab{L: 91, A: -5.1, B: 95}, true},
		{pb.ProcessInk_PROCESS_INK_YELLOW, &pb.Lab{L: 91, A: -5.1, B: 99.1}, false},
		{pb.ProcessInk_PROCESS_INK_MAGENTA, &pb.Lab{L: 50, A: 76, B: 0.9}, true},
		{pb.ProcessInk_PROCESS_INK_MAGENTA, &pb.Lab{L: 50, A: 71.9, B: -3}, false},
		{pb.ProcessInk_PROCESS_INK_CYAN, &pb.Lab{L: 57, A: -39.2, B: -42.1}, true},
		{pb.ProcessInk_PROCESS_INK_CYAN, &pb.Lab{L: 61.1, A: -39.2, B: -46}, false},
		{pb.ProcessInk_PROCESS_INK_BLACK, &pb.Lab{L: 15, A: 2.2, B: 2.9}, true},
		{pb.ProcessInk_PROCESS_INK_BLACK, &pb.Lab{L: 18.1, A: 0.8, B: 0}, false},
		{pb.ProcessInk_PROCESS_INK_BLACK, &pb.Lab{L: 15, A: 2.4, B: 0}, false},
		{pb.ProcessInk_PROCESS_INK_BLACK, &pb.Lab{L: 15, A: 0.8, B: -3.1}, false},
	} {
		r := good(book.CompareColours(t.Context(), &pb.CompareColoursRequest{Sample: &pb.Colour{Lab: c.lab}, ProcessInk: c.ink}))(t)
		if r.WithinTolerance == nil || *r.WithinTolerance != c.within {
			t.Errorf("%s %v: %v", c.ink, c.lab, r)
		}
	}
}

func TestCompareColours(t *testing.T) {
	_, book := colours(t)
	print := func(c float64) *pb.Colour {
		return &pb.Colour{Curve: curveOf(colour.Film(paperCurve(), [][]float64{inkUnit()}, []float64{c}, colour.Surface{}))}
	}
	r := good(book.CompareColours(t.Context(), &pb.CompareColoursRequest{Sample: print(0.5), Standard: print(0.3), ToleranceDe00: 1, OverBlack: print(1).Curve}))(t)
	d := r.GetDifferences()
	if len(d) != 2 || d[0].GetLightness() >= 0 || d[0].GetChroma() <= 0 || *r.WithinTolerance || r.Metamerism == nil || r.OpacityPercent == nil || *r.OpacityPercent >= 100 {
		t.Fatalf("a stronger print: %v", r)
	}
	a, b := labOfCurve(print(0.5)), labOfCurve(print(0.3))
	if math.Abs(d[0].GetDe00()-colour.Difference2000(b, a)) > 1e-9 || math.Abs(d[0].GetDe76()-colour.Difference(b, a)) > 1e-9 {
		t.Errorf("differences %v, want %v and %v", d[0], colour.Difference2000(b, a), colour.Difference(b, a))
	}
	same := good(book.CompareColours(t.Context(), &pb.CompareColoursRequest{Sample: print(0.5), Standard: print(0.5), ToleranceDe00: 1}))(t)
	if !*same.WithinTolerance || same.GetDifferences()[0].GetDe00() != 0 || *same.Metamerism > 1e-9 {
		t.Errorf("with itself: %v", same)
	}
	_, err := book.CompareColours(t.Context(), &pb.CompareColoursRequest{Sample: print(0.5)})
	refusal{codes.InvalidArgument, "standard"}.check(t, "no standard", err)
	_, err = book.CompareColours(t.Context(), &pb.CompareColoursRequest{Sample: print(0.5), Standard: print(0.5), ProcessInk: pb.ProcessInk_PROCESS_INK_CYAN})
	refusal{codes.InvalidArgument, "not both"}.check(t, "two standards", err)
}

func labOfCurve(c *pb.Colour) colour.Lab {
	return colour.Curve{First: 380, Step: 10, Values: c.Curve.Values}.Seen(colour.Viewing{})
}
