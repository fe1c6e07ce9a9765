package money

import (
	"errors"
	"fmt"
	"math"

	"github.com/shopspring/decimal"
)

// ErrNanos is the answer to units and nanos that do not belong together.
var ErrNanos = errors.New("money: nanos must be from -999999999 to 999999999 and of the same sign as units")

// ToUnitsNanos splits the amount into whole units and billionths of a unit, as
// google.type.Money carries it: -1.75 is -1 and -750,000,000. An amount finer
// than a nano is ErrTooFine, beyond an int64 of units ErrTooLarge.
func (m Money) ToUnitsNanos() (units int64, nanos int32, err error) {
	if m.Amount.IsZero() {
		return 0, 0, nil
	}
	if m.Amount.Exponent() > 18 {
		return 0, 0, ErrTooLarge
	}
	if !m.Amount.Equal(m.Amount.Truncate(9)) {
		return 0, 0, fmt.Errorf("%w: %s has more than 9", ErrTooFine, m)
	}
	whole := m.Amount.Truncate(0)
	if big := whole.BigInt(); !big.IsInt64() {
		return 0, 0, ErrTooLarge
	}
	return whole.IntPart(), int32(m.Amount.Sub(whole).Shift(9).IntPart()), nil
}

// FromUnitsNanos is the inverse of ToUnitsNanos. ErrNanos when nanos is out of
// range or units and nanos have different signs; ErrTooLarge and ErrCurrency as
// in New.
func FromUnitsNanos(currency string, units int64, nanos int32) (Money, error) {
	if nanos <= -1e9 || nanos >= 1e9 || (units > 0 && nanos < 0) || (units < 0 && nanos > 0) {
		return Money{}, fmt.Errorf("%w: got units %d, nanos %d", ErrNanos, units, nanos)
	}
	if units == math.MinInt64 {
		return Money{}, ErrTooLarge
	}
	return New(currency, decimal.NewFromInt(units).Add(decimal.New(int64(nanos), -9)))
}
