package rpc_test

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/google/uuid"
	"google.golang.org/grpc/codes"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// Four orders of drier are sent on the 2nd and due on the 4th; they are booked as
// having come on the 2nd, so two days early, and one is still open.
func TestDeliveryPerformance(t *testing.T) {
	s := works(t)
	orders, lots := pb.NewPurchasingServiceClient(s.As(app.Purchasing)), pb.NewLotServiceClient(s.As(app.Purchasing))
	for i := range 4 {
		id := fmt.Sprintf("po-%d", i)
		must[*pb.PurchaseOrder](t)(orders.CreatePurchaseOrder(t.Context(), drierOrder(id)))
		must[*pb.PurchaseOrder](t)(orders.SendPurchaseOrder(t.Context(), &pb.SendPurchaseOrderRequest{Name: "purchaseOrders/" + id}))
		must[*pb.Lot](t)(lots.ReceiveLot(t.Context(), &pb.ReceiveLotRequest{LotId: "d-" + id, QuantityKg: 5, Location: "a-1", MovementId: uuid.NewString(),
			PurchaseOrder: "purchaseOrders/" + id, Lot: &pb.Lot{Material: "materials/secret-drier"}}))
	}
	suppliers := pb.NewSupplierServiceClient(s.As(app.Purchasing))
	p := must[*pb.DeliveryPerformance](t)(suppliers.GetDeliveryPerformance(t.Context(), &pb.GetDeliveryPerformanceRequest{Parent: "suppliers/-", ServiceLevelPercent: 80}))
	if len(p.GetRows()) != 2 || p.GetRows()[0].GetMaterial() != "" || p.GetRows()[1].GetMaterial() != "materials/secret-drier" {
		t.Fatalf("%v", p)
	}
	r := p.GetRows()[1]
	if r.GetDeliveries() != 4 || r.GetOnTime() != 4 || r.GetOnTimeShare() != 1 || r.GetMeanQuotedDays() != 2 || r.GetMeanActualDays() != 0 || r.GetMostDaysLate() != -2 ||
		r.GetSuggestedSafetyTimeDays() != 0 || r.GetSuggestionCoversPercent() != 80 || !strings.Contains(r.GetBasis(), "From 4 deliveries: ") {
		t.Errorf("%v", r)
	}
	if got := s.REST(app.Purchasing, "GET", "/v1/suppliers/quellmark:performance", nil); got.Status != http.StatusOK || !strings.Contains(string(got.Raw), "too few for 95 %") {
		t.Errorf("%s", got.Raw)
	}
	ask := func(role app.Role, r *pb.GetDeliveryPerformanceRequest) func(context.Context) error {
		return func(ctx context.Context) error {
			_, err := pb.NewSupplierServiceClient(s.As(role)).GetDeliveryPerformance(ctx, r)
			return err
		}
	}
	refuse(t, []bad{
		{"order desk", codes.PermissionDenied, "", ask(app.OrderDesk, &pb.GetDeliveryPerformanceRequest{Parent: "suppliers/-"})},
		{"floor", codes.PermissionDenied, "", ask(app.Floor, &pb.GetDeliveryPerformanceRequest{Parent: "suppliers/-"})},
		{"supplier", codes.NotFound, "nobody", ask(app.Purchasing, &pb.GetDeliveryPerformanceRequest{Parent: "suppliers/nobody"})},
		{"material", codes.InvalidArgument, "materials/none", ask(app.Purchasing, &pb.GetDeliveryPerformanceRequest{Parent: "suppliers/-", Material: "materials/none"})},
		{"level", codes.InvalidArgument, "50 to 99", ask(app.Purchasing, &pb.GetDeliveryPerformanceRequest{Parent: "suppliers/-", ServiceLevelPercent: 20})},
		{"date", codes.InvalidArgument, "since_date", ask(app.Purchasing, &pb.GetDeliveryPerformanceRequest{Parent: "suppliers/-", SinceDate: "yesterday"})},
	})
}
