package app

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/valuation"
	"millbase/inventory/mass"
)

// quoteBody is the form in which a quote is kept. Its names are part of the
// stored data: they never change their meaning.
type quoteBody struct {
	Title          string          `json:"title"`
	Basis          string          `json:"basis"`
	MarginPercent  decimal.Decimal `json:"margin_percent"`
	Currency       string          `json:"currency"`
	PlantCurrency  string          `json:"plant_currency"`
	Rate           decimal.Decimal `json:"rate"`
	RateDate       string          `json:"rate_date,omitempty"`
	Pack           string          `json:"pack,omitempty"`
	MinimumCharge  decimal.Decimal `json:"minimum_charge"`
	WithLaboratory bool            `json:"with_laboratory"`
	Breaks         []breakBody     `json:"breaks"`
	Assumptions    []string        `json:"assumptions"`
}

type breakBody struct {
	QuantityMg mass.Mass       `json:"quantity_mg"`
	PricePerKg decimal.Decimal `json:"price_per_kg"`
	Price      decimal.Decimal `json:"price"`
	CostPerKg  decimal.Decimal `json:"cost_per_kg"`
	Cost       decimal.Decimal `json:"cost"`
	Batches    int             `json:"batches"`
	Lines      []lineBody      `json:"lines"`
}

type lineBody struct {
	Kind       CostKind        `json:"kind"`
	Title      string          `json:"title"`
	Level      int             `json:"level,omitempty"`
	QuantityMg mass.Mass       `json:"quantity_mg,omitempty"`
	Seconds    int64           `json:"seconds,omitempty"`
	Rate       decimal.Decimal `json:"rate"`
	HasRate    bool            `json:"has_rate,omitempty"`
	Amount     decimal.Decimal `json:"amount"`
}

func bodyOf(q Quote) quoteBody {
	b := quoteBody{Title: q.Title, Basis: q.Basis.String(), MarginPercent: q.Margin, Currency: q.Currency, PlantCurrency: q.PlantCurrency,
		Rate: q.Rate, Pack: q.Pack, MinimumCharge: q.Minimum.Amount, WithLaboratory: q.WithLaboratory, Assumptions: q.Assumptions}
	if !q.RateDate.IsZero() {
		b.RateDate = q.RateDate.Format(time.DateOnly)
	}
	for _, k := range q.Breaks {
		brk := breakBody{k.Quantity, k.Price.Amount, k.Total.Amount, k.CostKg.Amount, k.Cost.Amount, k.Batches, nil}
		for _, l := range k.Lines {
			brk.Lines = append(brk.Lines, lineBody{l.Kind, l.Title, l.Level, l.Quantity, int64(l.Time / time.Second),
				l.Rate.Amount, l.Rate.Currency != "", l.Amount.Amount})
		}
		b.Breaks = append(b.Breaks, brk)
	}
	return b
}

// quoteOf reads a stored quote. One that was not accepted by its last day has
// lapsed, whatever the row says.
func quoteOf(rec Record[StoredQuote], today time.Time) (Quote, error) {
	v := rec.Value
	var b quoteBody
	if err := json.Unmarshal(v.Body, &b); err != nil {
		return Quote{}, fmt.Errorf("stored quote %s: %w", v.ID, err)
	}
	basis, err := valuation.ParseBasis(b.Basis)
	if err != nil {
		return Quote{}, fmt.Errorf("stored quote %s: %w", v.ID, err)
	}
	q := Quote{ID: v.ID, Customer: v.Customer, Formula: v.Formula, State: v.State, ValidUntil: v.ValidUntil, Title: b.Title, Basis: basis,
		Margin: b.MarginPercent, Currency: b.Currency, PlantCurrency: b.PlantCurrency, Rate: b.Rate, Pack: b.Pack,
		WithLaboratory: b.WithLaboratory, Assumptions: b.Assumptions, Created: rec.CreatedAt}
	if b.MinimumCharge.Sign() > 0 {
		q.Minimum = money.Money{Currency: b.Currency, Amount: b.MinimumCharge}
	}
	if b.RateDate != "" {
		if q.RateDate, err = time.Parse(time.DateOnly, b.RateDate); err != nil {
			return Quote{}, fmt.Errorf("stored quote %s: %w", v.ID, err)
		}
	}
	if (q.State == quoteDraft || q.State == "sent") && q.ValidUntil.Before(today) {
		q.State = "lapsed"
	}
	for _, k := range b.Breaks {
		brk := QuoteBreak{Quantity: k.QuantityMg, Batches: k.Batches,
			Price: money.PerKg{Currency: b.Currency, Amount: k.PricePerKg}, Total: money.Money{Currency: b.Currency, Amount: k.Price},
			CostKg: money.PerKg{Currency: b.PlantCurrency, Amount: k.CostPerKg}, Cost: money.Money{Currency: b.PlantCurrency, Amount: k.Cost}}
		for _, l := range k.Lines {
			line := CostLine{Kind: l.Kind, Title: l.Title, Level: l.Level, Quantity: l.QuantityMg, Time: time.Duration(l.Seconds) * time.Second,
				Amount: money.Money{Currency: b.PlantCurrency, Amount: l.Amount}}
			if l.HasRate {
				line.Rate = money.Money{Currency: b.PlantCurrency, Amount: l.Rate}
			}
			brk.Lines = append(brk.Lines, line)
		}
		q.Breaks = append(q.Breaks, brk)
	}
	return q, nil
}

// GetQuote reads a quote whole, as it was given.
func (b *Book) GetQuote(ctx context.Context, id string) (Quote, error) {
	var q Quote
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		q, err = b.readQuote(ctx, tx, id)
		return err
	})
	return q, err
}

func (b *Book) readQuote(ctx context.Context, tx Tx, id string) (Quote, error) {
	rec, err := tx.Quotes().Get(ctx, id)
	if err != nil {
		return Quote{}, absent(err, "quotes/"+id)
	}
	today, err := b.todayOf(ctx, tx)
	if err != nil {
		return Quote{}, err
	}
	return quoteOf(rec, today)
}

func (b *Book) todayOf(ctx context.Context, tx Tx) (time.Time, error) {
	plant, err := tx.Plant().Get(ctx)
	if err != nil {
		return time.Time{}, err
	}
	return b.today(plant.Value)
}

// ListQuotes lists quotes; conditions: customer, state, formula.
func (b *Book) ListQuotes(ctx context.Context, query Query) ([]Quote, error) {
	var out []Quote
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		out = nil
		today, err := b.todayOf(ctx, tx)
		if err != nil {
			return err
		}
		query.Where = lapsedByDate(query.Where, today)
		recs, err := tx.Quotes().List(ctx, query)
		if err != nil {
			return err
		}
		for _, rec := range recs {
			q, err := quoteOf(rec, today)
			if err != nil {
				return err
			}
			out = append(out, q)
		}
		return nil
	})
	return out, err
}

// lapsedByDate asks for the states as they are shown: an open quote lapses by
// its date, so a list of open ones leaves out what is past, and a list of lapsed
// ones goes by the date.
func lapsedByDate(where []Condition, today time.Time) []Condition {
	var out []Condition
	date := today.Format(time.DateOnly)
	for _, c := range where {
		switch {
		case c.Field != "state" || c.Op != "=" || c.Value == "accepted":
			out = append(out, c)
		case c.Value == "lapsed":
			out = append(out, Condition{"valid_until", "<", date}, Condition{"state", "!=", "accepted"})
		default:
			out = append(out, c, Condition{"valid_until", ">=", date})
		}
	}
	return out
}

// GetCustomerQuote reads what the customer may see of a quote.
func (b *Book) GetCustomerQuote(ctx context.Context, id string) (CustomerQuote, error) {
	q, err := b.GetQuote(ctx, id)
	if err != nil {
		return CustomerQuote{}, err
	}
	return q.customerCopy(), nil
}

// customerCopy is built field by field: nothing of it refers back to the quote.
func (q Quote) customerCopy() CustomerQuote {
	c := CustomerQuote{ID: q.ID, Customer: q.Customer, Title: q.Title, ValidUntil: q.ValidUntil}
	for _, k := range q.Breaks {
		c.Prices = append(c.Prices, CustomerPrice{k.Quantity, k.Price, k.Total})
	}
	return c
}
