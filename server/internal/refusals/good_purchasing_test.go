package refusals

import (
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
)

// goodPurchasing are good requests of the buyer's side.
func (b *book) goodPurchasing() map[string]func() proto.Message {
	return map[string]func() proto.Message{
		"CreatePurchaseOrder": func() proto.Message {
			return &pb.CreatePurchaseOrderRequest{PurchaseOrderId: b.fresh("po"), PurchaseOrder: b.purchase(), RequestId: uuid.NewString()}
		},
		"GetPurchaseOrder":    func() proto.Message { return &pb.GetPurchaseOrderRequest{Name: b.order()} },
		"ListPurchaseOrders":  func() proto.Message { return &pb.ListPurchaseOrdersRequest{} },
		"SendPurchaseOrder":   func() proto.Message { return &pb.SendPurchaseOrderRequest{Name: b.order()} },
		"CancelPurchaseOrder": func() proto.Message { return &pb.CancelPurchaseOrderRequest{Name: b.order()} },
		"GetCoverage":         func() proto.Message { return &pb.GetCoverageRequest{Weeks: 4, Material: "materials/linseed"} },
		"ExportCoverage": func() proto.Message {
			return &pb.ExportCoverageRequest{Days: 9, Material: "materials/linseed", Pegging: true}
		},
		"UpdatePurchaseOrder": func() proto.Message {
			o := b.purchase()
			o.Name = b.order()
			return &pb.UpdatePurchaseOrderRequest{PurchaseOrder: o}
		},
		"ClosePurchaseOrder": func() proto.Message {
			return &pb.ClosePurchaseOrderRequest{Name: b.partReceived(), Material: "materials/linseed"}
		},
		"ListPriceHistory": func() proto.Message { return &pb.ListPriceHistoryRequest{Parent: "suppliers/quellmark/offers/linseed"} },
		"ListPriceOutlooks": func() proto.Message {
			return &pb.ListPriceOutlooksRequest{Parent: "suppliers/quellmark/offers/linseed"}
		},
		"UpdatePriceOutlook": func() proto.Message {
			return &pb.UpdatePriceOutlookRequest{Outlook: &pb.PriceOutlook{Name: "suppliers/quellmark/offers/linseed/outlook", Note: "n",
				Weeks: []*pb.ExpectedPrice{{WeekDate: "2099-01-05", PricePerKg: eur(3)}}}}
		},
		"GetDeliveryPerformance": func() proto.Message {
			return &pb.GetDeliveryPerformanceRequest{Parent: "suppliers/quellmark", Material: "materials/linseed", SinceDate: "2026-01-01"}
		},
		"TryCoverage": func() proto.Message {
			return &pb.TryCoverageRequest{Weeks: 4, Changes: []*pb.CoverageChange{{Change: &pb.CoverageChange_Move_{Move: &pb.CoverageChange_Move{Batch: b.batch(false), DueDate: b.due}}}}}
		},
		"GetPegging": func() proto.Message { return &pb.GetPeggingRequest{Name: b.order()} },
	}
}
