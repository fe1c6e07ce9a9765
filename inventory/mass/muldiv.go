package mass

import (
	"math"
	"math/big"
)

// MulDiv is m*num/den without overflow on the way, rounded to the milligram by
// mode. It panics when den is not positive. A result too large for a Mass is the
// largest Mass, far above Max, which every check of an amount refuses.
func MulDiv(m Mass, num, den int64, mode Rounding) Mass {
	if den <= 0 {
		panic("mass: MulDiv by a denominator that is not positive")
	}
	n := new(big.Int).Mul(big.NewInt(int64(m)), big.NewInt(num))
	q, r := new(big.Int).QuoRem(n, big.NewInt(den), new(big.Int))
	if !q.IsInt64() {
		if q.Sign() < 0 {
			return math.MinInt64
		}
		return math.MaxInt64
	}
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
