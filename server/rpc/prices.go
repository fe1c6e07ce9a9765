package rpc

import (
	"context"
	"strings"

	pb "millbase/proto/millbase/v1"

	"millbase/costing/purchase"
	"millbase/server/app"
)

// offerScope reads "suppliers/a/offers/b", with "-" for all.
func (f *fields) offerScope(field, name string) app.OfferScope {
	supplier, offer := f.child(field, name, suppliers, "offers")
	if supplier == "-" && offer != "-" && f.err() == nil {
		f.add(field, "an offer belongs to a supplier; name it, or write suppliers/-/offers/- for all")
	}
	all := func(id string) string {
		if id == "-" {
			return ""
		}
		return id
	}
	return app.OfferScope{Supplier: all(supplier), Offer: all(offer)}
}

func (s *supplierService) ListPriceHistory(ctx context.Context, req *pb.ListPriceHistoryRequest) (*pb.ListPriceHistoryResponse, error) {
	p, q, err := offersAsked(req)
	if err != nil {
		return nil, err
	}
	f := &fields{}
	of := f.offerScope("parent", req.GetParent())
	if err := f.err(); err != nil {
		return nil, err
	}
	recs, err := s.book.PriceHistory(ctx, of, q)
	if err != nil {
		return nil, err
	}
	recs, next := cut(p, recs, func(r app.Record[purchase.PriceRecord]) string { return app.PriceRecordID(r.Value) })
	return &pb.ListPriceHistoryResponse{NextPageToken: next, Prices: each(recs, func(r app.Record[purchase.PriceRecord]) *pb.PriceRecord {
		o := r.Value.Offer
		out := &pb.PriceRecord{Offer: offerName(o.Supplier, o.ID), Material: nameOf(materials, o.Material), EnterTime: momentOut(r.CreatedAt),
			FreightPerKg: amountOut(o.Currency, o.FreightPerKg), DutyPercent: decimalOut(o.DutyPercent), ValidFromDate: dateOut(o.ValidFrom), ValidUntilDate: dateOut(o.ValidUntil)}
		out.PriceBreaks = breaksOut(o)
		return out
	})}, nil
}

func (s *supplierService) ListPriceOutlooks(ctx context.Context, req *pb.ListPriceOutlooksRequest) (*pb.ListPriceOutlooksResponse, error) {
	p, q, err := offersAsked(req)
	if err != nil {
		return nil, err
	}
	f := &fields{}
	of := f.offerScope("parent", req.GetParent())
	if err := f.err(); err != nil {
		return nil, err
	}
	recs, err := s.book.PriceOutlooks(ctx, of, q)
	if err != nil {
		return nil, err
	}
	recs, next := cut(p, recs, func(r app.Record[purchase.Outlook]) string { return app.OfferID(r.Value.Supplier, r.Value.Offer) })
	return &pb.ListPriceOutlooksResponse{NextPageToken: next, Outlooks: each(recs, outlookOut)}, nil
}

func (s *supplierService) UpdatePriceOutlook(ctx context.Context, req *pb.UpdatePriceOutlookRequest) (*pb.PriceOutlook, error) {
	m := req.GetOutlook()
	f := &fields{}
	version := f.etag("outlook.etag", m.GetEtag())
	o := purchase.Outlook{Note: m.GetNote()}
	o.Supplier, o.Offer = f.child("outlook.name", strings.TrimSuffix(m.GetName(), "/outlook"), suppliers, "offers")
	for i, w := range m.GetWeeks() {
		at := element("outlook.weeks", i)
		if i == 0 {
			o.Currency = w.GetPricePerKg().GetCurrencyCode()
		}
		o.Weeks = append(o.Weeks, purchase.Expected{Week: f.needDate(at+".week_date", w.GetWeekDate()), PricePerKg: f.price(at+".price_per_kg", w.GetPricePerKg(), o.Currency)})
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.PutPriceOutlook(ctx, o, version)
	if err != nil {
		return nil, err
	}
	return outlookOut(rec), nil
}

func outlookOut(r app.Record[purchase.Outlook]) *pb.PriceOutlook {
	o := r.Value
	return &pb.PriceOutlook{Name: offerName(o.Supplier, o.Offer) + "/outlook", Note: o.Note, Etag: etagOut(r.Version), CreateTime: momentOut(r.CreatedAt), UpdateTime: momentOut(r.UpdatedAt),
		Weeks: each(o.Weeks, func(e purchase.Expected) *pb.ExpectedPrice {
			return &pb.ExpectedPrice{WeekDate: dateOut(e.Week), PricePerKg: amountOut(o.Currency, e.PricePerKg)}
		})}
}
