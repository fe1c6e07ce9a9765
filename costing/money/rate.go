package money

import (
	"errors"
	"fmt"
	"time"

	"github.com/shopspring/decimal"
)

// ErrRate is the answer to an exchange rate that is not above zero or whose two
// currencies are the same without its value being 1.
var ErrRate = errors.New("money: an exchange rate is the number of units of the target currency for one unit of the source, above zero")

// Rate is an exchange rate: Value units of To for one unit of From, on Date.
type Rate struct {
	From, To string
	Value    decimal.Decimal
	Date     time.Time // the day the rate was fixed on
}

// Same is the rate of a currency to itself: 1.
func Same(currency string) Rate {
	return Rate{From: currency, To: currency, Value: decimal.NewFromInt(1)}
}

// Check refuses a rate that cannot be used: ErrRate or ErrCurrency.
func (r Rate) Check() error {
	if err := CheckCurrency(r.From); err != nil {
		return err
	}
	if err := CheckCurrency(r.To); err != nil {
		return err
	}
	if r.Value.Sign() <= 0 {
		return fmt.Errorf("%w: got %s", ErrRate, r.Value)
	}
	if r.From == r.To && !r.Value.Equal(decimal.NewFromInt(1)) {
		return fmt.Errorf("%w: from %s to itself it is 1, got %s", ErrRate, r.From, r.Value)
	}
	return nil
}

// Convert is the exact product amount x rate. ErrMismatch when m is not in From.
func (r Rate) Convert(m Money) (Money, error) {
	if err := r.Check(); err != nil {
		return Money{}, err
	}
	if m.Currency != r.From {
		return Money{}, fmt.Errorf("%w: %s with a rate from %s to %s", ErrMismatch, m.Currency, r.From, r.To)
	}
	return Money{r.To, m.Amount.Mul(r.Value)}, nil
}

// ConvertPerKg is Convert for a price per kg.
func (r Rate) ConvertPerKg(p PerKg) (PerKg, error) {
	m, err := r.Convert(Money(p))
	return PerKg(m), err
}

// Inverse is the rate the other way, its value rounded to the given places.
// A rate too small for them is ErrRate.
func (r Rate) Inverse(places int32, mode Rounding) (Rate, error) {
	if err := r.Check(); err != nil {
		return Rate{}, err
	}
	v := DivDecimal(decimal.NewFromInt(1), r.Value, places, mode)
	inv := Rate{From: r.To, To: r.From, Value: v, Date: r.Date}
	return inv, inv.Check()
}
