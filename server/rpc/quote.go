package rpc

import (
	"context"
	"slices"

	"millbase/costing/money"
	"millbase/inventory/mass"
	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// QuoteServer serves quotes.
type QuoteServer struct {
	millbasev1.UnimplementedQuoteServiceServer
	book *app.Book
}

// NewQuoteServer serves the book's quotes.
func NewQuoteServer(book *app.Book) *QuoteServer { return &QuoteServer{book: book} }

var quoteFilter = filterFields{
	"customer": textField, "formula": nameField(formulas),
	"state": textField,
}

// CreateQuote implements the service.
func (s *QuoteServer) CreateQuote(ctx context.Context, req *millbasev1.CreateQuoteRequest) (*millbasev1.Quote, error) {
	in, err := quoteRequestOf(req.GetQuote())
	if err != nil {
		return nil, err
	}
	in.ID = req.GetQuoteId()
	request, err := requestOf("CreateQuote", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	q, err := s.book.CreateQuote(ctx, in, request)
	return quoteAnswer(q, quoteFields(err, req.GetQuote().GetShade().GetMatch()))
}

// quoteRequestOf reads the terms of a quote.
func quoteRequestOf(m *millbasev1.Quote) (app.QuoteRequest, error) {
	f := &fields{}
	in := app.QuoteRequest{
		Customer: m.GetCustomer(), Title: m.GetTitle(),
		Basis: f.basis("quote.cost_basis", m.GetCostBasis()), Currency: m.GetCurrencyCode(),
		ValidUntil: f.needDate("quote.valid_until_date", m.GetValidUntilDate()), Pack: m.GetPack(), WithLaboratory: m.GetWithLaboratoryCharge(),
		Minimum: f.money("quote.minimum_charge", m.GetMinimumCharge()),
	}
	in.FullBatches, in.Sequence = m.GetWithFullBatches(), app.Sequence{Lightness: m.Lightness, After: m.AfterLightness}
	if m.GetTargetPricePerKg() != nil {
		in.Target = money.PerKg(f.money("quote.target_price_per_kg", m.GetTargetPricePerKg()))
	}
	if m.GetFormula() != "" {
		in.Formula = f.id("quote.formula", m.GetFormula(), formulas)
	}
	for i, q := range m.GetQuantitiesKg() {
		in.Quantities = append(in.Quantities, f.positive(element("quote.quantities_kg", i), q))
	}
	if m.GetMarginPercent() != "" {
		margin := f.decimal("quote.margin_percent", m.GetMarginPercent())
		in.Margin = &margin
	}
	in.Shade = f.quoteShade("quote.shade", m.GetShade(), m.GetQuantitiesKg())
	return in, f.err()
}

// ReviseQuote implements the service.
func (s *QuoteServer) ReviseQuote(ctx context.Context, req *millbasev1.ReviseQuoteRequest) (*millbasev1.Quote, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), quotes)
	patch := req.GetQuote()
	version := f.etag("quote.etag", patch.GetEtag())
	if patch.GetName() != "" && patch.GetName() != req.GetName() {
		f.add("quote.name", "it is %.80q and the quote to revise %s; leave it out.", patch.GetName(), req.GetName())
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	request, err := requestOf("ReviseQuote", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	var asked *millbasev1.MatchShadeRequest
	change := func(now app.Quote) (app.QuoteRequest, error) {
		merged := quoteOut(now)
		if patch.GetCustomer() != "" && patch.GetCustomer() != now.Customer {
			return app.QuoteRequest{}, app.InvalidField("quote.customer", "it stays %s; make a new quote for another customer.", now.Customer)
		}
		if patch == nil {
			patch = &millbasev1.Quote{}
		}
		if err := applyMask("quote", req.GetUpdateMask(), merged, patch); err != nil {
			return app.QuoteRequest{}, err
		}
		ask := merged.GetShade().GetMatch()
		if ask != nil && !slices.Contains(merged.GetQuantitiesKg(), ask.GetQuantityKg()) {
			ask.QuantityKg = 0 // the quantity that it was matched for is no longer quoted
		}
		asked = ask
		r, err := quoteRequestOf(merged)
		if r.Shade != nil && patch.GetShade() == nil && !req.GetMatchAgain() {
			r.Shade.Found = now.Again()
		}
		return r, err
	}
	q, err := s.book.ReviseQuote(ctx, id, version, change, request)
	return quoteAnswer(q, quoteFields(err, asked))
}

// GetQuote implements the service.
func (s *QuoteServer) GetQuote(ctx context.Context, req *millbasev1.GetQuoteRequest) (*millbasev1.Quote, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), quotes)
	if err := f.err(); err != nil {
		return nil, err
	}
	return quoteAnswer(s.book.GetQuote(ctx, id))
}

// ListQuotes implements the service.
func (s *QuoteServer) ListQuotes(ctx context.Context, req *millbasev1.ListQuotesRequest) (*millbasev1.ListQuotesResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), req.GetFilter())
	if err != nil {
		return nil, err
	}
	where, err := quoteFilter.conditions(req.GetFilter())
	if err != nil {
		return nil, err
	}
	list, err := s.book.ListQuotes(ctx, p.query(where))
	if err != nil {
		return nil, err
	}
	out := &millbasev1.ListQuotesResponse{}
	list, out.NextPageToken = cut(p, list, func(q app.Quote) string { return q.ID })
	out.Quotes = each(list, quoteOut)
	return out, nil
}

func quoteAnswer(q app.Quote, err error) (*millbasev1.Quote, error) {
	if err != nil {
		return nil, err
	}
	return quoteOut(q), nil
}

func quoteOut(q app.Quote) *millbasev1.Quote {
	out := &millbasev1.Quote{
		Name: nameOf(quotes, q.ID), Customer: q.Customer, Formula: nameOf(formulas, q.Formula), Title: q.Title, CostBasis: basisOut(q.Basis),
		MarginPercent: decimalOut(q.Margin), CurrencyCode: q.Currency, ValidUntilDate: dateOut(q.ValidUntil), Pack: q.Pack,
		MinimumCharge: moneyOut(q.Minimum), WithLaboratoryCharge: q.WithLaboratory, State: string(q.State), ExchangeRate: decimalOut(q.Rate),
		RateDate: dateOut(q.RateDate), Assumptions: q.Assumptions, CreateTime: momentOut(q.Created), Revision: int32(q.Revision),
		QuoteDate: dateOut(q.Made), SentDate: dateOut(q.Sent), Accepted: acceptedOut(q.Accepted), Etag: etagOut(q.Version),
		Components: each(q.Components, func(c app.QuoteComponent) *millbasev1.QuoteComponent {
			return &millbasev1.QuoteComponent{Material: nameOf(materials, c.Material), Lot: nameOf(lots, c.Lot), Title: c.Title, Share: fraction(c.PartsPerMillion)}
		}),
		Shade: quoteShadeOut(q.Shade), TargetPricePerKg: moneyOut(money.Money(q.Target)), WithFullBatches: q.FullBatches,
		Lightness: q.Sequence.Lightness, AfterLightness: q.Sequence.After, CappedByOffer: q.CappedBy,
	}
	for _, b := range q.Breaks {
		if !b.FullBatch {
			out.QuantitiesKg = append(out.QuantitiesKg, kg(b.Quantity))
		}
		out.Breaks = append(out.Breaks, quoteBreakOut(b))
	}
	return out
}

func quoteBreakOut(b app.QuoteBreak) *millbasev1.QuoteBreak {
	return &millbasev1.QuoteBreak{
		QuantityKg: kg(b.Quantity), PricePerKg: moneyOut(money.Money(b.Price)), Price: moneyOut(b.Total),
		CostPerKg: moneyOut(money.Money(b.CostKg)), Cost: moneyOut(b.Cost), Batches: int32(b.Batches), Lines: each(b.Lines, costLineOut),
		Margin: moneyOut(b.Margin), MarginPercent: decimalOut(b.MarginPercent), MinimumCharge: b.Minimum, Cans: each(b.Cans, cansOut),
		LeadTime: &millbasev1.QuoteLeadTime{Possible: b.Lead.Possible, Days: int32(b.Lead.Days), ReadyDate: dateOut(b.Lead.Ready),
			DecidedBy: enum[millbasev1.DecidedBy](string(b.Lead.DecidedBy)), Reason: b.Lead.Reason},
		FullBatch: b.FullBatch, ByBasis: each(b.ByBasis, basisCostOut),
	}
}

func cansOut(c app.QuoteCans) *millbasev1.QuoteCans {
	return &millbasev1.QuoteCans{Pack: c.Pack, Title: c.Title, Count: c.Count}
}

// massesOut writes a list of masses.
func massesOut(in []mass.Mass) []float64 { return each(in, kg) }
