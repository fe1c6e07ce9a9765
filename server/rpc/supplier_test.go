package rpc_test

import (
	"testing"

	"github.com/google/uuid"
	moneypb "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

var moneyUSD = moneypb.Money{CurrencyCode: "USD", Units: 3}

func offer() *pb.CreateOfferRequest {
	return &pb.CreateOfferRequest{Parent: "suppliers/quellmark", OfferId: "blue", RequestId: uuid.NewString(), Offer: &pb.Offer{
		Material: "materials/blue", PackSizeKg: 25, MinimumOrderKg: 100, LeadTimeDays: 14, FreightPerKg: euro(0, 150_000_000), DutyPercent: "4.5",
		ValidFromDate: "2026-01-01", ValidUntilDate: "2027-12-31",
		PriceBreaks: []*pb.PriceBreak{{PricePerKg: euro(9, 0)}, {FromKg: 500, PricePerKg: euro(8, 400_000_000)}},
	}}
}

func TestSuppliersAndOffers(t *testing.T) {
	s := newStockroom(t)
	req := offer()
	made := good(s.suppliers(app.Purchasing).CreateOffer(t.Context(), req))(t)
	if made.GetName() != "suppliers/quellmark/offers/blue" || len(made.GetPriceBreaks()) != 2 || made.GetDutyPercent() != "4.5" || made.GetValidUntilDate() != "2027-12-31" {
		t.Errorf("made: %v", made)
	}
	if again := good(s.suppliers(app.Purchasing).CreateOffer(t.Context(), req))(t); !proto.Equal(made, again) {
		t.Errorf("again: %v", again)
	}
	if read := good(s.suppliers(app.InkMaker).GetOffer(t.Context(), &pb.GetOfferRequest{Name: made.GetName()}))(t); !proto.Equal(made, read) {
		t.Errorf("read: %v", read)
	}
	for _, parent := range []string{"suppliers/quellmark", "suppliers/-"} {
		list := good(s.suppliers(app.Purchasing).ListOffers(t.Context(), &pb.ListOffersRequest{Parent: parent, Filter: `material = "materials/blue"`}))(t)
		if len(list.GetOffers()) != 1 || !proto.Equal(list.GetOffers()[0], made) {
			t.Errorf("offers of %s: %v", parent, list)
		}
	}
	_, err := s.suppliers(app.Purchasing).ListOffers(t.Context(), &pb.ListOffersRequest{Parent: "suppliers/none"})
	refusal{codes.NotFound, "none"}.check(t, "offers of an unknown supplier", err)
	changed := good(s.suppliers(app.Purchasing).UpdateOffer(t.Context(), &pb.UpdateOfferRequest{
		Offer:      &pb.Offer{Name: made.GetName(), MinimumOrderKg: 200, Etag: "v1"},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"minimum_order_kg", "valid_until_date"}}}))(t)
	if changed.GetMinimumOrderKg() != 200 || changed.GetValidUntilDate() != "" || changed.GetPackSizeKg() != 25 || changed.GetEtag() != "v2" {
		t.Errorf("changed: %v", changed)
	}
	_, err = s.suppliers(app.Purchasing).UpdateOffer(t.Context(), &pb.UpdateOfferRequest{Offer: &pb.Offer{Name: made.GetName(), PackSizeKg: 1, Etag: "v1"}})
	refusal{codes.Aborted, "read it again"}.check(t, "a stale etag", err)
	list := good(s.suppliers(app.Quality).ListSuppliers(t.Context(), &pb.ListSuppliersRequest{Filter: "archived = false AND currency = EUR"}))(t)
	if len(list.GetSuppliers()) != 1 || list.GetSuppliers()[0].GetTitle() != "Quellmark" {
		t.Errorf("suppliers: %v", list)
	}
	_, err = s.suppliers(app.InkMaker).CreateSupplier(t.Context(), &pb.CreateSupplierRequest{SupplierId: "x", Supplier: &pb.Supplier{Title: "X", CurrencyCode: "EUR"}})
	refusal{codes.PermissionDenied, "role ink maker"}.check(t, "an ink maker", err)
	_, err = s.suppliers(app.Purchasing).CreateSupplier(t.Context(), &pb.CreateSupplierRequest{SupplierId: "x", Supplier: &pb.Supplier{Title: "X", CurrencyCode: "euro"}})
	refusal{codes.InvalidArgument, "ISO 4217"}.check(t, "a bad currency", err)
}

func TestOffersThatAreRefused(t *testing.T) {
	s := newStockroom(t)
	for name, c := range map[string]struct {
		change func(r *pb.CreateOfferRequest)
		want   refusal
	}{
		"an unknown supplier":  {func(r *pb.CreateOfferRequest) { r.Parent = "suppliers/none" }, refusal{codes.NotFound, "none"}},
		"an unknown material":  {func(r *pb.CreateOfferRequest) { r.Offer.Material = "materials/none" }, refusal{codes.InvalidArgument, "materials/none"}},
		"no price":             {func(r *pb.CreateOfferRequest) { r.Offer.PriceBreaks = nil }, refusal{codes.InvalidArgument, "price_breaks"}},
		"a price of nothing":   {func(r *pb.CreateOfferRequest) { r.Offer.PriceBreaks[1].PricePerKg = euro(0, 0) }, refusal{codes.InvalidArgument, "price_breaks[1].price_per_kg"}},
		"not from zero":        {func(r *pb.CreateOfferRequest) { r.Offer.PriceBreaks[0].FromKg = 5 }, refusal{codes.InvalidArgument, "price_breaks[0].from_kg"}},
		"breaks that descend":  {func(r *pb.CreateOfferRequest) { r.Offer.PriceBreaks[1].FromKg = 0 }, refusal{codes.InvalidArgument, "above that of the break before"}},
		"two currencies":       {func(r *pb.CreateOfferRequest) { r.Offer.PriceBreaks[1].PricePerKg = &moneyUSD }, refusal{codes.InvalidArgument, "EUR"}},
		"freight in dollars":   {func(r *pb.CreateOfferRequest) { r.Offer.FreightPerKg = &moneyUSD }, refusal{codes.InvalidArgument, "freight_per_kg"}},
		"duty in words":        {func(r *pb.CreateOfferRequest) { r.Offer.DutyPercent = "four" }, refusal{codes.InvalidArgument, "duty_percent"}},
		"30 February":          {func(r *pb.CreateOfferRequest) { r.Offer.ValidFromDate = "2026-02-30" }, refusal{codes.InvalidArgument, "valid_from_date"}},
		"ends before it opens": {func(r *pb.CreateOfferRequest) { r.Offer.ValidUntilDate = "2025-12-31" }, refusal{codes.InvalidArgument, "valid_until_date"}},
		"a pack of 1e300 kg":   {func(r *pb.CreateOfferRequest) { r.Offer.PackSizeKg = 1e300 }, refusal{codes.InvalidArgument, "pack_size_kg"}},
		"packs too fine":       {func(r *pb.CreateOfferRequest) { r.Offer.PackSizeKg = 1e-7 }, refusal{codes.InvalidArgument, "milligram"}},
	} {
		req := offer()
		c.change(req)
		_, err := s.suppliers(app.Purchasing).CreateOffer(t.Context(), req)
		c.want.check(t, name, err)
	}
	_, err := s.suppliers(app.Quality).ListOffers(t.Context(), &pb.ListOffersRequest{Parent: "suppliers/-"})
	refusal{codes.PermissionDenied, "role quality"}.check(t, "quality", err)
}
