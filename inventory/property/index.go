package property

import (
	"math"
	"strings"
)

// Forward is the blending index f(p) of a value. Outside the domain of the
// index (see Domain) it returns NaN.
//
// Sources: Arrhenius for Logarithm (ln of the viscosity blends by mass);
// Refutas (offset 0.8) and ASTM D341 (offset 0.7) for DoubleLog.
func (d *Definition) Forward(p float64) float64 {
	switch d.Index {
	case Reciprocal:
		return 1 / p
	case Logarithm:
		return math.Log(p)
	case DoubleLog:
		return math.Log(math.Log(d.scale()*p + d.Offset))
	case Power:
		return math.Pow(p, d.Exponent)
	}
	return p
}

// Inverse is the value p with Forward(p) = t.
func (d *Definition) Inverse(t float64) float64 {
	switch d.Index {
	case Reciprocal:
		return 1 / t
	case Logarithm:
		return math.Exp(t)
	case DoubleLog:
		return (math.Exp(math.Exp(t)) - d.Offset) / d.scale()
	case Power:
		return math.Pow(t, 1/d.Exponent)
	}
	return t
}

// Slope is df/dp at p, in index units per unit of the property.
func (d *Definition) Slope(p float64) float64 {
	switch d.Index {
	case Reciprocal:
		return -1 / (p * p)
	case Logarithm:
		return 1 / p
	case DoubleLog:
		v := d.scale()*p + d.Offset
		return d.scale() / (v * math.Log(v))
	case Power:
		return d.Exponent * math.Pow(p, d.Exponent-1)
	}
	return 1
}

// Increasing reports whether a higher value has a higher index.
func (d *Definition) Increasing() bool {
	return d.Index != Reciprocal && (d.Index != Power || d.Exponent > 0)
}

// Domain is the open lower end of the values for which the index is defined;
// -Inf for a linear one.
func (d *Definition) Domain() float64 {
	switch d.Index {
	case Reciprocal, Logarithm, Power:
		return 0
	case DoubleLog:
		return (1 - d.Offset) / d.scale()
	}
	return math.Inf(-1)
}

func (d *Definition) scale() float64 {
	if d.Scale == 0 {
		return 1
	}
	return d.Scale
}

// PerKgWeighed reports whether the property is an amount per kg as weighed in
// (a "..._fraction" that blends linearly by mass), as opposed to a value of what
// stays in the ink. The two differ only where RetainedFraction is below 1.
func (d *Definition) PerKgWeighed() bool {
	return d.Index == Linear && d.Basis == BasisMass && strings.HasSuffix(d.Name, "_fraction")
}
