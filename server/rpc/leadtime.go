package rpc

import (
	"context"

	"millbase/costing/money"
	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// LeadTimeServer serves lead times. Its answers hold only what the use case has
// made fit for the caller's role.
type LeadTimeServer struct {
	millbasev1.UnimplementedLeadTimeServiceServer
	book *app.Book
}

// NewLeadTimeServer serves the book's lead times.
func NewLeadTimeServer(book *app.Book) *LeadTimeServer { return &LeadTimeServer{book: book} }

// GetLeadTime implements the service.
func (s *LeadTimeServer) GetLeadTime(ctx context.Context, req *millbasev1.GetLeadTimeRequest) (*millbasev1.LeadTime, error) {
	f := &fields{}
	q := app.LeadTimeQuery{
		Material: f.id("material", req.GetMaterial(), materials),
		Quantity: f.positive("quantity_kg", req.GetQuantityKg()),
		From:     f.date("from_date", req.GetFromDate()),
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	l, err := s.book.LeadTime(ctx, q)
	if err != nil {
		return nil, err
	}
	return &millbasev1.LeadTime{
		Material: nameOf(materials, l.Material), QuantityKg: kg(l.Quantity), Possible: l.Possible, ReadyDate: dateOut(l.ReadyDate),
		ReadyTime: momentOut(l.Ready), DecidedBy: enum[millbasev1.DecidedBy](string(l.DecidedBy)), Reason: l.Reason,
		FromStockKg: kg(l.FromStock), ToMakeKg: kg(l.ToMake), PricePerKg: moneyOut(money.Money(l.Price)),
		Steps: each(l.Steps, func(s app.LeadTimeStep) *millbasev1.LeadTimeStep {
			return &millbasev1.LeadTimeStep{Title: s.Title, StartTime: momentOut(s.Start), EndTime: momentOut(s.End)}
		}),
	}, nil
}

// ListProducts implements the service.
func (s *LeadTimeServer) ListProducts(ctx context.Context, req *millbasev1.ListProductsRequest) (*millbasev1.ListProductsResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken())
	if err != nil {
		return nil, err
	}
	list, err := s.book.Products(ctx, p.query(nil))
	if err != nil {
		return nil, err
	}
	out := &millbasev1.ListProductsResponse{}
	list, out.NextPageToken = cut(p, list, func(x app.Product) string { return x.Material })
	out.Products = each(list, func(x app.Product) *millbasev1.Product {
		return &millbasev1.Product{Material: nameOf(materials, x.Material), Title: x.Title, InStockKg: kg(x.InStock)}
	})
	return out, nil
}
