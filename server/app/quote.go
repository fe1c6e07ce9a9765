package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/quote"
	"millbase/costing/rollup"
	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
)

// QuoteRequest is what a quote is asked for.
type QuoteRequest struct {
	ID             string
	Customer       string
	Formula        string // "id@3", or "id": the newest released revision
	Title          string // the ink as the customer knows it; empty: the material's title
	Quantities     []mass.Mass
	Basis          valuation.Basis
	Margin         *decimal.Decimal // percent of the price; nil: the plant's
	Currency       string           // empty: the plant's
	ValidUntil     time.Time
	Pack           string
	Minimum        money.Money // zero: none
	WithLaboratory bool
}

// Quote is a quote as the plant sees it: it holds the formula, the cost and the
// margin, and must not leave the plant.
type Quote struct {
	ID             string
	Customer       string
	Formula        string // "id@3"
	State          string
	ValidUntil     time.Time
	Title          string
	Basis          valuation.Basis
	Margin         decimal.Decimal
	Currency       string
	PlantCurrency  string
	Rate           decimal.Decimal // plant currency per unit of the quote's
	RateDate       time.Time       // zero in the plant's own currency
	Pack           string
	Minimum        money.Money
	WithLaboratory bool
	Breaks         []QuoteBreak
	Assumptions    []string
	Created        time.Time
}

// QuoteBreak is one quantity of a quote.
type QuoteBreak struct {
	Quantity mass.Mass
	Price    money.PerKg
	Total    money.Money
	Cost     money.Money // in the plant's currency, exact
	CostKg   money.PerKg
	Batches  int
	Lines    []CostLine
}

// CustomerQuote is what the customer may see. It is a type of its own so that no
// cost and no formula can leave with it.
type CustomerQuote struct {
	ID         string
	Customer   string
	Title      string
	ValidUntil time.Time
	Prices     []CustomerPrice
}

// CustomerPrice is one quantity for the customer.
type CustomerPrice struct {
	Quantity mass.Mass
	Price    money.PerKg
	Total    money.Money
}

// quoteDraft is the state of a quote that was made and not yet sent.
const quoteDraft = "draft"

// CreateQuote prices an ink at several quantities and keeps the quote whole.
func (b *Book) CreateQuote(ctx context.Context, r QuoteRequest, req Request) (Quote, error) {
	if err := r.check(); err != nil {
		return Quote{}, err
	}
	var out Quote
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		seen, err := seenBefore(ctx, tx, req, r.ID)
		if err != nil {
			return err
		}
		if seen != "" {
			out, err = b.readQuote(ctx, tx, seen)
			return err
		}
		s, err := b.loadStock(ctx, tx)
		if err != nil {
			return err
		}
		f, err := quotedFormula(ctx, tx, r.Formula)
		if err != nil {
			return err
		}
		if out, err = s.quote(r, f); err != nil {
			return err
		}
		body, err := json.Marshal(bodyOf(out))
		if err != nil {
			return err
		}
		rec, err := tx.Quotes().Create(ctx, StoredQuote{ID: out.ID, Customer: out.Customer, Formula: out.Formula, State: out.State,
			ValidUntil: out.ValidUntil, Body: body})
		if err != nil {
			return taken(err, "quotes/"+out.ID)
		}
		// What is answered now is what will be answered later: the stored form.
		out, err = quoteOf(rec, s.today)
		return err
	})
	return out, err
}

// check refuses what is wrong whatever the book holds.
func (r *QuoteRequest) check() error {
	var bad Invalid
	say := func(field, format string, args ...any) {
		bad = append(bad, FieldError{field, fmt.Sprintf(format, args...)})
	}
	if err := inventory.CheckID(r.ID); err != nil {
		say("quote_id", "%v", err)
	}
	if strings.TrimSpace(r.Customer) == "" {
		say("quote.customer", "say who it is for.")
	}
	if len(r.Quantities) == 0 {
		say("quote.quantities_kg", "give at least one quantity.")
	}
	for i, q := range r.Quantities {
		if q <= 0 {
			say(fmt.Sprintf("quote.quantities_kg[%d]", i), "give a quantity above zero.")
		}
		if slices.Contains(r.Quantities[:i], q) {
			say(fmt.Sprintf("quote.quantities_kg[%d]", i), "%s stands there twice.", q)
		}
	}
	if m := r.Margin; m != nil && (m.Sign() < 0 || m.GreaterThanOrEqual(decimal.NewFromInt(100))) {
		say("quote.margin_percent", "the margin is a share of the price: from 0 to below 100 %%, not %s.", m)
	}
	var err error
	if r.Basis, err = checkBasis(r.Basis); err != nil {
		say("quote.cost_basis", "use lot, average, replacement or standard.")
	}
	if r.Minimum.Sign() < 0 {
		say("quote.minimum_charge", "a charge is zero or more.")
	}
	if len(bad) > 0 {
		return bad
	}
	return nil
}

// quotedFormula is the revision named, or the newest released one.
func quotedFormula(ctx context.Context, tx Tx, name string) (formula.Formula, error) {
	rec, err := tx.Formulas().Get(ctx, name)
	if err != nil {
		return formula.Formula{}, missing(err, "quote.formula", "formulas/"+name)
	}
	if strings.Contains(name, "@") || rec.Value.Released {
		return rec.Value, nil
	}
	f, err := newestReleased(ctx, tx, name)
	if err == nil && !f.Released {
		err = Faultf(ErrNotReady, "NOT_RELEASED", "formulas/"+name,
			"formulas/%s has no released revision; release one, or name the revision to quote, as in formulas/%s.", name, revisionID(name, rec.Value.Revision))
	}
	return f, err
}

// quote works a quote out.
func (s *supply) quote(r QuoteRequest, f formula.Formula) (Quote, error) {
	rate, perUnit, err := s.quoteRate(&r)
	if err != nil {
		return Quote{}, err
	}
	cans, err := s.cans(r.Pack, "quote.pack")
	if err != nil {
		return Quote{}, err
	}
	if r.ValidUntil.Before(s.today) {
		return Quote{}, InvalidField("quote.valid_until_date", "%s is past; give today, %s, or later.",
			r.ValidUntil.Format(time.DateOnly), s.today.Format(time.DateOnly))
	}
	q := Quote{ID: r.ID, Customer: r.Customer, Formula: revisionID(f.ID, f.Revision), State: quoteDraft, ValidUntil: r.ValidUntil,
		Title: r.Title, Basis: r.Basis, Margin: s.plant.MarginPercent, Currency: rate.To, PlantCurrency: s.plant.Currency,
		Rate: perUnit.Value, RateDate: perUnit.Date, Pack: r.Pack, Minimum: r.Minimum, WithLaboratory: r.WithLaboratory}
	if r.Margin != nil {
		q.Margin = *r.Margin
	}
	if q.Title == "" {
		q.Title = s.title(f.Material)
	}
	if !f.Released {
		q.Assumptions = append(q.Assumptions, fmt.Sprintf("formulas/%s is not released.", q.Formula))
	}
	if rate.To != rate.From {
		q.Assumptions = append(q.Assumptions, fmt.Sprintf("One %s is worth %s %s, the rate of %s.", rate.To, perUnit.Value, rate.From, perUnit.Date.Format(time.DateOnly)))
	}
	slices.Sort(r.Quantities)
	var assumed [][]string
	for _, quantity := range r.Quantities {
		brk, taken, err := s.quoteBreak(r, q, f, quantity, rate, cans)
		if err != nil {
			return Quote{}, err
		}
		q.Breaks, assumed = append(q.Breaks, brk), append(assumed, taken)
	}
	q.Assumptions = append(q.Assumptions, forAll(r.Quantities, assumed)...)
	return q, nil
}

// forAll lists what is assumed for every quantity once, and then what is assumed
// for some, under their quantity.
func forAll(quantities []mass.Mass, assumed [][]string) []string {
	times := map[string]int{}
	for _, list := range assumed {
		for _, a := range list {
			times[a]++
		}
	}
	var common, own []string
	for i, list := range assumed {
		for _, a := range list {
			switch {
			case times[a] < len(quantities):
				own = append(own, quantities[i].String()+": "+a)
			case i == 0:
				common = append(common, a)
			}
		}
	}
	return append(common, own...)
}

// quoteBreak prices one quantity. Each is costed on the whole book: the
// quantities of a quote are alternatives, they do not share the lots.
func (s *supply) quoteBreak(r QuoteRequest, q Quote, f formula.Formula, quantity mass.Mass, rate money.Rate, cans []rollup.Can) (QuoteBreak, []string, error) {
	c := s.costing(r.Basis, s.today)
	book, err := c.book(f, quantity)
	if err != nil {
		return QuoteBreak{}, nil, ofQuote(err)
	}
	if r.WithLaboratory {
		book.Once = []rollup.OverheadLine{{Name: "laboratory", Cost: money.Money{Currency: s.plant.Currency, Amount: s.plant.LaboratoryCharge}}}
	}
	made, err := quote.Make(quote.Request{Reference: q.ID, Customer: q.Customer, Product: q.Title, Book: book, Formula: q.Formula,
		Quantities: []mass.Mass{quantity}, Cans: cans, Margins: []quote.MarginBreak{{Percent: q.Margin}}, Minimum: r.Minimum, Rate: rate,
		PricePlaces: money.MinorUnits(rate.To), Date: s.today,
		// The last day counts to its end, so that a quote may be for today.
		ValidUntil: r.ValidUntil.Add(12 * time.Hour)})
	if errors.Is(err, quote.ErrRequest) {
		return QuoteBreak{}, nil, InvalidField("quote", "%v.", err)
	}
	if err != nil {
		return QuoteBreak{}, nil, ofQuote(costFault(err, f))
	}
	line := made.Lines[0]
	answer, err := c.answer(f, line.Cost)
	if err != nil {
		return QuoteBreak{}, nil, err
	}
	if line.Minimum {
		answer.Assumptions = append(answer.Assumptions, fmt.Sprintf("The minimum charge of %s applies.", r.Minimum.Format()))
	}
	return QuoteBreak{Quantity: quantity, Price: line.Price, Total: line.Total, Cost: line.Cost.Total, CostKg: answer.PerKg,
		Batches: mixerBatches(line.Cost), Lines: answer.Lines}, answer.Assumptions, nil
}

// ofQuote names the field of a quote where a cost's refusal names that of a cost.
func ofQuote(err error) error {
	var invalid Invalid
	if !errors.As(err, &invalid) {
		return err
	}
	out := slices.Clone(invalid)
	for i := range out {
		if out[i].Field == "quantity_kg" {
			out[i].Field = "quote.quantities_kg"
		}
	}
	return out
}

// mixerBatches is how many charges of the mixers the quantity takes.
func mixerBatches(r rollup.Result) int {
	most := int64(1)
	for _, s := range r.Steps {
		if s.Kind == rollup.Premix || s.Kind == rollup.LetDown {
			most = max(most, s.Runs)
		}
	}
	return int(most)
}

// quoteRate is the rate from the plant's currency to the quote's, and the one
// the plant keeps, the other way round. The inverse is rounded down: the price
// is rounded up afterwards, so it never costs the customer a cent too much.
func (s *supply) quoteRate(r *QuoteRequest) (rate, kept money.Rate, err error) {
	if r.Currency == "" {
		r.Currency = s.plant.Currency
	}
	kept, ok := s.plant.exchange(r.Currency)
	if !ok {
		return rate, kept, InvalidField("quote.currency_code", "the plant has no exchange rate for %s; enter one in the plant's figures, or quote in %s.", r.Currency, s.plant.Currency)
	}
	if r.Minimum.Currency != "" && r.Minimum.Currency != r.Currency {
		return rate, kept, InvalidField("quote.minimum_charge", "it is in %s, the quote in %s; give both in one currency.", r.Minimum.Currency, r.Currency)
	}
	if r.Currency == s.plant.Currency {
		return kept, kept, nil
	}
	rate, err = kept.Inverse(18, money.RoundDown)
	return rate, kept, err
}
