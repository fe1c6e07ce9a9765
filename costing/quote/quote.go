package quote

import (
	"errors"
	"fmt"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/rollup"
	"millbase/inventory/mass"
)

// ErrRequest is the answer to a request that cannot be quoted; its text says
// what to change.
var ErrRequest = errors.New("quote: bad request")

// maxQuantities is the largest number of lines of one quote.
const maxQuantities = 50

// MarginBreak is a margin, as a percentage of the price, for orders of From or
// more.
type MarginBreak struct {
	From    mass.Mass
	Percent decimal.Decimal // from 0 to below 100
}

// Request is what a quote is asked for.
type Request struct {
	Reference string // the customer's or the plant's number for it
	Customer  string
	Product   string // the name that the customer knows; not the formula

	Book       rollup.Book
	Formula    string
	Quantities []mass.Mass   // rising
	Cans       []rollup.Can  // sizes that the customer takes; none: no packaging
	Margins    []MarginBreak // rising From, the first from 0
	// Target is the price per kg that is asked whatever the margin; zero value: the
	// price follows from the margin.
	Target  money.PerKg
	Minimum money.Money // smallest charge for an order, in the quote's currency; zero value: none
	Rate    money.Rate  // from the book's currency to the quote's
	// PricePlaces is the number of decimal places of a price per kg.
	PricePlaces int32
	Date        time.Time
	ValidUntil  time.Time // last day on which the customer may accept
}

// Quote is the plant's side of a quote. It holds costs and the formula: it must
// not leave the plant.
type Quote struct {
	Reference  string
	CustomerID string
	Product    string
	Rate       money.Rate
	Date       time.Time
	ValidUntil time.Time
	Lines      []Line
}

// Line is one quantity, for the plant.
type Line struct {
	Quantity mass.Mass
	Cost     rollup.Result // in the book's currency
	CostIn   money.Money   // the same in the quote's currency, exact
	Price    money.PerKg
	Total    money.Money
	Minimum  bool            // Total is the minimum charge
	Margin   money.Money     // Total - CostIn
	Percent  decimal.Decimal // margin reached, of the price, to two places
	// DearerPerKg: the price per kg is above that of a smaller quantity of this
	// quote, because one more run is needed.
	DearerPerKg bool
}

// Make works a quote out. Errors: ErrRequest, and those of the roll-up.
func Make(r Request) (Quote, error) {
	if err := r.check(); err != nil {
		return Quote{}, err
	}
	q := Quote{Reference: r.Reference, CustomerID: r.Customer, Product: r.Product,
		Rate: r.Rate, Date: r.Date, ValidUntil: r.ValidUntil}
	for _, quantity := range r.Quantities {
		line, err := r.line(quantity)
		if err != nil {
			return Quote{}, fmt.Errorf("quote for %s: %w", quantity, err)
		}
		for _, smaller := range q.Lines {
			if line.Price.Amount.GreaterThan(smaller.Price.Amount) {
				line.DearerPerKg = true
			}
		}
		q.Lines = append(q.Lines, line)
	}
	return q, nil
}

func (r Request) line(quantity mass.Mass) (Line, error) {
	cost, err := r.Book.Cost(r.Formula, quantity, r.Cans)
	if err != nil {
		return Line{}, err
	}
	l := Line{Quantity: quantity, Cost: cost}
	if l.CostIn, err = r.Rate.Convert(cost.Total); err != nil {
		return Line{}, err
	}
	if l.Price = r.Target; l.Price.Currency == "" {
		// price per kg = cost / ((1 - margin) x kg), one quotient, rounded once.
		keep := decimal.NewFromInt(100).Sub(r.marginFor(quantity)).Shift(-2)
		l.Price = money.PerKg{Currency: r.Rate.To, Amount: money.DivDecimal(
			l.CostIn.Amount, keep.Mul(money.Kilograms(quantity)), r.PricePlaces, money.RoundUp)}
	}
	l.Total = l.Price.Of(quantity).RoundMinor(money.RoundUp)
	if r.Minimum.Amount.GreaterThan(l.Total.Amount) {
		l.Total, l.Minimum = r.Minimum, true
	}
	if l.Margin, err = l.Total.Sub(l.CostIn); err != nil {
		return Line{}, err
	}
	if !l.Total.IsZero() {
		l.Percent = money.DivDecimal(l.Margin.Amount.Shift(2), l.Total.Amount, 2, money.RoundDown)
	}
	return l, nil
}

func (r Request) marginFor(quantity mass.Mass) decimal.Decimal {
	margin := r.Margins[0].Percent
	for _, m := range r.Margins {
		if quantity >= m.From {
			margin = m.Percent
		}
	}
	return margin
}

func (r Request) check() error {
	bad := func(format string, args ...any) error {
		return fmt.Errorf("%w: "+format, append([]any{ErrRequest}, args...)...)
	}
	if len(r.Quantities) == 0 || len(r.Quantities) > maxQuantities {
		return bad("give from 1 to %d quantities, got %d", maxQuantities, len(r.Quantities))
	}
	for i, q := range r.Quantities {
		if q <= 0 || (i > 0 && q <= r.Quantities[i-1]) {
			return bad("quantities must be above zero and rise, got %s", q)
		}
	}
	if len(r.Margins) == 0 || r.Margins[0].From != 0 {
		return bad("give a margin for orders from 0 kg on")
	}
	for i, m := range r.Margins {
		if m.Percent.Sign() < 0 || m.Percent.GreaterThanOrEqual(decimal.NewFromInt(100)) {
			return bad("a margin is a share of the price, from 0 to below 100 %%, got %s", m.Percent)
		}
		if i > 0 && m.From <= r.Margins[i-1].From {
			return bad("margins must stand in rising order of quantity, got %s after %s", m.From, r.Margins[i-1].From)
		}
	}
	if err := r.Rate.Check(); err != nil {
		return bad("%w", err)
	}
	if r.Rate.From != r.Book.Currency {
		return bad("the rate is from %s, the costs are in %s", r.Rate.From, r.Book.Currency)
	}
	if r.Rate.To != r.Rate.From && r.Rate.Date.IsZero() {
		return bad("the exchange rate has no date")
	}
	if !r.Minimum.IsZero() && (r.Minimum.Currency != r.Rate.To || r.Minimum.Sign() < 0) {
		return bad("the minimum charge of %s must be in %s and above zero", r.Minimum, r.Rate.To)
	}
	if t := r.Target; t.Currency != "" && (t.Currency != r.Rate.To || t.Amount.Sign() <= 0) {
		return bad("the target price of %s %s must be in %s and above zero", t.Amount, t.Currency, r.Rate.To)
	}
	if r.PricePlaces < 0 || r.PricePlaces > 9 {
		return bad("a price per kg has 0 to 9 decimal places, got %d", r.PricePlaces)
	}
	if r.Date.IsZero() || !r.ValidUntil.After(r.Date) {
		return bad("a quote needs a date and a later day until which it is valid")
	}
	return nil
}
