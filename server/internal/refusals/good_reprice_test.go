package refusals

import (
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
)

// goodRepricing is good for the repriced book.
func (b *book) goodRepricing() map[string]func() proto.Message {
	return map[string]func() proto.Message{
		"RepriceBook": func() proto.Message {
			return &pb.RepriceBookRequest{Date: b.due, QuantityKg: 10, MaxFormulas: 5, Formulas: []string{"formulas/cyan"},
				Changes: []*pb.PriceChange{{Material: "materials/linseed", Percent: 5}, {Material: "materials/soya", PricePerKg: eur(3)}}}
		},
	}
}
