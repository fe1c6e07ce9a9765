package refusals

import (
	"slices"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// flat is a curve of one reflectance.
func flat(v float64) *pb.Curve {
	return &pb.Curve{FirstNm: 380, StepNm: 10, Values: slices.Repeat([]float64{v}, 36)}
}

func substrate() *pb.Substrate {
	return &pb.Substrate{Title: "White", Curve: flat(0.85), Surface: &pb.Surface{K1: 0.02, K2: 0.4}, FilmGPerM2: 1.2, Measured: "45/0"}
}

// goodColours is good for the colour book and the tests of lots.
func (b *book) goodColours() map[string]func() proto.Message {
	id := func() string { return uuid.NewString() }
	return map[string]func() proto.Message{
		"CreateSubstrate": func() proto.Message {
			return &pb.CreateSubstrateRequest{SubstrateId: b.fresh("paper"), Substrate: substrate(), RequestId: id()}
		},
		"GetSubstrate":   func() proto.Message { return &pb.GetSubstrateRequest{Name: b.paper()} },
		"ListSubstrates": func() proto.Message { return &pb.ListSubstratesRequest{} },
		"UpdateSubstrate": func() proto.Message {
			s := substrate()
			s.Name, s.Title = b.paper(), "Whiter"
			return &pb.UpdateSubstrateRequest{Substrate: s}
		},
		"CreateCharacterisation": func() proto.Message {
			return &pb.CreateCharacterisationRequest{CharacterisationId: b.fresh("fit"), RequestId: id(), Characterisation: &pb.Characterisation{
				Material: "materials/cyan", Substrate: b.paper(), Mode: pb.PrintMode_PRINT_MODE_FILM, Note: "tester",
				Drawdowns: []*pb.Drawdown{{Concentration: 0.5, Curve: flat(0.4), FilmGPerM2: 1}}}}
		},
		"GetCharacterisation": func() proto.Message {
			c, err := pb.NewColourServiceClient(b.server.As(app.Admin)).CreateCharacterisation(b.t.Context(), &pb.CreateCharacterisationRequest{CharacterisationId: b.fresh("fit"),
				Characterisation: &pb.Characterisation{Material: "materials/cyan", Substrate: b.paper(), Drawdowns: []*pb.Drawdown{{Concentration: 1, Curve: flat(0.3)}}}})
			return &pb.GetCharacterisationRequest{Name: must(b.t, c, err).Name}
		},
		"ListCharacterisations": func() proto.Message { return &pb.ListCharacterisationsRequest{} },
		"ReadMeasurements": func() proto.Message {
			return &pb.ReadMeasurementsRequest{Content: []byte("name,400,420,440,460,480,500,520,540,560,580,600,620,640,660,680,700\nwhite" + strings.Repeat(",0.8", 16) + "\n")}
		},
		"CompareColours": func() proto.Message {
			return &pb.CompareColoursRequest{Sample: &pb.Colour{Curve: flat(0.4)}, Standard: &pb.Colour{Curve: flat(0.41)}, ToleranceDe00: 1, OverBlack: flat(0.39),
				Viewing: &pb.Viewing{Illuminant: pb.Illuminant_ILLUMINANT_D50, Observer: pb.Observer_OBSERVER_TWO_DEGREE}}
		},
		"RecordLotTest": func() proto.Message {
			return &pb.RecordLotTestRequest{Parent: "lots/l-1", TestId: b.fresh("t"), RequestId: id(),
				Test: &pb.LotTest{Values: map[string]float64{"density_kg_per_l": 0.93}, Method: "pycnometer", Note: "twice", TestDate: "2026-01-05"}}
		},
		"RecordBleachTest": func() proto.Message {
			return &pb.RecordBleachTestRequest{Parent: "lots/l-1", TestId: b.fresh("t"), RequestId: id(), Lot: flat(0.4), Standard: flat(0.41),
				Surface: &pb.Surface{K1: 0.02, K2: 0.4}, StandardStrength: 1, Method: "1 in 50", Note: "twice", TestDate: "2026-01-05", Figure: pb.BleachFigure_BLEACH_FIGURE_SUMMED}
		},
		"GetLotTest":      func() proto.Message { return &pb.GetLotTestRequest{Name: b.lotTest()} },
		"ListLotTests":    func() proto.Message { return &pb.ListLotTestsRequest{Parent: "lots/l-1"} },
		"WithdrawLotTest": func() proto.Message { return &pb.WithdrawLotTestRequest{Name: b.lotTest(), Reason: "swapped"} },
	}
}

// paper adds a substrate of its own.
func (b *book) paper() string {
	s, err := pb.NewColourServiceClient(b.server.As(app.Admin)).CreateSubstrate(b.t.Context(), &pb.CreateSubstrateRequest{SubstrateId: b.fresh("paper"), Substrate: substrate()})
	return must(b.t, s, err).Name
}

// lotTest records a test of its own.
func (b *book) lotTest() string {
	t, err := pb.NewLotTestServiceClient(b.server.As(app.Admin)).RecordLotTest(b.t.Context(), &pb.RecordLotTestRequest{Parent: "lots/l-1", TestId: b.fresh("t"),
		Test: &pb.LotTest{Values: map[string]float64{"density_kg_per_l": 0.93}}})
	return must(b.t, t, err).Name
}
