package colour

import (
	"fmt"
	"math"
)

// Curve is a spectral reflectance factor: Values[i] at First + i*Step nm.
type Curve struct {
	First, Step int // nm
	Values      []float64
}

// The range in which a curve may lie, nm, and the least number of values that
// can be interpolated.
const (
	Shortest  = 360
	Longest   = 830
	minValues = 8
)

// most is the highest reflectance factor that is believed: fluorescent stocks go
// beyond 1.
const most = 2

// Last is the wavelength of the last value, nm.
func (c Curve) Last() int { return c.First + (len(c.Values)-1)*c.Step }

// At is the value at a wavelength that the curve has.
func (c Curve) At(nm int) float64 { return c.Values[(nm-c.First)/c.Step] }

// Validate says what is wrong with a curve: its grid, or a value that is no
// reflectance.
func (c Curve) Validate() error {
	switch {
	case c.Step != 5 && c.Step != 10 && c.Step != 20:
		return fmt.Errorf("a curve has a value every 5, 10 or 20 nm, this one every %d nm", c.Step)
	case c.First%c.Step != 0:
		return fmt.Errorf("a curve of %d nm steps begins at a multiple of %d nm, this one at %d nm", c.Step, c.Step, c.First)
	case len(c.Values) < minValues:
		return fmt.Errorf("a curve needs at least %d values, this one has %d", minValues, len(c.Values))
	case c.First < Shortest || c.Last() > Longest:
		return fmt.Errorf("a curve lies within %d to %d nm, this one goes from %d to %d nm", Shortest, Longest, c.First, c.Last())
	case c.First > 420 || c.Last() < 680:
		return fmt.Errorf("a curve reaches at least from 420 to 680 nm, this one goes from %d to %d nm", c.First, c.Last())
	}
	for i, v := range c.Values {
		if math.IsNaN(v) || v < 0 || v > most {
			return fmt.Errorf("the reflectance at %d nm is %g; write a factor between 0 and %d (47 %% is 0.47)", c.First+i*c.Step, v, most)
		}
	}
	return nil
}

// SameGrid reports whether two curves have values at the same wavelengths.
func (c Curve) SameGrid(d Curve) bool {
	return c.First == d.First && c.Step == d.Step && len(c.Values) == len(d.Values)
}

// like is a curve on the same grid with its values to be filled in.
func (c Curve) like() Curve {
	return Curve{First: c.First, Step: c.Step, Values: make([]float64, len(c.Values))}
}

// mapped is f of every value.
func (c Curve) mapped(f func(float64) float64) Curve {
	out := c.like()
	for i, v := range c.Values {
		out.Values[i] = f(v)
	}
	return out
}

// Thinned is the curve at every second value: 20 nm from 10.
func (c Curve) Thinned() Curve {
	out := Curve{First: c.First, Step: 2 * c.Step}
	for i := 0; i < len(c.Values); i += 2 {
		out.Values = append(out.Values, c.Values[i])
	}
	return out
}
