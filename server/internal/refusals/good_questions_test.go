package refusals

import (
	"slices"

	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
)

// goodQuestions are good requests of what only asks.
func (b *book) goodQuestions() map[string]func() proto.Message {
	return map[string]func() proto.Message{
		"CorrectBatch": func() proto.Message {
			return &pb.CorrectBatchRequest{Limits: specification().Limits, Date: b.due, CapacityKg: 100, Tests: map[string]float64{"density_kg_per_l": 1.1},
				Pot: []*pb.PotComponent{{Candidate: "a", MassKg: 50}}, Candidates: []*pb.InlineCandidate{{CandidateId: "a", PricePerKg: eur(2),
					Properties: map[string]float64{"density_kg_per_l": 0.95}}}}
		},
		"TraceFrontier": func() proto.Message {
			low, high := 0.5, 0.99
			return &pb.TraceFrontierRequest{LimitId: specification().Limits[0].LimitId, From: &low, To: &high,
				Question: &pb.OptimiseRequest{Limits: specification().Limits, QuantityKg: 100, Date: b.due, Candidates: []*pb.InlineCandidate{
					{CandidateId: "a", PricePerKg: eur(2), Properties: map[string]float64{"density_kg_per_l": 0.95}}}}}
		},
		"MatchShade": func() proto.Message {
			return &pb.MatchShadeRequest{Limits: specification().Limits, QuantityKg: 100, Date: b.due, ToleranceDe00: 2, MaxBases: 2, FrontierPoints: 2,
				Target: &pb.ShadeTarget{Curve: flatCurve(0.4)}, Viewing: &pb.Viewing{Illuminant: pb.Illuminant_ILLUMINANT_D50, Observer: pb.Observer_OBSERVER_TWO_DEGREE},
				Print: blackPrint(), Candidates: greys()}
		},
		"CorrectShade": func() proto.Message {
			return &pb.CorrectShadeRequest{Limits: specification().Limits, Date: b.due, ToleranceDe00: 2, CapacityKg: 100, Measured: flatCurve(0.5),
				Target: &pb.ShadeTarget{Curve: flatCurve(0.4)}, Viewing: &pb.Viewing{Illuminant: pb.Illuminant_ILLUMINANT_D50, Observer: pb.Observer_OBSERVER_TWO_DEGREE},
				Print: blackPrint(), Candidates: greys(), Pot: []*pb.PotComponent{{Candidate: "black", MassKg: 5}, {Candidate: "varnish", MassKg: 45}}}
		},
		"CompareFormulas": func() proto.Message {
			of := func(lot string) *pb.FormulaRef {
				return &pb.FormulaRef{Title: "as weighed", Components: []*pb.PotComponent{{Candidate: lot, MassKg: 1}}}
			}
			return &pb.CompareFormulasRequest{First: of("lots/l-1"), Second: of("lots/l-2"), Limits: specification().Limits, Date: b.due}
		},
	}
}

func flatCurve(v float64) *pb.Curve {
	return &pb.Curve{FirstNm: 380, StepNm: 10, Values: slices.Repeat([]float64{v}, 36)}
}

func blackPrint() *pb.ShadePrint {
	return &pb.ShadePrint{Bare: flatCurve(0.8), Surface: &pb.Surface{K1: 0.02, K2: 0.4},
		Colourants: []*pb.InlineColourant{{Candidate: "black", K: slices.Repeat([]float64{3}, 36)}}}
}

// greys are a black and what it is let down with.
func greys() []*pb.InlineCandidate {
	of := func(id string, price int64) *pb.InlineCandidate {
		return &pb.InlineCandidate{CandidateId: id, PricePerKg: eur(price), Properties: map[string]float64{"density_kg_per_l": 0.95}}
	}
	return []*pb.InlineCandidate{of("black", 4), of("varnish", 2)}
}
