package refusals

import (
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
)

// goodRepricing is good for costs and the repriced book.
func (b *book) goodRepricing() map[string]func() proto.Message {
	return map[string]func() proto.Message{
		"CostFormula": func() proto.Message {
			return &pb.CostFormulaRequest{Name: "formulas/cyan@1", QuantityKg: 10, Date: b.due}
		},
		"RepriceBook": func() proto.Message {
			return &pb.RepriceBookRequest{Date: b.due, QuantityKg: 10, MaxFormulas: 5, Formulas: []string{"formulas/cyan"},
				Changes: []*pb.PriceChange{{Material: "materials/linseed", Percent: 5}, {Material: "materials/soya", PricePerKg: eur(3)}}}
		},
	}
}
