package match

import (
	"math"

	"millbase/solver/colour"
)

// shade works out the colour of a mixture and how it moves with the shares. Its
// columns are those of the linear program.
type shade struct {
	p        *Problem
	unit     [][]float64 // per column, strength applied; nil: colourless
	scatter  [][]float64 // likewise, of an Opaque mixture
	base     []float64   // K/S of the substrate, of a Film
	eyes     []eye
	ks, r    []float64 // at the last point: inside
	total    []float64 // sum of the S, of an Opaque mixture
	slope    []float64 // of the measured reflectance by K/S
	gradient []float64 // of one tristimulus value, per wavelength
}

// eye is one viewing of the target.
type eye struct {
	weights *colour.Weights
	white   colour.XYZ
	metric  metric
	rows    [3][]float64 // what each wavelength adds to X, Y and Z
}

// darkest is the internal reflectance below which a substrate counts as this
// dark: its K/S goes to infinity.
const darkest = 1e-4

// newShade prepares the colours of a valid problem for the columns of its program.
func newShade(p *Problem, columns []int) *shade {
	w := len(p.Substrate.Values)
	s := &shade{p: p, unit: make([][]float64, len(columns)), scatter: make([][]float64, len(columns)),
		base: make([]float64, w), ks: make([]float64, w), r: make([]float64, w), total: make([]float64, w),
		slope: make([]float64, w), gradient: make([]float64, w)}
	for k, j := range columns {
		c := &p.Colourants[j]
		if c.coloured() || c.S != nil {
			s.unit[k] = scaled(c.K, strength(&p.Blend.Candidates[j]))
			s.scatter[k] = scaled(c.S, strength(&p.Blend.Candidates[j]))
		}
	}
	if p.Mode == Film {
		for i, r := range p.Substrate.Values {
			s.base[i] = colour.KS(max(darkest, p.Surface.Inside(r)))
		}
	}
	views := []colour.Viewing{p.Viewing}
	if p.Target.Curve != nil {
		views = append(views, p.SecondViewing())
	}
	for _, v := range views {
		target, _ := p.target(v)
		e := eye{weights: colour.WeightsFor(v, p.Substrate), metric: newMetric(target)}
		e.white = e.weights.White()
		for k := range e.rows {
			e.rows[k] = e.weights.Row(k)
		}
		s.eyes = append(s.eyes, e)
	}
	return s
}

func scaled(values []float64, by float64) []float64 {
	if values == nil || by == 1 {
		return values
	}
	out := make([]float64, len(values))
	for i, v := range values {
		out[i] = v * by
	}
	return out
}

// at works out the curve of a mixture; false where nothing scatters.
func (s *shade) at(x []float64) bool {
	copy(s.ks, s.base)
	if s.p.Mode == Film {
		for k, u := range s.unit {
			if u == nil || x[k] == 0 {
				continue
			}
			for i, v := range u {
				s.ks[i] += v * x[k]
			}
		}
	} else {
		clear(s.total)
		for k, u := range s.unit {
			if u == nil || x[k] == 0 {
				continue
			}
			for i, v := range u {
				s.ks[i] += v * x[k]
				s.total[i] += s.scatter[k][i] * x[k]
			}
		}
		for i, t := range s.total {
			if !(t > 0) {
				return false
			}
			s.ks[i] /= t
		}
	}
	for i, ks := range s.ks {
		s.r[i] = s.p.Surface.Outside(colour.FromKS(max(0, ks)))
	}
	return true
}

// seen is the colour of the last mixture to an eye.
func (s *shade) seen(e *eye) colour.Lab {
	var t [3]float64
	for k := range t {
		for i, w := range e.rows[k] {
			t[k] += w * s.r[i]
		}
	}
	return colour.XYZ{X: t[0], Y: t[1], Z: t[2]}.Lab(e.white)
}

// difference is that of a mixture from the target, to the first eye; +Inf where
// nothing scatters.
func (s *shade) difference(x []float64, eye int) float64 {
	if !s.at(x) {
		return math.Inf(1)
	}
	e := &s.eyes[eye]
	return colour.Difference2000(e.metric.target, s.seen(e))
}

// slopes fills in what K/S does to the measured reflectance at the last mixture.
func (s *shade) slopes() {
	k1, k2 := s.p.Surface.K1, s.p.Surface.K2
	for i, ks := range s.ks {
		ks = max(ks, 1e-12)
		root := math.Sqrt(ks*ks + 2*ks)
		r := 1 / (1 + ks + root)
		outside := (1 - k1) * (1 - k2) / ((1 - k2*r) * (1 - k2*r))
		s.slope[i] = -r * r * (1 + (ks+1)/root) * outside
	}
}

// toward takes a measured curve for the last mixture: its K/S and slopes.
func (s *shade) toward(c colour.Curve) {
	for i, r := range c.Values {
		s.ks[i] = colour.KS(min(1, max(darkest, s.p.Surface.Inside(r))))
	}
	s.slopes()
}

// byShare is the change of the measured reflectance at wavelength i with the share
// of column k; slopes were filled in.
func (s *shade) byShare(k, i int) float64 {
	if s.p.Mode == Film {
		return s.slope[i] * s.unit[k][i]
	}
	return s.slope[i] * (s.unit[k][i] - s.ks[i]*s.scatter[k][i]) / s.total[i]
}

// linear is the difference vector of a mixture to first order: its value, and its
// change with the share of each column (3 figures a column).
type linear struct {
	value [3]float64
	by    [][3]float64
}

// linearise works out the difference vector to an eye around the last mixture;
// slopes were filled in.
func (s *shade) linearise(e *eye, out *linear) {
	var t, unit [3]float64
	for k := range t {
		for i, w := range e.rows[k] {
			t[k] += w * s.r[i]
		}
	}
	white := [3]float64{e.white.X, e.white.Y, e.white.Z}
	for k := range t {
		unit[k] = cubeSlope(t[k]/white[k]) / white[k]
	}
	lab := colour.XYZ{X: t[0], Y: t[1], Z: t[2]}.Lab(e.white)
	var slopes [3][3]float64
	out.value, slopes = e.metric.vector(lab)
	for k, u := range s.unit {
		out.by[k] = [3]float64{}
		if u == nil {
			continue
		}
		var d [3]float64
		for i := range u {
			r := s.byShare(k, i)
			d[0] += e.rows[0][i] * r
			d[1] += e.rows[1][i] * r
			d[2] += e.rows[2][i] * r
		}
		x, y, z := d[0]*unit[0], d[1]*unit[1], d[2]*unit[2]
		dLab := [3]float64{116 * y, 500 * (x - y), 200 * (y - z)}
		for a := range out.by[k] {
			out.by[k][a] = slopes[a][0]*dLab[0] + slopes[a][1]*dLab[1] + slopes[a][2]*dLab[2]
		}
	}
}

// cubeSlope is the slope of CIELAB's f: the cube root, a line below (6/29)^3.
func cubeSlope(t float64) float64 {
	if t > 216.0/24389 {
		c := math.Cbrt(t)
		return 1 / (3 * c * c)
	}
	return 24389.0 / 27 / 116
}
