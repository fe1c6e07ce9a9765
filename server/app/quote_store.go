package app

import (
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
	Title          string           `json:"title"`
	Basis          string           `json:"basis"`
	MarginPercent  decimal.Decimal  `json:"margin_percent"`
	Currency       string           `json:"currency"`
	PlantCurrency  string           `json:"plant_currency"`
	Rate           decimal.Decimal  `json:"rate"`
	RateDate       string           `json:"rate_date,omitempty"`
	Pack           string           `json:"pack,omitempty"`
	MinimumCharge  decimal.Decimal  `json:"minimum_charge"`
	WithLaboratory bool             `json:"with_laboratory"`
	TargetPerKg    *decimal.Decimal `json:"target_per_kg,omitempty"`
	FullBatches    bool             `json:"full_batches,omitempty"`
	Lightness      *float64         `json:"lightness,omitempty"`
	After          *float64         `json:"after_lightness,omitempty"`
	CappedBy       string           `json:"capped_by,omitempty"`
	Components     []partBody       `json:"components,omitempty"`
	Shade          *QuoteShade      `json:"shade,omitempty"`
	Breaks         []breakBody      `json:"breaks"`
	Assumptions    []string         `json:"assumptions"`
}

type partBody struct {
	Material        string `json:"material"`
	Lot             string `json:"lot,omitempty"`
	Title           string `json:"title"`
	PartsPerMillion int64  `json:"parts_per_million"`
}

type breakBody struct {
	QuantityMg mass.Mass       `json:"quantity_mg"`
	PricePerKg decimal.Decimal `json:"price_per_kg"`
	Price      decimal.Decimal `json:"price"`
	CostPerKg  decimal.Decimal `json:"cost_per_kg"`
	Cost       decimal.Decimal `json:"cost"`
	Batches    int             `json:"batches"`
	Lines      []lineBody      `json:"lines"`

	Margin        *decimal.Decimal `json:"margin,omitempty"` // nil in quotes that are older than it
	MarginPercent decimal.Decimal  `json:"margin_percent"`
	Minimum       bool             `json:"minimum,omitempty"`
	Cans          []cansBody       `json:"cans,omitempty"`
	Lead          leadBody         `json:"lead"`
	FullBatch     bool             `json:"full_batch,omitempty"`
	ByBasis       []basisBody      `json:"by_basis,omitempty"`
}

type basisBody struct {
	Basis     string          `json:"basis"`
	Materials decimal.Decimal `json:"materials"`
	Total     decimal.Decimal `json:"total"`
	Apart     decimal.Decimal `json:"difference"`
	None      bool            `json:"none,omitempty"` // there is no cost on this basis
	Missing   []string        `json:"missing,omitempty"`
}

type cansBody struct {
	Pack  string `json:"pack"`
	Title string `json:"title"`
	Count int64  `json:"count"`
}

type leadBody struct {
	Possible  bool    `json:"possible,omitempty"`
	Days      int     `json:"days,omitempty"`
	DecidedBy Decides `json:"decided_by,omitempty"`
	Reason    string  `json:"reason,omitempty"`
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
		Rate: q.Rate, Pack: q.Pack, MinimumCharge: q.Minimum.Amount, WithLaboratory: q.WithLaboratory, Shade: q.Shade, Assumptions: q.Assumptions}
	b.FullBatches, b.Lightness, b.After, b.CappedBy = q.FullBatches, q.Sequence.Lightness, q.Sequence.After, q.CappedBy
	if q.Target.Currency != "" {
		b.TargetPerKg = &q.Target.Amount
	}
	if !q.RateDate.IsZero() {
		b.RateDate = q.RateDate.Format(time.DateOnly)
	}
	for _, c := range q.Components {
		b.Components = append(b.Components, partBody(c))
	}
	for _, k := range q.Breaks {
		b.Breaks = append(b.Breaks, k.body())
	}
	return b
}

func (k QuoteBreak) body() breakBody {
	out := breakBody{QuantityMg: k.Quantity, PricePerKg: k.Price.Amount, Price: k.Total.Amount, CostPerKg: k.CostKg.Amount, Cost: k.Cost.Amount,
		Batches: k.Batches, Margin: &k.Margin.Amount, MarginPercent: k.MarginPercent, Minimum: k.Minimum,
		Lead: leadBody{k.Lead.Possible, k.Lead.Days, k.Lead.DecidedBy, k.Lead.Reason}}
	out.FullBatch = k.FullBatch
	for _, c := range k.ByBasis {
		out.ByBasis = append(out.ByBasis, basisBody{c.Basis.String(), c.Materials.Amount, c.Total.Amount, c.Difference.Amount, c.Total.Currency == "", c.Missing})
	}
	for _, c := range k.Cans {
		out.Cans = append(out.Cans, cansBody(c))
	}
	for _, l := range k.Lines {
		out.Lines = append(out.Lines, lineBody{l.Kind, l.Title, l.Level, l.Quantity, int64(l.Time / time.Second),
			l.Rate.Amount, l.Rate.Currency != "", l.Amount.Amount})
	}
	return out
}

// quoteOf reads a stored revision of a quote, in its state on a day.
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
	q := Quote{ID: v.ID, Revision: v.Revision, Version: rec.Version, Customer: v.Customer, Formula: v.Formula, State: v.stateOn(today), Made: v.Made,
		Sent: v.Sent, ValidUntil: v.ValidUntil, Title: b.Title, Basis: basis,
		Margin: b.MarginPercent, Currency: b.Currency, PlantCurrency: b.PlantCurrency, Rate: b.Rate, Pack: b.Pack,
		WithLaboratory: b.WithLaboratory, Shade: b.Shade, Assumptions: b.Assumptions, Created: rec.CreatedAt}
	q.FullBatches, q.Sequence, q.CappedBy = b.FullBatches, Sequence{b.Lightness, b.After}, b.CappedBy
	if b.TargetPerKg != nil {
		q.Target = money.PerKg{Currency: b.Currency, Amount: *b.TargetPerKg}
	}
	if q.Made.IsZero() { // made before the day was kept
		y, m, d := rec.CreatedAt.Date()
		q.Made = time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	}
	if b.MinimumCharge.Sign() > 0 {
		q.Minimum = money.Money{Currency: b.Currency, Amount: b.MinimumCharge}
	}
	if b.RateDate != "" {
		if q.RateDate, err = time.Parse(time.DateOnly, b.RateDate); err != nil {
			return Quote{}, fmt.Errorf("stored quote %s: %w", v.ID, err)
		}
	}
	for _, c := range b.Components {
		q.Components = append(q.Components, QuoteComponent(c))
	}
	for _, k := range b.Breaks {
		q.Breaks = append(q.Breaks, k.of(&q))
	}
	if q.State == QuoteAccepted {
		q.Accepted = q.acceptance(v)
	}
	return q, nil
}

// of reads one quantity of the quote.
func (k breakBody) of(q *Quote) QuoteBreak {
	out := QuoteBreak{Quantity: k.QuantityMg, Batches: k.Batches,
		Price: money.PerKg{Currency: q.Currency, Amount: k.PricePerKg}, Total: money.Money{Currency: q.Currency, Amount: k.Price},
		CostKg: money.PerKg{Currency: q.PlantCurrency, Amount: k.CostPerKg}, Cost: money.Money{Currency: q.PlantCurrency, Amount: k.Cost},
		MarginPercent: k.MarginPercent, Minimum: k.Minimum}
	if k.Margin != nil {
		out.Margin = money.Money{Currency: q.Currency, Amount: *k.Margin}
	}
	out.Lead = QuoteLead{Possible: k.Lead.Possible, Days: k.Lead.Days, DecidedBy: k.Lead.DecidedBy, Reason: k.Lead.Reason}
	if k.Lead.Possible {
		out.Lead.Ready = q.Made.AddDate(0, 0, k.Lead.Days)
	}
	out.FullBatch = k.FullBatch
	for _, c := range k.ByBasis {
		out.ByBasis = append(out.ByBasis, c.of(q.PlantCurrency))
	}
	for _, c := range k.Cans {
		out.Cans = append(out.Cans, QuoteCans(c))
	}
	for _, l := range k.Lines {
		line := CostLine{Kind: l.Kind, Title: l.Title, Level: l.Level, Quantity: l.QuantityMg, Time: time.Duration(l.Seconds) * time.Second,
			Amount: money.Money{Currency: q.PlantCurrency, Amount: l.Amount}}
		if l.HasRate {
			line.Rate = money.Money{Currency: q.PlantCurrency, Amount: l.Rate}
		}
		out.Lines = append(out.Lines, line)
	}
	return out
}

// of reads a cost on one basis.
func (c basisBody) of(currency string) BasisCost {
	in := func(amount decimal.Decimal) money.Money { return money.Money{Currency: currency, Amount: amount} }
	basis, _ := valuation.ParseBasis(c.Basis) // written by String
	if c.None {
		return BasisCost{Basis: basis, Missing: c.Missing}
	}
	return BasisCost{basis, in(c.Materials), in(c.Total), in(c.Apart), c.Missing}
}
