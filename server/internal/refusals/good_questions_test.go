package refusals

import (
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
	}
}
