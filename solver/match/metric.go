package match

import (
	"math"

	"millbase/solver/colour"
)

// metric turns a colour into a vector whose length is its CIEDE2000 difference
// from a target.
type metric struct {
	target colour.Lab
	form   [3][3]float64 // the difference to second order: the length of form times (lab - target)
}

// newMetric works the quadratic form out at the target: lightness, chroma and hue
// over their weights there, the product term taken up by completing the square.
func newMetric(target colour.Lab) metric {
	// Half a step to either side along an axis has the target in the middle, so the
	// weights are exactly those at the target.
	const h = 1e-3
	d2 := func(v [3]float64) float64 {
		a := colour.Lab{L: target.L - h*v[0], A: target.A - h*v[1], B: target.B - h*v[2]}
		b := colour.Lab{L: target.L + h*v[0], A: target.A + h*v[1], B: target.B + h*v[2]}
		d := colour.Difference2000(a, b) / (2 * h)
		return d * d
	}
	var q [3][3]float64
	axis := func(i int) (v [3]float64) { v[i] = 1; return v }
	for i := range q {
		q[i][i] = d2(axis(i))
	}
	for i := range q {
		for j := range i {
			both := axis(i)
			both[j] = 1
			q[i][j] = (d2(both) - q[i][i] - q[j][j]) / 2
			q[j][i] = q[i][j]
		}
	}
	return metric{target: target, form: upper(q)}
}

// upper is the upper triangle u with u'u = q (Cholesky).
func upper(q [3][3]float64) (u [3][3]float64) {
	for j := range 3 {
		for i := range j + 1 {
			sum := q[i][j]
			for k := range i {
				sum -= u[k][i] * u[k][j]
			}
			if i == j {
				u[i][i] = math.Sqrt(max(sum, 1e-12))
			} else {
				u[i][j] = sum / u[i][i]
			}
		}
	}
	return u
}

// at is the vector of a colour.
func (m *metric) at(lab colour.Lab) (v [3]float64) {
	d := [3]float64{lab.L - m.target.L, lab.A - m.target.A, lab.B - m.target.B}
	for i := range v {
		for j := i; j < 3; j++ {
			v[i] += m.form[i][j] * d[j]
		}
	}
	size := length(v)
	if size < 1e-9 {
		return v
	}
	by := colour.Difference2000(m.target, lab) / size
	for i := range v {
		v[i] *= by
	}
	return v
}

// vector is the vector of a colour and its slopes by L*, a* and b*. The slopes are
// differences: the weights of CIEDE2000 are smooth but long to differentiate.
func (m *metric) vector(lab colour.Lab) (v [3]float64, slopes [3][3]float64) {
	const h = 1e-4
	v = m.at(lab)
	for j := range 3 {
		lo, hi := lab, lab
		switch j {
		case 0:
			lo.L, hi.L = lab.L-h, lab.L+h
		case 1:
			lo.A, hi.A = lab.A-h, lab.A+h
		case 2:
			lo.B, hi.B = lab.B-h, lab.B+h
		}
		p, q := m.at(lo), m.at(hi)
		for i := range 3 {
			slopes[i][j] = (q[i] - p[i]) / (2 * h)
		}
	}
	return v, slopes
}

func length(v [3]float64) float64 {
	return math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2])
}

func dot(u, v [3]float64) float64 { return u[0]*v[0] + u[1]*v[1] + u[2]*v[2] }
