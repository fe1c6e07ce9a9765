package match

import (
	"math"

	"millbase/solver/colour"
)

// What the strengths of a pot's bases are told from: how far a base usually is from
// its characterisation, and how well an instrument repeats a reflectance.
const (
	usualDeviation = 0.05
	usualNoise     = 0.003
)

// strengths are the factors on the absorption of a pot's components by which they
// print as measured: the most likely ones where factors vary by usualDeviation
// around 1, and the reflectance was read with usualNoise. A component that hardly
// shows stays near 1. common is the factor on all of the pot: of bases that are not
// in it the best that is known.
func strengths(p *Problem, shares []float64, colourants []Colourant, measured colour.Curve) (of []float64, common float64) {
	n, w := len(shares), len(measured.Values)
	// ridge regression of K/S, each wavelength weighted by how well its K/S is known
	normal := make([][]float64, n)
	right := make([]float64, n)
	for a := range normal {
		normal[a] = make([]float64, n+1)
		normal[a][a] = 1 / (usualDeviation * usualDeviation)
		right[a] = normal[a][a]
	}
	above, below := 0.0, 0.0
	for i := range w {
		r := max(darkest, p.Surface.Inside(measured.Values[i]))
		ks, base, scatter := colour.KS(min(1, r)), 0.0, 1.0
		if p.Mode == Film {
			base = colour.KS(max(darkest, p.Surface.Inside(p.Substrate.Values[i])))
		} else {
			scatter = 0
			for j := range colourants {
				if colourants[j].S != nil {
					scatter += shares[j] * colourants[j].S[i]
				}
			}
		}
		slope := 2 * r * r / max(1-r*r, 1e-3) // of R by K/S
		weight := (slope / usualNoise) * (slope / usualNoise)
		row := make([]float64, n)
		total := 0.0
		for j := range colourants {
			if colourants[j].K != nil && scatter > 0 {
				row[j] = shares[j] * colourants[j].K[i] / scatter
				total += row[j]
			}
		}
		for a := range row {
			for b := range row {
				normal[a][b] += weight * row[a] * row[b]
			}
			right[a] += weight * row[a] * (ks - base)
		}
		above += weight * total * (ks - base)
		below += weight * total * total
	}
	common = 1
	if below > 0 {
		common = max(0, above/below)
	}
	return positive(normal, right), common
}

// positive solves a small positive definite system by elimination and cuts what is
// below a tenth: a base does not print with less than that of its strength.
func positive(a [][]float64, b []float64) []float64 {
	n := len(b)
	for k := range n {
		for i := k + 1; i < n; i++ {
			f := a[i][k] / a[k][k]
			for j := k; j < n; j++ {
				a[i][j] -= f * a[k][j]
			}
			b[i] -= f * b[k]
		}
	}
	x := make([]float64, n)
	for k := n - 1; k >= 0; k-- {
		x[k] = b[k]
		for j := k + 1; j < n; j++ {
			x[k] -= a[k][j] * x[j]
		}
		x[k] = math.Max(0.1, x[k]/a[k][k])
	}
	return x
}
