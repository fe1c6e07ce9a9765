package money

import "github.com/shopspring/decimal"

// Rounding names how an amount between two steps is rounded.
type Rounding uint8

// The rounding modes.
const (
	RoundHalfEven Rounding = iota // to the nearest step, ties to the even step
	RoundHalfUp                   // to the nearest step, ties away from zero
	RoundUp                       // away from zero: 1.01 becomes 2, -1.01 becomes -2
	RoundDown                     // towards zero
)

// Round rounds to the given number of decimal places; negative places round to
// tens, hundreds and so on.
func (m Money) Round(places int32, mode Rounding) Money {
	return Money{m.Currency, RoundDecimal(m.Amount, places, mode)}
}

// RoundMinor rounds to the minor unit of the currency (cents for EUR).
func (m Money) RoundMinor(mode Rounding) Money {
	return m.Round(MinorUnits(m.Currency), mode)
}

// RoundDecimal rounds a plain number to the given number of decimal places.
func RoundDecimal(d decimal.Decimal, places int32, mode Rounding) decimal.Decimal {
	switch mode {
	case RoundHalfUp:
		return d.Round(places)
	case RoundUp:
		return d.RoundUp(places)
	case RoundDown:
		return d.RoundDown(places)
	}
	return d.RoundBank(places)
}

// DivDecimal is a/b rounded once, in the named mode, to the given number of
// decimal places. The quotient is not rounded twice. b must not be zero (panic).
func DivDecimal(a, b decimal.Decimal, places int32, mode Rounding) decimal.Decimal {
	q, r := a.QuoRem(b, places) // truncated towards zero, a = q*b + r
	if r.IsZero() || mode == RoundDown {
		return q
	}
	step := decimal.New(1, -places)
	if a.Sign()*b.Sign() < 0 {
		step = step.Neg()
	}
	twice := r.Abs().Mul(decimal.New(2, places)).Cmp(b.Abs())
	odd := q.Shift(places).BigInt().Bit(0) == 1
	if mode == RoundUp || twice > 0 || (twice == 0 && (mode == RoundHalfUp || odd)) {
		return q.Add(step)
	}
	return q
}

// MinorUnits is the number of decimal places of the currency's minor unit after
// ISO 4217 (from memory): 2 unless listed otherwise.
func MinorUnits(currency string) int32 {
	switch currency {
	case "BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF",
		"UGX", "UYI", "VND", "VUV", "XAF", "XOF", "XPF":
		return 0
	case "BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND":
		return 3
	case "CLF", "UYW":
		return 4
	}
	return 2
}
