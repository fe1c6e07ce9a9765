package money

import (
	"errors"
	"fmt"

	"github.com/shopspring/decimal"

	"millbase/inventory/mass"
)

// ErrNoMass is the answer to a cost per kg of no mass at all.
var ErrNoMass = errors.New("money: no cost per kg of a mass of zero")

// PerKg is a price or cost of one kilogram.
type PerKg struct {
	Currency string
	Amount   decimal.Decimal
}

// NewPerKg makes a price per kg within the limits of New.
func NewPerKg(currency string, amount decimal.Decimal) (PerKg, error) {
	m, err := New(currency, amount)
	return PerKg(m), err
}

// ParsePerKg reads a plain decimal amount per kg in the given currency.
func ParsePerKg(amount, currency string) (PerKg, error) {
	m, err := ParseAmount(amount, currency)
	return PerKg(m), err
}

// MustPerKg is ParsePerKg for constants in code; it panics on an error.
func MustPerKg(amount, currency string) PerKg {
	p, err := ParsePerKg(amount, currency)
	if err != nil {
		panic(err)
	}
	return p
}

// Kilograms is the mass as an exact decimal number of kilograms.
func Kilograms(m mass.Mass) decimal.Decimal { return decimal.New(int64(m), -6) }

// Of is the exact price of the mass.
func (p PerKg) Of(m mass.Mass) Money {
	return Money{p.Currency, p.Amount.Mul(Kilograms(m))}
}

// PerKg shares the sum out over the mass: sum/kg, rounded once to the given
// places. ErrNoMass when the mass is zero.
func (m Money) PerKg(of mass.Mass, places int32, mode Rounding) (PerKg, error) {
	if of == 0 {
		return PerKg{}, ErrNoMass
	}
	return PerKg{m.Currency, DivDecimal(m.Amount, Kilograms(of), places, mode)}, nil
}

// String writes the exact price: "3.217 EUR/kg".
func (p PerKg) String() string { return p.Amount.String() + " " + p.Currency + "/kg" }

// Add is the exact sum; ErrMismatch when the currencies differ.
func (p PerKg) Add(q PerKg) (PerKg, error) {
	m, err := Money(p).Add(Money(q))
	return PerKg(m), err
}

// Mul is the exact product with a plain number.
func (p PerKg) Mul(d decimal.Decimal) PerKg { return PerKg(Money(p).Mul(d)) }

// Round rounds to the given number of decimal places.
func (p PerKg) Round(places int32, mode Rounding) PerKg {
	return PerKg(Money(p).Round(places, mode))
}

// Cmp compares two prices of one currency: -1, 0 or +1.
func (p PerKg) Cmp(q PerKg) (int, error) { return Money(p).Cmp(Money(q)) }

// Equal reports the same currency and the same amount.
func (p PerKg) Equal(q PerKg) bool { return Money(p).Equal(Money(q)) }

// IsZero reports a price of nothing.
func (p PerKg) IsZero() bool { return p.Amount.IsZero() }

// CheckPrice refuses a price with a bad currency or a negative amount.
func (p PerKg) CheckPrice() error {
	if err := CheckCurrency(p.Currency); err != nil {
		return err
	}
	if p.Amount.Sign() < 0 {
		return fmt.Errorf("money: a price of %s is below zero; give zero or more", p)
	}
	return nil
}
