package landed

import (
	"errors"
	"fmt"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/inventory/mass"
)

// ErrReceipt is the answer to a receipt that cannot be costed; its text says
// what to change.
var ErrReceipt = errors.New("landed: bad receipt")

// By names what a charge of the delivery is shared out by.
type By uint8

// The ways to share a charge out.
const (
	ByMass  By = iota // in proportion to the masses: freight by weight
	ByValue           // in proportion to the goods' value: insurance
)

// Line is one lot of a delivery.
type Line struct {
	Lot   string
	Mass  mass.Mass
	Price money.PerKg // in the supplier's currency
	// Duty: a percentage of the customs value, and an amount, either or both.
	DutyPercent decimal.Decimal
	DutyAmount  money.Money // zero value: none
	// DutyOnFreight counts the line's share of the charges that are Dutiable
	// into the customs value.
	DutyOnFreight bool
}

// Charge is a cost of the whole delivery.
type Charge struct {
	Name     string // "freight", "customs broker"
	Amount   money.Money
	By       By
	Dutiable bool // counted into the customs value of lines with DutyOnFreight
}

// Receipt is a delivery.
type Receipt struct {
	Currency string // the plant's
	Lines    []Line
	Charges  []Charge
	Rates    []money.Rate // into Currency, one for each other currency used
	// SharePlaces is the number of decimal places of the shares of a charge
	// after conversion; negative is refused.
	SharePlaces int32
}

// Item is one part of the cost of a line, in the plant's currency.
type Item struct {
	Name   string      // "price", "duty", or the name of a charge
	Stated money.Money // in the currency it was stated in; for duty, the plant's
	Cost   money.Money
}

// Cost is the landed cost of one line. The items add up to Total exactly.
type Cost struct {
	Lot   string
	Mass  mass.Mass
	Items []Item
	Total money.Money
}

// PerKg is the landed cost per kg, rounded once.
func (c Cost) PerKg(places int32, mode money.Rounding) (money.PerKg, error) {
	return c.Total.PerKg(c.Mass, places, mode)
}

// Make costs every line of the receipt. A charge is converted first, rounded
// half even to SharePlaces, and then shared out without losing any of it.
// Errors: ErrReceipt, money.ErrCurrency, money.ErrRate, money.ErrMismatch.
func Make(r Receipt) ([]Cost, error) {
	rates, err := r.check()
	if err != nil {
		return nil, err
	}
	costs := make([]Cost, len(r.Lines))
	goods := make([]decimal.Decimal, len(r.Lines))
	masses := make([]decimal.Decimal, len(r.Lines))
	for i, l := range r.Lines {
		price := l.Price.Of(l.Mass)
		cost, err := convert(rates, price)
		if err != nil {
			return nil, fmt.Errorf("price of lot %q: %w", l.Lot, err)
		}
		costs[i] = Cost{Lot: l.Lot, Mass: l.Mass, Total: money.Zero(r.Currency)}
		costs[i].add("price", price, cost)
		goods[i], masses[i] = cost.Amount, money.Kilograms(l.Mass)
	}
	dutiable := append([]decimal.Decimal(nil), goods...)
	for _, ch := range r.Charges {
		weights := masses
		if ch.By == ByValue {
			weights = goods
		}
		shares, stated, err := shareOut(r, rates, ch, weights)
		if err != nil {
			return nil, fmt.Errorf("charge %q: %w", ch.Name, err)
		}
		for i := range costs {
			costs[i].add(ch.Name, stated[i], shares[i])
			if ch.Dutiable && r.Lines[i].DutyOnFreight {
				dutiable[i] = dutiable[i].Add(shares[i].Amount)
			}
		}
	}
	for i, l := range r.Lines {
		if err := costs[i].duty(l, rates, dutiable[i], r.Currency); err != nil {
			return nil, fmt.Errorf("duty of lot %q: %w", l.Lot, err)
		}
	}
	return costs, nil
}

// shareOut converts a charge and splits it, and splits the stated amount the
// same way for the record.
func shareOut(r Receipt, rates map[string]money.Rate, ch Charge, weights []decimal.Decimal) (shares, stated []money.Money, err error) {
	cost, err := convert(rates, ch.Amount)
	if err != nil {
		return nil, nil, err
	}
	if shares, err = cost.Round(r.SharePlaces, money.RoundHalfEven).Split(weights, r.SharePlaces); err != nil {
		return nil, nil, err
	}
	places := max(r.SharePlaces, -ch.Amount.Amount.Exponent())
	stated, err = ch.Amount.Split(weights, places)
	return shares, stated, err
}

func (c *Cost) duty(l Line, rates map[string]money.Rate, customs decimal.Decimal, currency string) error {
	if !l.DutyPercent.IsZero() {
		d := money.Money{Currency: currency, Amount: customs}.Percent(l.DutyPercent)
		c.add("duty", d, d)
	}
	if l.DutyAmount.IsZero() {
		return nil
	}
	d, err := convert(rates, l.DutyAmount)
	c.add("duty", l.DutyAmount, d)
	return err
}

func (c *Cost) add(name string, stated, cost money.Money) {
	if cost.IsZero() && name != "price" {
		return
	}
	c.Items = append(c.Items, Item{name, stated, cost})
	c.Total.Amount = c.Total.Amount.Add(cost.Amount)
}

func convert(rates map[string]money.Rate, m money.Money) (money.Money, error) {
	rate, ok := rates[m.Currency]
	if !ok {
		return money.Money{}, fmt.Errorf("%w: no rate from %s", ErrReceipt, m.Currency)
	}
	return rate.Convert(m)
}

func (r Receipt) check() (map[string]money.Rate, error) {
	if err := money.CheckCurrency(r.Currency); err != nil {
		return nil, err
	}
	if len(r.Lines) == 0 {
		return nil, fmt.Errorf("%w: it has no lines", ErrReceipt)
	}
	if r.SharePlaces < 0 || r.SharePlaces > 9 {
		return nil, fmt.Errorf("%w: shares have 0 to 9 decimal places, got %d", ErrReceipt, r.SharePlaces)
	}
	rates := map[string]money.Rate{r.Currency: money.Same(r.Currency)}
	for _, rate := range r.Rates {
		if err := rate.Check(); err != nil {
			return nil, err
		}
		if rate.To != r.Currency {
			return nil, fmt.Errorf("%w: a rate from %s to %s, but the plant counts in %s", ErrReceipt, rate.From, rate.To, r.Currency)
		}
		if _, twice := rates[rate.From]; twice && rate.From != r.Currency {
			return nil, fmt.Errorf("%w: two rates from %s", ErrReceipt, rate.From)
		}
		rates[rate.From] = rate
	}
	for _, l := range r.Lines {
		if l.Mass <= 0 || l.Mass > mass.Max {
			return nil, fmt.Errorf("%w: lot %q has a mass of %s; give more than zero", ErrReceipt, l.Lot, l.Mass)
		}
		if l.Price.Amount.Sign() < 0 || l.DutyPercent.Sign() < 0 || l.DutyAmount.Sign() < 0 {
			return nil, fmt.Errorf("%w: lot %q has a price or duty below zero", ErrReceipt, l.Lot)
		}
	}
	for _, ch := range r.Charges {
		if ch.Amount.Sign() < 0 || ch.By > ByValue {
			return nil, fmt.Errorf("%w: charge %q of %s must not be below zero, shared by mass or by value", ErrReceipt, ch.Name, ch.Amount)
		}
	}
	return rates, nil
}
