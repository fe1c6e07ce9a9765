package rpc

import (
	"context"
	"fmt"

	pb "millbase/proto/millbase/v1"

	"millbase/costing/purchase"
	"millbase/server/app"
)

// supplierService serves suppliers and their offers.
type supplierService struct {
	pb.UnimplementedSupplierServiceServer
	book *app.Book
}

func (s *supplierService) CreateSupplier(ctx context.Context, req *pb.CreateSupplierRequest) (*pb.Supplier, error) {
	request, err := requestOf("CreateSupplier", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	rec, err := s.book.CreateSupplier(ctx, supplierOf(req.GetSupplierId(), req.GetSupplier()), request)
	return supplierOut(rec), err
}

func (s *supplierService) GetSupplier(ctx context.Context, req *pb.GetSupplierRequest) (*pb.Supplier, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), suppliers)
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.Supplier(ctx, id)
	return supplierOut(rec), err
}

var supplierFilter = filterFields{"archived": flagField, "currency": textField, "currency_code": textField.as("currency")}

func (s *supplierService) ListSuppliers(ctx context.Context, req *pb.ListSuppliersRequest) (*pb.ListSuppliersResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), suppliers, req.GetFilter())
	if err != nil {
		return nil, err
	}
	where, err := supplierFilter.conditions(req.GetFilter())
	if err != nil {
		return nil, err
	}
	recs, err := s.book.Suppliers(ctx, p.query(where))
	if err != nil {
		return nil, err
	}
	recs, next := cut(p, recs, func(r app.Record[purchase.Supplier]) string { return r.Value.ID })
	return &pb.ListSuppliersResponse{Suppliers: each(recs, supplierOut), NextPageToken: next}, nil
}

func (s *supplierService) UpdateSupplier(ctx context.Context, req *pb.UpdateSupplierRequest) (*pb.Supplier, error) {
	patch := req.GetSupplier()
	f := &fields{}
	id := f.id("supplier.name", patch.GetName(), suppliers)
	version := f.etag("supplier.etag", patch.GetEtag())
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.UpdateSupplier(ctx, id, version, func(now app.Record[purchase.Supplier]) (purchase.Supplier, error) {
		merged := supplierOut(now)
		if err := applyMask("supplier", req.GetUpdateMask(), merged, patch); err != nil {
			return purchase.Supplier{}, err
		}
		return supplierOf(id, merged), nil
	})
	return supplierOut(rec), err
}

func supplierOf(id string, s *pb.Supplier) purchase.Supplier {
	return purchase.Supplier{ID: id, Title: s.GetTitle(), Currency: s.GetCurrencyCode(), LeadTimeDays: int(s.GetLeadTimeDays()), Contact: s.GetContact(), Archived: s.GetArchived()}
}

func supplierOut(r app.Record[purchase.Supplier]) *pb.Supplier {
	s := r.Value
	return &pb.Supplier{
		Name: nameOf(suppliers, s.ID), Title: s.Title, CurrencyCode: s.Currency, LeadTimeDays: int32(s.LeadTimeDays), Contact: s.Contact,
		Archived: s.Archived, Etag: etagOut(r.Version), CreateTime: momentOut(r.CreatedAt), UpdateTime: momentOut(r.UpdatedAt),
	}
}

func (s *supplierService) CreateOffer(ctx context.Context, req *pb.CreateOfferRequest) (*pb.Offer, error) {
	request, err := requestOf("CreateOffer", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	f := &fields{}
	o := offerOf(f, f.id("parent", req.GetParent(), suppliers), req.GetOfferId(), req.GetOffer())
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.CreateOffer(ctx, o, request)
	return offerOut(rec), err
}

func (s *supplierService) GetOffer(ctx context.Context, req *pb.GetOfferRequest) (*pb.Offer, error) {
	f := &fields{}
	supplier, id := f.child("name", req.GetName(), suppliers, "offers")
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.Offer(ctx, supplier, id)
	return offerOut(rec), err
}

var offerFilter = filterFields{"material": nameField(materials)}

// offersAsked reads the page and the filter of a list of offers, or of what hangs on
// them.
func offersAsked(req interface {
	GetPageSize() int32
	GetPageToken() string
	GetParent() string
	GetFilter() string
}) (p page, q app.Query, err error) {
	if p, err = readPage(req.GetPageSize(), req.GetPageToken(), req.GetParent(), req.GetFilter()); err != nil {
		return p, q, err
	}
	where, err := offerFilter.conditions(req.GetFilter())
	return p, p.query(where), err
}

func (s *supplierService) ListOffers(ctx context.Context, req *pb.ListOffersRequest) (*pb.ListOffersResponse, error) {
	p, q, err := offersAsked(req)
	if err != nil {
		return nil, err
	}
	f := &fields{}
	supplier := f.id("parent", req.GetParent(), suppliers)
	if err := f.err(); err != nil {
		return nil, err
	}
	if supplier == "-" {
		supplier = ""
	}
	recs, err := s.book.Offers(ctx, supplier, q)
	if err != nil {
		return nil, err
	}
	recs, next := cut(p, recs, func(r app.Record[purchase.Offer]) string { return app.OfferID(r.Value.Supplier, r.Value.ID) })
	return &pb.ListOffersResponse{Offers: each(recs, offerOut), NextPageToken: next}, nil
}

func (s *supplierService) UpdateOffer(ctx context.Context, req *pb.UpdateOfferRequest) (*pb.Offer, error) {
	patch := req.GetOffer()
	f := &fields{}
	supplier, id := f.child("offer.name", patch.GetName(), suppliers, "offers")
	version := f.etag("offer.etag", patch.GetEtag())
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.UpdateOffer(ctx, supplier, id, version, func(now app.Record[purchase.Offer]) (purchase.Offer, error) {
		merged := offerOut(now)
		if err := applyMask("offer", req.GetUpdateMask(), merged, patch); err != nil {
			return purchase.Offer{}, err
		}
		f := &fields{}
		o := offerOf(f, supplier, id, merged)
		return o, f.err()
	})
	return offerOut(rec), err
}

// offerOf reads an offer. Its currency is that of the first price; all other
// amounts must be in it.
func offerOf(f *fields, supplier, id string, o *pb.Offer) purchase.Offer {
	out := purchase.Offer{
		ID: id, Supplier: supplier, Material: f.id("offer.material", o.GetMaterial(), materials),
		PackSize: f.mass("offer.pack_size_kg", o.GetPackSizeKg()), MinimumOrder: f.mass("offer.minimum_order_kg", o.GetMinimumOrderKg()),
		LeadTimeDays: int(o.GetLeadTimeDays()), DutyPercent: f.decimal("offer.duty_percent", o.GetDutyPercent()),
		ValidFrom: f.date("offer.valid_from_date", o.GetValidFromDate()), ValidUntil: f.date("offer.valid_until_date", o.GetValidUntilDate()),
	}
	for i, b := range o.GetPriceBreaks() {
		field := fmt.Sprintf("offer.price_breaks[%d]", i)
		price := f.price(field+".price_per_kg", b.GetPricePerKg(), out.Currency)
		if i == 0 {
			out.Currency = b.GetPricePerKg().GetCurrencyCode()
		}
		out.Breaks = append(out.Breaks, purchase.Break{From: f.mass(field+".from_kg", b.GetFromKg()), PricePerKg: price})
	}
	out.FreightPerKg = f.price("offer.freight_per_kg", o.GetFreightPerKg(), out.Currency)
	return out
}

func offerOut(r app.Record[purchase.Offer]) *pb.Offer {
	o := r.Value
	out := &pb.Offer{
		Name: nameOf(suppliers, o.Supplier) + "/offers/" + o.ID, Material: nameOf(materials, o.Material),
		PackSizeKg: kg(o.PackSize), MinimumOrderKg: kg(o.MinimumOrder), LeadTimeDays: int32(o.LeadTimeDays),
		FreightPerKg: amountOut(o.Currency, o.FreightPerKg), DutyPercent: decimalOut(o.DutyPercent),
		ValidFromDate: dateOut(o.ValidFrom), ValidUntilDate: dateOut(o.ValidUntil),
		Etag: etagOut(r.Version), CreateTime: momentOut(r.CreatedAt), UpdateTime: momentOut(r.UpdatedAt),
	}
	out.PriceBreaks = breaksOut(o)
	return out
}

func breaksOut(o purchase.Offer) []*pb.PriceBreak {
	return each(o.Breaks, func(b purchase.Break) *pb.PriceBreak {
		return &pb.PriceBreak{FromKg: kg(b.From), PricePerKg: amountOut(o.Currency, b.PricePerKg)}
	})
}
