package money

import (
	"errors"
	"fmt"
	"strings"

	"github.com/shopspring/decimal"
)

// Errors of this package; test with errors.Is.
var (
	ErrCurrency = errors.New("money: a currency is three capital letters, as in ISO 4217 (EUR)")
	ErrMismatch = errors.New("money: different currencies; convert one of them with an exchange rate first")
	ErrSyntax   = errors.New("money: not a plain decimal amount such as 12.50")
	ErrTooLarge = errors.New("money: amount of 1,000,000,000,000,000 or more")
	ErrTooFine  = errors.New("money: amount with more decimal places than allowed")
)

// MaxPlaces is the largest number of decimal places accepted by Parse and New.
// Computed amounts may have more.
const MaxPlaces = 18

// limit is the first amount that is refused at the edge: 10^15 of any currency.
var limit = decimal.New(1, 15)

// Money is an exact amount of one currency. The amount may be negative.
type Money struct {
	Currency string // ISO 4217 alphabetic code, "EUR"
	Amount   decimal.Decimal
}

// CheckCurrency refuses a code that is not three capital letters A to Z
// (ErrCurrency). Whether the code is in use is left to the plant.
func CheckCurrency(code string) error {
	if len(code) != 3 || strings.Trim(code, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") != "" {
		return fmt.Errorf("%w: got %q", ErrCurrency, code)
	}
	return nil
}

// New makes Money from a checked currency and an amount within the limits of
// the edge: below 10^15, at most MaxPlaces decimal places.
func New(currency string, amount decimal.Decimal) (Money, error) {
	if err := CheckCurrency(currency); err != nil {
		return Money{}, err
	}
	if err := checkAmount(amount); err != nil {
		return Money{}, err
	}
	return Money{currency, amount}, nil
}

// ParseAmount reads a plain decimal amount ("-12.50") in the given currency.
// Exponents, signs other than a leading minus, spaces and thousands separators
// are ErrSyntax.
func ParseAmount(amount, currency string) (Money, error) {
	d, err := ParseDecimal(amount)
	if err != nil {
		return Money{}, err
	}
	return New(currency, d)
}

// Parse reads an amount followed by its currency, "12.50 EUR", the form that
// String writes.
func Parse(s string) (Money, error) {
	amount, currency, ok := strings.Cut(s, " ")
	if !ok {
		return Money{}, fmt.Errorf("%w followed by a currency: %q", ErrSyntax, s)
	}
	return ParseAmount(amount, currency)
}

// MustParse is Parse for constants in code; it panics on an error.
func MustParse(s string) Money {
	m, err := Parse(s)
	if err != nil {
		panic(err)
	}
	return m
}

// ParseDecimal reads a plain decimal number without exponent, below 10^15 and
// with at most MaxPlaces decimal places.
func ParseDecimal(s string) (decimal.Decimal, error) {
	digits := strings.TrimPrefix(s, "-")
	whole, frac, dot := strings.Cut(digits, ".")
	if whole == "" || (dot && frac == "") || len(s) > 64 ||
		strings.Trim(whole+frac, "0123456789") != "" {
		return decimal.Zero, fmt.Errorf("%w: %.80q", ErrSyntax, s)
	}
	d, err := decimal.NewFromString(s)
	if err != nil {
		return decimal.Zero, fmt.Errorf("%w: %.80q", ErrSyntax, s)
	}
	return d, checkAmount(d)
}

func checkAmount(d decimal.Decimal) error {
	// The exponent is looked at first: 1e2000000000 must not be expanded.
	if d.Exponent() > 15 || d.Exponent() < -64 {
		if d.IsZero() {
			return nil
		}
		if d.Exponent() > 0 {
			return ErrTooLarge
		}
		return ErrTooFine
	}
	if d.Abs().GreaterThanOrEqual(limit) {
		return ErrTooLarge
	}
	if !d.Equal(d.Truncate(MaxPlaces)) {
		return fmt.Errorf("%w: at most %d", ErrTooFine, MaxPlaces)
	}
	return nil
}

// Zero is no money in the given currency.
func Zero(currency string) Money { return Money{Currency: currency} }

// String writes the amount exactly and its currency: "12.5 EUR".
func (m Money) String() string { return m.Amount.String() + " " + m.Currency }

// Format writes the amount rounded half even to the currency's minor unit, with
// all its places, for people: "12.50 EUR".
func (m Money) Format() string {
	r := m.Round(MinorUnits(m.Currency), RoundHalfEven)
	return r.Amount.StringFixed(MinorUnits(m.Currency)) + " " + m.Currency
}

// Add is the exact sum; ErrMismatch when the currencies differ.
func (m Money) Add(n Money) (Money, error) {
	if m.Currency != n.Currency {
		return Money{}, mismatch(m.Currency, n.Currency)
	}
	return Money{m.Currency, m.Amount.Add(n.Amount)}, nil
}

// Sub is the exact difference; ErrMismatch when the currencies differ.
func (m Money) Sub(n Money) (Money, error) { return m.Add(n.Neg()) }

// Sum adds the amounts, all of which must be in the named currency. The sum of
// none is zero of it.
func Sum(currency string, terms ...Money) (Money, error) {
	total := Zero(currency)
	for _, t := range terms {
		var err error
		if total, err = total.Add(t); err != nil {
			return Money{}, err
		}
	}
	return total, nil
}

// Neg is the amount with its sign turned.
func (m Money) Neg() Money { return Money{m.Currency, m.Amount.Neg()} }

// Mul is the exact product with a plain number.
func (m Money) Mul(d decimal.Decimal) Money { return Money{m.Currency, m.Amount.Mul(d)} }

// Percent is the exact given percentage of the amount.
func (m Money) Percent(percent decimal.Decimal) Money {
	return m.Mul(percent.Shift(-2))
}

// Cmp compares two amounts of one currency: -1, 0 or +1.
func (m Money) Cmp(n Money) (int, error) {
	if m.Currency != n.Currency {
		return 0, mismatch(m.Currency, n.Currency)
	}
	return m.Amount.Cmp(n.Amount), nil
}

// Equal reports the same currency and the same amount (2.5 equals 2.50).
func (m Money) Equal(n Money) bool {
	return m.Currency == n.Currency && m.Amount.Equal(n.Amount)
}

// IsZero reports an amount of nothing.
func (m Money) IsZero() bool { return m.Amount.IsZero() }

// Sign is -1, 0 or +1.
func (m Money) Sign() int { return m.Amount.Sign() }

func mismatch(a, b string) error { return fmt.Errorf("%w: %s and %s", ErrMismatch, a, b) }
