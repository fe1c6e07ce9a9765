package colour

import (
	"fmt"
	"math"
)

// Drawdown is a measured print of one base ink.
type Drawdown struct {
	// Concentration of the base in the ink, kg/kg, above 0 to 1; of a film that is
	// thicker than usual times how much thicker.
	Concentration float64
	Curve         Curve // as measured
}

// Fit is a base ink characterised on a stock.
type Fit struct {
	// Unit is the K/S of the base at concentration 1, per value of the grid, at
	// least 0.
	Unit []float64
	// Residual is the root mean square difference of reflectance between the
	// drawdowns and what is predicted of them.
	Residual float64
	// Differences are the CIEDE2000 differences of the drawdowns from their
	// predictions, D50/2, in their order.
	Differences []float64
}

// mostInFilm is the largest concentration in a film: one that is thicker than usual
// counts as so much more of it.
const mostInFilm = 20

// FitFilm finds the unit K/S of a base ink from drawdowns on a stock at one or more
// concentrations: per wavelength the least squares of reflectance, to first order,
// that is not negative. Errors name the drawdown.
func FitFilm(stock Curve, of []Drawdown, s Surface) (*Fit, error) {
	if err := checkDrawdowns(stock, of, mostInFilm); err != nil {
		return nil, err
	}
	f := &Fit{Unit: make([]float64, len(stock.Values))}
	for i, r := range stock.Values {
		bare := KS(floor(s.Inside(r)))
		above, below := 0.0, 0.0
		for _, d := range of {
			m := floor(s.Inside(d.Curve.Values[i]))
			w := sensitivity(m)
			above += w * d.Concentration * (KS(m) - bare)
			below += w * d.Concentration * d.Concentration
		}
		f.Unit[i] = max(0, above/below)
	}
	f.judge(of, func(d Drawdown) Curve { return Film(stock, [][]float64{f.Unit}, []float64{d.Concentration}, s) })
	return f, nil
}

// sensitivity is the square of how much the reflectance moves with K/S, at r: by
// it a difference of K/S counts as the difference of reflectance that it makes.
func sensitivity(r float64) float64 {
	d := 2 * r * r / max(1-r*r, 1e-3)
	return d * d
}

func (f *Fit) judge(of []Drawdown, predict func(Drawdown) Curve) {
	sum, n := 0.0, 0
	for _, d := range of {
		p := predict(d)
		for i, v := range p.Values {
			sum += (v - d.Curve.Values[i]) * (v - d.Curve.Values[i])
			n++
		}
		view := Viewing{D50, TwoDegree}
		f.Differences = append(f.Differences, Difference2000(p.Seen(view), d.Curve.Seen(view)))
	}
	f.Residual = math.Sqrt(sum / float64(n))
}

// OpaqueFit is a component characterised in mixtures with a known one.
type OpaqueFit struct {
	Optics
	Residual    float64   // as in Fit
	Differences []float64 // as in Fit
}

// FitOpaque finds K and S of a component from drawdowns that hide what is below
// them, of mixtures with white: Concentration is the share of the component, the
// rest is white, whose K and S are known. Per wavelength it is a least-squares
// problem of two unknowns that are not negative: K/S of the mixture is
// (cK + (1-c)Kw)/(cS + (1-c)Sw), so cK - (K/S)cS = (K/S)(1-c)Sw - (1-c)Kw. It
// takes two concentrations at least, one of them below 1.
func FitOpaque(white Optics, of []Drawdown, s Surface) (*OpaqueFit, error) {
	if len(of) < 2 {
		return nil, fmt.Errorf("give drawdowns at two concentrations at least, not %d: there are two unknowns, K and S", len(of))
	}
	if err := checkDrawdowns(of[0].Curve, of, 1); err != nil {
		return nil, err
	}
	n := len(of[0].Curve.Values)
	if len(white.K) != n || len(white.S) != n {
		return nil, fmt.Errorf("the white has %d values of K and %d of S, the drawdowns have %d: use the same wavelengths", len(white.K), len(white.S), n)
	}
	mixed := false
	for _, d := range of {
		mixed = mixed || d.Concentration < 1
	}
	if !mixed {
		return nil, fmt.Errorf("at least one drawdown must be mixed with white: concentration below 1")
	}
	f := &OpaqueFit{Optics: Optics{make([]float64, n), make([]float64, n)}}
	for i := range n {
		var a [2][2]float64
		var b [2]float64
		for _, d := range of {
			r := floor(s.Inside(d.Curve.Values[i]))
			ks, rest := KS(r), 1-d.Concentration
			row := [2]float64{d.Concentration, -ks * d.Concentration}
			right := ks*rest*white.S[i] - rest*white.K[i]
			w := sensitivity(r)
			for p := range 2 {
				for q := range 2 {
					a[p][q] += w * row[p] * row[q]
				}
				b[p] += w * row[p] * right
			}
		}
		f.K[i], f.S[i] = notNegative(a, b)
	}
	fit := Fit{}
	fit.judge(of, func(d Drawdown) Curve {
		return Opaque(d.Curve, []Optics{f.Optics, white}, []float64{d.Concentration, 1 - d.Concentration}, s)
	})
	f.Residual, f.Differences = fit.Residual, fit.Differences
	return f, nil
}

// notNegative solves a least-squares problem of two unknowns, given by its normal
// equations, within x, y >= 0: of the four ways to hold some at zero, the best
// that is allowed.
func notNegative(a [2][2]float64, b [2]float64) (x, y float64) {
	best := 0.0 // of x = y = 0
	try := func(p, q float64) {
		if p < 0 || q < 0 || math.IsNaN(p+q) || math.IsInf(p+q, 0) {
			return
		}
		value := a[0][0]*p*p + 2*a[0][1]*p*q + a[1][1]*q*q - 2*b[0]*p - 2*b[1]*q
		if value < best {
			best, x, y = value, p, q
		}
	}
	try(b[0]/a[0][0], 0)
	try(0, b[1]/a[1][1])
	if det := a[0][0]*a[1][1] - a[0][1]*a[0][1]; det > 1e-14*a[0][0]*a[1][1] {
		try((b[0]*a[1][1]-a[0][1]*b[1])/det, (a[0][0]*b[1]-a[0][1]*b[0])/det)
	}
	return x, y
}

// checkDrawdowns checks drawdowns of at most a concentration.
func checkDrawdowns(grid Curve, of []Drawdown, most float64) error {
	if err := grid.Validate(); err != nil {
		return err
	}
	if len(of) == 0 {
		return fmt.Errorf("there is no drawdown to fit: measure one at least")
	}
	for i, d := range of {
		switch {
		case !(d.Concentration > 0 && d.Concentration <= most):
			return fmt.Errorf("drawdown %d: the concentration is %g; write kg of base per kg of ink, above 0 to %g", i+1, d.Concentration, most)
		case !d.Curve.SameGrid(grid):
			return fmt.Errorf("drawdown %d: %w", i+1, ErrGrids)
		}
		if err := d.Curve.Validate(); err != nil {
			return fmt.Errorf("drawdown %d: %w", i+1, err)
		}
	}
	return nil
}

// FitWhite finds K of the white that other components are let down in, from
// drawdowns of it that hide what is below them. Its S is 1 by definition: only
// ratios of K and S show in a mixture.
func FitWhite(of []Drawdown, s Surface) (*OpaqueFit, error) {
	if len(of) == 0 {
		return nil, fmt.Errorf("there is no drawdown to fit: measure one at least")
	}
	if err := checkDrawdowns(of[0].Curve, of, 1); err != nil {
		return nil, err
	}
	n := len(of[0].Curve.Values)
	f := &OpaqueFit{Optics: Optics{make([]float64, n), make([]float64, n)}}
	for i := range n {
		above, below := 0.0, 0.0
		for _, d := range of {
			if d.Concentration != 1 {
				return nil, fmt.Errorf("a drawdown of the white is of the white alone: concentration 1, not %g", d.Concentration)
			}
			r := floor(s.Inside(d.Curve.Values[i]))
			above += sensitivity(r) * KS(min(1, r))
			below += sensitivity(r)
		}
		f.K[i], f.S[i] = above/below, 1
	}
	var fit Fit
	fit.judge(of, func(d Drawdown) Curve { return Opaque(d.Curve, []Optics{f.Optics}, []float64{1}, s) })
	f.Residual, f.Differences = fit.Residual, fit.Differences
	return f, nil
}
