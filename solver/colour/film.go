package colour

import "math"

// KS is absorption over scattering of a film that hides what is below it, by
// Kubelka and Munk: (1-R)^2/2R. It is +Inf at R = 0.
func KS(r float64) float64 { return (1 - r) * (1 - r) / (2 * r) }

// FromKS is the reflectance of absorption over scattering, the inverse of KS.
func FromKS(ks float64) float64 {
	if math.IsInf(ks, 1) {
		return 0
	}
	return 1 / (1 + ks + math.Sqrt(ks*ks+2*ks)) // as 1+ks-sqrt(...), without its cancellation
}

// Surface holds the two coefficients of Saunderson's correction (Journal of the
// Optical Society of America 32, 1942). The zero Surface reflects nothing.
type Surface struct {
	K1 float64 // of light that falls on the surface, usually .02 to .05
	K2 float64 // of diffuse light from inside, usually .4 to .66
	// Included is whether the instrument measures the gloss as well; an instrument
	// of 45/0 geometry does not.
	Included bool
}

// Outside is what an instrument measures of a film of internal reflectance r.
func (s Surface) Outside(r float64) float64 {
	m := (1 - s.K1) * (1 - s.K2) * r / (1 - s.K2*r)
	if s.Included {
		m += s.K1
	}
	return m
}

// Inside is the internal reflectance of a measured one, the inverse of Outside,
// at least 0.
func (s Surface) Inside(m float64) float64 {
	if s.Included {
		m -= s.K1
	}
	return max(0, m/((1-s.K1)*(1-s.K2)+s.K2*m))
}

// Film is the curve of a translucent film on a stock: the K/S of the stock plus
// that of each base ink times its concentration. stock is a measured curve; unit[j]
// is the K/S of base j at concentration 1 on the grid of stock.
func Film(stock Curve, unit [][]float64, concentration []float64, s Surface) Curve {
	out := stock.like()
	for i, r := range stock.Values {
		ks := KS(floor(s.Inside(r)))
		for j, c := range concentration {
			ks += c * unit[j][i]
		}
		out.Values[i] = s.Outside(FromKS(ks))
	}
	return out
}

// Optics are absorption and scattering of one component on a grid.
type Optics struct{ K, S []float64 }

// Opaque is the internal reflectance of a mixture that hides what is below it: the
// sum of c K over the sum of c S. It is on the grid of like, whose values do not
// matter.
func Opaque(like Curve, of []Optics, concentration []float64, s Surface) Curve {
	out := like.like()
	for i := range out.Values {
		k, scatter := 0.0, 0.0
		for j, c := range concentration {
			k += c * of[j].K[i]
			scatter += c * of[j].S[i]
		}
		out.Values[i] = s.Outside(FromKS(k / scatter))
	}
	return out
}

// darkest is the reflectance below which an instrument reads noise; K/S goes to
// infinity there.
const darkest = 1e-4

func floor(r float64) float64 { return max(r, darkest) }

// Opacity is the contrast ratio of one film over black and over white, %: the
// luminous reflectance Y over black in parts of that over white (ISO 6504-3,
// ASTM D2805 use the same ratio).
func Opacity(overBlack, overWhite Curve) float64 {
	v := Viewing{D65, TwoDegree}
	return 100 * WeightsFor(v, overBlack).XYZ(overBlack).Y / WeightsFor(v, overWhite).XYZ(overWhite).Y
}

// Metamerism is the special index for a change of light (CIE 15): the CIEDE2000
// difference of two curves under test once what they differ by under reference is
// taken out, by multiplying the second's tristimulus values.
func Metamerism(a, b Curve, reference, test Viewing) float64 {
	ra, rb := WeightsFor(reference, a).XYZ(a), WeightsFor(reference, b).XYZ(b)
	w := WeightsFor(test, a)
	ta, tb := w.XYZ(a), WeightsFor(test, b).XYZ(b)
	tb = XYZ{tb.X * ra.X / rb.X, tb.Y * ra.Y / rb.Y, tb.Z * ra.Z / rb.Z}
	return Difference2000(ta.Lab(w.White()), tb.Lab(w.White()))
}
