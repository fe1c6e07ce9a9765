package rpc

import (
	"context"

	"millbase/costing/money"
	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// ListQuoteRevisions implements the service.
func (s *QuoteServer) ListQuoteRevisions(ctx context.Context, req *millbasev1.ListQuoteRevisionsRequest) (*millbasev1.ListQuoteRevisionsResponse, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), quotes)
	if err := f.err(); err != nil {
		return nil, err
	}
	list, err := s.book.ListQuoteRevisions(ctx, id)
	if err != nil {
		return nil, err
	}
	return &millbasev1.ListQuoteRevisionsResponse{Quotes: each(list, quoteOut)}, nil
}

// SendQuote implements the service.
func (s *QuoteServer) SendQuote(ctx context.Context, req *millbasev1.SendQuoteRequest) (*millbasev1.Quote, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), quotes)
	version := f.etag("etag", req.GetEtag())
	if err := f.err(); err != nil {
		return nil, err
	}
	return quoteAnswer(s.book.SendQuote(ctx, id, version))
}

// AcceptQuote implements the service.
func (s *QuoteServer) AcceptQuote(ctx context.Context, req *millbasev1.AcceptQuoteRequest) (*millbasev1.AcceptedQuote, error) {
	f := &fields{}
	in := app.AcceptRequest{
		Quote:    f.id("name", req.GetName(), quotes),
		Quantity: f.positive("quantity_kg", req.GetQuantityKg()),
		Batch:    req.GetBatchId(),
		Due:      f.date("due_date", req.GetDueDate()),
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	request, err := requestOf("AcceptQuote", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	a, err := s.book.AcceptQuote(ctx, in, request)
	if err != nil {
		return nil, err
	}
	return acceptedOut(&a), nil
}

func acceptedOut(a *app.Acceptance) *millbasev1.AcceptedQuote {
	if a == nil {
		return nil
	}
	return &millbasev1.AcceptedQuote{Quote: nameOf(quotes, a.Quote), QuantityKg: kg(a.Quantity), PricePerKg: moneyOut(money.Money(a.Price)),
		Price: moneyOut(a.Total), Batch: nameOf(batches, a.Batch), DueDate: dateOut(a.Due), AcceptedDate: dateOut(a.Date)}
}

// CompareQuoteRevisions implements the service.
func (s *QuoteServer) CompareQuoteRevisions(ctx context.Context, req *millbasev1.CompareQuoteRevisionsRequest) (*millbasev1.QuoteComparison, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), quotes)
	if err := f.err(); err != nil {
		return nil, err
	}
	c, err := s.book.CompareQuote(ctx, id, int(req.GetFromRevision()), int(req.GetToRevision()))
	if err != nil {
		return nil, err
	}
	return &millbasev1.QuoteComparison{
		FromQuote: nameOf(quotes, c.From), ToQuote: nameOf(quotes, c.To), CurrencyCode: c.Currency,
		OnlyFromKg: massesOut(c.OnlyFrom), OnlyToKg: massesOut(c.OnlyTo),
		Terms: each(c.Terms, func(t app.TermChange) *millbasev1.QuoteTermChange {
			return &millbasev1.QuoteTermChange{Term: t.Term, Before: t.Before, After: t.After}
		}),
		Quantities: each(c.Quantities, func(q app.QuantityComparison) *millbasev1.QuoteQuantityComparison {
			return &millbasev1.QuoteQuantityComparison{QuantityKg: kg(q.Quantity), Before: moneyOut(q.Before), After: moneyOut(q.After),
				Difference: moneyOut(q.Difference), Lines: each(q.Lines, lineChangeOut)}
		}),
	}, nil
}

func lineChangeOut(l app.LineChange) *millbasev1.QuoteLineChange {
	return &millbasev1.QuoteLineChange{Kind: enum[millbasev1.QuoteLineChange_Kind](string(l.Kind)), Title: l.Title, Level: int32(l.Level),
		Before: moneyOut(l.Before), After: moneyOut(l.After), Difference: moneyOut(l.Difference), What: l.What}
}

// RebuildQuote implements the service.
func (s *QuoteServer) RebuildQuote(ctx context.Context, req *millbasev1.RebuildQuoteRequest) (*millbasev1.RebuiltQuote, error) {
	f := &fields{}
	name := f.id("name", req.GetName(), quotes)
	if err := f.err(); err != nil {
		return nil, err
	}
	r, err := s.book.RebuildQuote(ctx, name)
	if err != nil {
		return nil, err
	}
	return &millbasev1.RebuiltQuote{Quote: nameOf(quotes, r.Quote), Same: len(r.Differences) == 0, SnapshotFormat: int32(r.Format),
		Differences: each(r.Differences, func(d app.QuoteDifference) *millbasev1.QuoteDifference {
			return &millbasev1.QuoteDifference{QuantityKg: kg(d.Quantity), What: d.What, Kept: d.Kept, Rebuilt: d.Rebuilt}
		})}, nil
}

// GetCustomerQuote implements the service.
func (s *QuoteServer) GetCustomerQuote(ctx context.Context, req *millbasev1.GetCustomerQuoteRequest) (*millbasev1.CustomerQuote, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), quotes)
	if err := f.err(); err != nil {
		return nil, err
	}
	q, err := s.book.GetCustomerQuote(ctx, id)
	if err != nil {
		return nil, err
	}
	return customerQuoteOut(q), nil
}

var customerQuoteFilter = filterFields{"customer": textField, "state": textField}

// ListCustomerQuotes implements the service.
func (s *QuoteServer) ListCustomerQuotes(ctx context.Context, req *millbasev1.ListCustomerQuotesRequest) (*millbasev1.ListCustomerQuotesResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), req.GetFilter())
	if err != nil {
		return nil, err
	}
	where, err := customerQuoteFilter.conditions(req.GetFilter())
	if err != nil {
		return nil, err
	}
	list, err := s.book.ListCustomerQuotes(ctx, p.query(where))
	if err != nil {
		return nil, err
	}
	out := &millbasev1.ListCustomerQuotesResponse{}
	list, out.NextPageToken = cut(p, list, func(q app.CustomerQuote) string { return q.ID })
	out.Quotes = each(list, customerQuoteOut)
	return out, nil
}

func customerQuoteOut(q app.CustomerQuote) *millbasev1.CustomerQuote {
	out := &millbasev1.CustomerQuote{
		Name: nameOf(quotes, q.ID), Revision: int32(q.Revision), PlantTitle: q.Plant, Customer: q.Customer, Title: q.Title, State: string(q.State),
		QuoteDate: dateOut(q.Made), ValidUntilDate: dateOut(q.ValidUntil), CurrencyCode: q.Currency, RateDate: dateOut(q.RateDate),
		Cautions: q.Cautions, Accepted: acceptedOut(q.Accepted),
		Prices: each(q.Prices, func(p app.CustomerPrice) *millbasev1.CustomerPrice {
			out := &millbasev1.CustomerPrice{QuantityKg: kg(p.Quantity), PricePerKg: moneyOut(money.Money(p.Price)), Price: moneyOut(p.Total),
				MinimumCharge: p.Minimum, Cans: each(p.Cans, cansOut)}
			if p.LeadDays >= 0 {
				days := int32(p.LeadDays)
				out.LeadTimeDays = &days
			}
			return out
		}),
	}
	if q.Shade != nil {
		out.Shade = &millbasev1.CustomerShade{InWords: q.Shade.InWords, Lights: each(q.Shade.Lights, seenShadeOut)}
	}
	return out
}
