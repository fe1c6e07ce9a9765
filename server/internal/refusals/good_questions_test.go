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
			flat := func(v float64) []float64 { return slices.Repeat([]float64{v}, 36) }
			return &pb.MatchShadeRequest{Limits: specification().Limits, QuantityKg: 100, Date: b.due, ToleranceDe00: 2, MaxBases: 2, FrontierPoints: 2,
				Target:  &pb.ShadeTarget{Curve: &pb.Curve{FirstNm: 380, StepNm: 10, Values: flat(0.4)}},
				Viewing: &pb.Viewing{Illuminant: pb.Illuminant_ILLUMINANT_D50, Observer: pb.Observer_OBSERVER_TWO_DEGREE},
				Print: &pb.ShadePrint{Bare: &pb.Curve{FirstNm: 380, StepNm: 10, Values: flat(0.8)}, Surface: &pb.Surface{K1: 0.02, K2: 0.4},
					Colourants: []*pb.InlineColourant{{Candidate: "black", K: flat(3)}}},
				Candidates: []*pb.InlineCandidate{
					{CandidateId: "black", PricePerKg: eur(4), Properties: map[string]float64{"density_kg_per_l": 0.95}},
					{CandidateId: "varnish", PricePerKg: eur(2), Properties: map[string]float64{"density_kg_per_l": 0.95}}}}
		},
		"CompareFormulas": func() proto.Message {
			of := func(lot string) *pb.FormulaRef {
				return &pb.FormulaRef{Title: "as weighed", Components: []*pb.PotComponent{{Candidate: lot, MassKg: 1}}}
			}
			return &pb.CompareFormulasRequest{First: of("lots/l-1"), Second: of("lots/l-2"), Limits: specification().Limits, Date: b.due}
		},
	}
}
