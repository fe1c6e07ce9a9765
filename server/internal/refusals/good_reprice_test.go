package refusals

import (
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// goodRepricing is good for costs and the repriced book.
func (b *book) goodRepricing() map[string]func() proto.Message {
	return map[string]func() proto.Message{
		"CostFormula": func() proto.Message {
			return &pb.CostFormulaRequest{Name: "formulas/cyan@1", QuantityKg: 10, Date: b.due}
		},
		"RepriceBook": func() proto.Message { return b.repricing() },
		"StartRepricing": func() proto.Message {
			return &pb.StartRepricingRequest{RequestId: uuid.NewString(), Reprice: b.repricing()}
		},
		"GetOperation":    func() proto.Message { return &pb.GetOperationRequest{Name: b.operation()} },
		"CancelOperation": func() proto.Message { return &pb.CancelOperationRequest{Name: b.operation()} },
		"DeleteOperation": func() proto.Message { return &pb.DeleteOperationRequest{Name: b.operation()} },
		"WaitOperation": func() proto.Message {
			return &pb.WaitOperationRequest{Name: b.operation(), Timeout: durationpb.New(time.Second)}
		},
		"ListOperations": func() proto.Message {
			return &pb.ListOperationsRequest{PageSize: 5, Filter: `kind = "reprice_book"`}
		},
	}
}

func (b *book) repricing() *pb.RepriceBookRequest {
	return &pb.RepriceBookRequest{Date: b.due, QuantityKg: 10, MaxFormulas: 5, Formulas: []string{"formulas/cyan"},
		Changes: []*pb.PriceChange{{Material: "materials/linseed", Percent: 5}, {Material: "materials/soya", PricePerKg: eur(3)}}}
}

// operation names one that was cancelled before it began.
func (b *book) operation() string {
	conn := b.server.As(app.Admin)
	o, err := pb.NewRepricingServiceClient(conn).StartRepricing(b.t.Context(), &pb.StartRepricingRequest{Reprice: b.repricing()})
	must(b.t, "operation", err)
	_, err = pb.NewOperationServiceClient(conn).CancelOperation(b.t.Context(), &pb.CancelOperationRequest{Name: o.GetName()})
	must(b.t, o.GetName(), err)
	return o.GetName()
}
