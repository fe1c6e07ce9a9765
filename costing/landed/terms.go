package landed

import (
	"fmt"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
)

// Terms are what a supplier's offer says per kg: the price, and freight and duty
// as the plant expects them, all in the offer's currency.
type Terms struct {
	Price         money.PerKg
	Freight       decimal.Decimal // per kg, in the currency of Price
	DutyPercent   decimal.Decimal
	DutyOnFreight bool // duty on price and freight; otherwise on the price alone
}

// TermsCost is the landed cost of one kg in the plant's currency. The parts add
// up to Total, and nothing is rounded.
type TermsCost struct {
	Price, Freight, Duty, Total money.PerKg
}

// PerKg is what one kg will cost in the plant's store at the rate: each part
// converted, exactly. ErrReceipt on a figure below zero, money.ErrMismatch when
// the rate is from another currency.
func (t Terms) PerKg(rate money.Rate) (TermsCost, error) {
	if t.Price.Amount.Sign() < 0 || t.Freight.Sign() < 0 || t.DutyPercent.Sign() < 0 {
		return TermsCost{}, fmt.Errorf("%w: price, freight and duty must not be below zero", ErrReceipt)
	}
	freight := money.PerKg{Currency: t.Price.Currency, Amount: t.Freight}
	customs := t.Price
	if t.DutyOnFreight {
		customs.Amount = customs.Amount.Add(t.Freight)
	}
	var c TermsCost
	var err error
	for _, part := range []struct {
		to   *money.PerKg
		from money.PerKg
	}{{&c.Price, t.Price}, {&c.Freight, freight}, {&c.Duty, customs.Mul(t.DutyPercent.Shift(-2))}} {
		if *part.to, err = rate.ConvertPerKg(part.from); err != nil {
			return TermsCost{}, err
		}
	}
	c.Total = money.PerKg{Currency: rate.To, Amount: c.Price.Amount.Add(c.Freight.Amount).Add(c.Duty.Amount)}
	return c, nil
}
