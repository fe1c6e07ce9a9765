package rpc

import (
	"context"

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
	f := &fields{}
	m := req.GetQuote()
	in := app.QuoteRequest{
		ID: req.GetQuoteId(), Customer: m.GetCustomer(), Formula: f.id("quote.formula", m.GetFormula(), formulas), Title: m.GetTitle(),
		Basis: f.basis("quote.cost_basis", m.GetCostBasis()), Currency: m.GetCurrencyCode(),
		ValidUntil: f.needDate("quote.valid_until_date", m.GetValidUntilDate()), Pack: m.GetPack(), WithLaboratory: m.GetWithLaboratoryCharge(),
		Minimum: f.money("quote.minimum_charge", m.GetMinimumCharge()),
	}
	for i, q := range m.GetQuantitiesKg() {
		in.Quantities = append(in.Quantities, f.positive(element("quote.quantities_kg", i), q))
	}
	if m.GetMarginPercent() != "" {
		margin := f.decimal("quote.margin_percent", m.GetMarginPercent())
		in.Margin = &margin
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	request, err := requestOf("CreateQuote", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	return quoteAnswer(s.book.CreateQuote(ctx, in, request))
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
	return &millbasev1.CustomerQuote{
		Name: nameOf(quotes, q.ID), Customer: q.Customer, Title: q.Title, ValidUntilDate: dateOut(q.ValidUntil),
		Prices: each(q.Prices, func(p app.CustomerPrice) *millbasev1.CustomerPrice {
			return &millbasev1.CustomerPrice{QuantityKg: kg(p.Quantity), PricePerKg: moneyOut(money.Money(p.Price)), Price: moneyOut(p.Total)}
		}),
	}, nil
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
		MinimumCharge: moneyOut(q.Minimum), WithLaboratoryCharge: q.WithLaboratory, State: q.State, ExchangeRate: decimalOut(q.Rate),
		RateDate: dateOut(q.RateDate), Assumptions: q.Assumptions, CreateTime: momentOut(q.Created),
	}
	for _, b := range q.Breaks {
		out.QuantitiesKg = append(out.QuantitiesKg, kg(b.Quantity))
		out.Breaks = append(out.Breaks, &millbasev1.QuoteBreak{
			QuantityKg: kg(b.Quantity), PricePerKg: moneyOut(money.Money(b.Price)), Price: moneyOut(b.Total),
			CostPerKg: moneyOut(money.Money(b.CostKg)), Cost: moneyOut(b.Cost), Batches: int32(b.Batches), Lines: each(b.Lines, costLineOut),
		})
	}
	return out
}

// massesOut writes a list of masses.
func massesOut(in []mass.Mass) []float64 { return each(in, kg) }
