package quote

import (
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/inventory/mass"
)

// Customer is the side of a quote that may leave the plant: prices, no cost, no
// margin, no formula. It shares no memory with the Quote that it is made from.
type Customer struct {
	Reference  string
	Customer   string
	Product    string
	Currency   string
	Exchange   *Exchange // nil when the plant quotes in its own currency
	Date       time.Time
	ValidUntil time.Time
	Lines      []CustomerLine
}

// Exchange is the rate that the prices were worked out at.
type Exchange struct {
	From  string
	Value decimal.Decimal
	Date  time.Time
}

// CustomerLine is one quantity, for the customer.
type CustomerLine struct {
	Quantity      mass.Mass
	Price         money.PerKg
	Total         money.Money // may be the minimum charge, above quantity x price
	MinimumCharge bool
	Cans          []Cans
}

// Cans are the cans of one size that the quantity comes in.
type Cans struct {
	Size  string
	Count int64
}

// Customer is the part of the quote that the customer gets.
func (q Quote) Customer() Customer {
	c := Customer{Reference: q.Reference, Customer: q.CustomerID, Product: q.Product,
		Currency: q.Rate.To, Date: q.Date, ValidUntil: q.ValidUntil}
	if q.Rate.From != q.Rate.To {
		c.Exchange = &Exchange{From: q.Rate.From, Value: q.Rate.Value, Date: q.Rate.Date}
	}
	for _, l := range q.Lines {
		line := CustomerLine{Quantity: l.Quantity, Price: l.Price, Total: l.Total, MinimumCharge: l.Minimum}
		for _, p := range l.Cost.Packaging {
			line.Cans = append(line.Cans, Cans{Size: p.Can, Count: p.Count})
		}
		c.Lines = append(c.Lines, line)
	}
	return c
}

// ValidOn reports whether the quote can still be accepted on that moment: until
// the end of the last day, in the zone of ValidUntil.
func (c Customer) ValidOn(t time.Time) bool {
	y, m, d := c.ValidUntil.Date()
	return t.Before(time.Date(y, m, d+1, 0, 0, 0, 0, c.ValidUntil.Location()))
}
