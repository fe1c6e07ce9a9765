package mass

import "math/big"

// MulDiv is m*num/den without overflow, rounded to the milligram by mode. It
// panics when den is not positive.
func MulDiv(m Mass, num, den int64, mode Rounding) Mass {
	if den <= 0 {
		panic("mass: MulDiv by a denominator that is not positive")
	}
	n := new(big.Int).Mul(big.NewInt(int64(m)), big.NewInt(num))
	q, r := new(big.Int).QuoRem(n, big.NewInt(den), new(big.Int))
	out := Mass(q.Int64())
	if r.Sign() == 0 {
		return out
	}
	away := out + Mass(r.Sign())
	switch mode {
	case RoundDown:
		return out
	case RoundUp:
		return away
	case RoundFloor:
		return min(out, away)
	case RoundCeil:
		return max(out, away)
	}
	twice := new(big.Int).Abs(r)
	twice.Lsh(twice, 1)
	c := twice.Cmp(big.NewInt(den))
	if c > 0 || (c == 0 && out%2 != 0) {
		return away
	}
	return out
}
