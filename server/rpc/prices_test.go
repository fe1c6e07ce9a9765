package rpc_test

import (
	"context"
	"net/http"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

func TestPriceHistoryAndOutlook(t *testing.T) {
	s := works(t)
	suppliers := pb.NewSupplierServiceClient(s.As(app.Purchasing))
	o := &pb.Offer{Material: "materials/secret-drier", PriceBreaks: []*pb.PriceBreak{{PricePerKg: eur(2, 0)}}}
	o = must[*pb.Offer](t)(suppliers.CreateOffer(t.Context(), &pb.CreateOfferRequest{Parent: "suppliers/quellmark", OfferId: "drier", Offer: o}))
	o.PriceBreaks[0].PricePerKg = eur(3, 0)
	o = must[*pb.Offer](t)(suppliers.UpdateOffer(t.Context(), &pb.UpdateOfferRequest{Offer: o}))
	o.LeadTimeDays = 3
	must[*pb.Offer](t)(suppliers.UpdateOffer(t.Context(), &pb.UpdateOfferRequest{Offer: o}))
	for _, parent := range []string{o.GetName(), "suppliers/quellmark/offers/-", "suppliers/-/offers/-"} {
		first := must[*pb.ListPriceHistoryResponse](t)(suppliers.ListPriceHistory(t.Context(), &pb.ListPriceHistoryRequest{Parent: parent, PageSize: 1, Filter: `material = "materials/secret-drier"`}))
		next := must[*pb.ListPriceHistoryResponse](t)(suppliers.ListPriceHistory(t.Context(), &pb.ListPriceHistoryRequest{Parent: parent, PageSize: 1,
			Filter: `material = "materials/secret-drier"`, PageToken: first.GetNextPageToken()}))
		if len(first.GetPrices()) != 1 || len(next.GetPrices()) != 1 || next.GetNextPageToken() != "" || first.GetPrices()[0].GetPriceBreaks()[0].GetPricePerKg().GetUnits() != 2 ||
			next.GetPrices()[0].GetPriceBreaks()[0].GetPricePerKg().GetUnits() != 3 || next.GetPrices()[0].GetOffer() != o.GetName() {
			t.Errorf("%s: %v, then %v", parent, first, next)
		}
	}
	outlook := &pb.PriceOutlook{Name: o.GetName() + "/outlook", Note: "the harvest", Weeks: []*pb.ExpectedPrice{
		{WeekDate: "2026-11-16", PricePerKg: eur(2, 500_000_000)}, {WeekDate: "2026-12-07", PricePerKg: eur(2, 0)}}}
	kept := must[*pb.PriceOutlook](t)(suppliers.UpdatePriceOutlook(t.Context(), &pb.UpdatePriceOutlookRequest{Outlook: outlook}))
	again := must[*pb.PriceOutlook](t)(suppliers.UpdatePriceOutlook(t.Context(), &pb.UpdatePriceOutlookRequest{Outlook: kept}))
	if kept.GetEtag() == again.GetEtag() || !proto.Equal(kept.GetWeeks()[0], outlook.GetWeeks()[0]) {
		t.Errorf("%v, then %v", kept, again)
	}
	list := must[*pb.ListPriceOutlooksResponse](t)(suppliers.ListPriceOutlooks(t.Context(), &pb.ListPriceOutlooksRequest{Parent: "suppliers/-/offers/-", Filter: `material = "materials/secret-drier"`}))
	if len(list.GetOutlooks()) != 1 || !proto.Equal(list.GetOutlooks()[0], again) {
		t.Errorf("%v", list)
	}
	if got := s.REST(app.Purchasing, "PUT", "/v1/suppliers/quellmark/offers/drier/outlook", `{"weeks": []}`); got.Status != http.StatusOK {
		t.Errorf("cleared over REST: %s", got.Raw)
	}
	put := func(role app.Role, change func(*pb.PriceOutlook)) func(context.Context) error {
		return func(ctx context.Context) error {
			o := proto.Clone(outlook).(*pb.PriceOutlook)
			change(o)
			_, err := pb.NewSupplierServiceClient(s.As(role)).UpdatePriceOutlook(ctx, &pb.UpdatePriceOutlookRequest{Outlook: o})
			return err
		}
	}
	refuse(t, []bad{
		{"order desk", codes.PermissionDenied, "", put(app.OrderDesk, func(*pb.PriceOutlook) {})},
		{"ink maker", codes.PermissionDenied, "", put(app.InkMaker, func(*pb.PriceOutlook) {})},
		{"a Tuesday", codes.InvalidArgument, "give the Monday of the week, 2026-11-16", put(app.Purchasing, func(o *pb.PriceOutlook) { o.Weeks[0].WeekDate = "2026-11-17" })},
		{"not ascending", codes.InvalidArgument, "weeks[1]", put(app.Purchasing, func(o *pb.PriceOutlook) { o.Weeks[1].WeekDate = "2026-11-09" })},
		{"nothing", codes.InvalidArgument, "above zero", put(app.Purchasing, func(o *pb.PriceOutlook) { o.Weeks[0].PricePerKg = eur(0, 0) })},
		{"two currencies", codes.InvalidArgument, "weeks[1].price_per_kg", put(app.Purchasing, func(o *pb.PriceOutlook) { o.Weeks[1].PricePerKg.CurrencyCode = "USD" })},
		{"other currency", codes.InvalidArgument, "give its prices in EUR", put(app.Purchasing, func(o *pb.PriceOutlook) {
			o.Weeks = o.Weeks[:1]
			o.Weeks[0].PricePerKg.CurrencyCode = "USD"
		})},
		{"no offer", codes.NotFound, "nothing", put(app.Purchasing, func(o *pb.PriceOutlook) { o.Name = "suppliers/quellmark/offers/nothing/outlook" })},
		{"stale", codes.Aborted, "", put(app.Purchasing, func(o *pb.PriceOutlook) { o.Etag = kept.GetEtag() })},
		{"history of no supplier", codes.InvalidArgument, "suppliers/-/offers/-", func(ctx context.Context) error {
			_, err := suppliers.ListPriceHistory(ctx, &pb.ListPriceHistoryRequest{Parent: "suppliers/-/offers/drier"})
			return err
		}},
	})
}
