package mass

import "math"

// Rounding names how a mass that falls between two steps is rounded.
type Rounding uint8

// The rounding modes.
const (
	RoundHalfEven Rounding = iota // to the nearest step, ties to the even step
	RoundDown                     // towards zero
	RoundUp                       // away from zero
	RoundFloor                    // towards minus infinity
	RoundCeil                     // towards plus infinity
)

// RoundKilograms turns a computed number of kilograms into whole milligrams by
// the given mode. It panics on a value that is not finite: computed values are
// checked where they are computed.
func RoundKilograms(kg float64, mode Rounding) Mass {
	if math.IsNaN(kg) || math.IsInf(kg, 0) {
		panic("mass: RoundKilograms of a value that is not finite")
	}
	return Mass(roundFloat(kg*1e6, mode))
}

// RoundTo rounds m to a whole multiple of step (a scale's division), which must
// be positive.
func (m Mass) RoundTo(step Mass, mode Rounding) Mass {
	if step <= 0 {
		panic("mass: RoundTo with a step that is not positive")
	}
	q, r := m/step, m%step
	if r == 0 {
		return m
	}
	sign := Mass(1)
	if r < 0 {
		sign = -1
	}
	away := q + sign // the next step away from zero
	switch mode {
	case RoundDown:
		return q * step
	case RoundUp:
		return away * step
	case RoundFloor:
		return min(q, away) * step
	case RoundCeil:
		return max(q, away) * step
	}
	twice := 2 * r * sign
	if twice > step || (twice == step && q%2 != 0) {
		return away * step
	}
	return q * step
}

func roundFloat(v float64, mode Rounding) float64 {
	switch mode {
	case RoundDown:
		return math.Trunc(v)
	case RoundUp:
		return math.Copysign(math.Ceil(math.Abs(v)), v)
	case RoundFloor:
		return math.Floor(v)
	case RoundCeil:
		return math.Ceil(v)
	}
	return math.RoundToEven(v)
}
