package colour

import (
	"math"

	"github.com/lucasb-eyer/go-colorful"
)

// Lab is a colour in CIE 1976 L*a*b* (ISO 11664-4).
type Lab struct{ L, A, B float64 }

// Lab is the colour relative to a white point.
func (x XYZ) Lab(white XYZ) Lab {
	l, a, b := colorful.XyzToLabWhiteRef(x.X/100, x.Y/100, x.Z/100, [3]float64{white.X / 100, white.Y / 100, white.Z / 100})
	return Lab{100 * l, 100 * a, 100 * b}
}

// Seen is the colour of a curve in a viewing. The curve must be valid.
func (c Curve) Seen(v Viewing) Lab {
	w := WeightsFor(v, c)
	return w.XYZ(c).Lab(w.White())
}

// Swatch is the colour of a curve on a screen, as "#rrggbb" in sRGB (IEC
// 61966-2-1), under D65 to the 2 degree observer, clipped to what a screen has.
func (c Curve) Swatch() string {
	x := WeightsFor(Viewing{D65, TwoDegree}, c).XYZ(c)
	return colorful.Xyz(x.X/100, x.Y/100, x.Z/100).Clamped().Hex()
}

// Chroma is C*ab.
func (l Lab) Chroma() float64 { return math.Hypot(l.A, l.B) }

// Hue is h_ab in degrees, 0 to 360; 0 of a grey.
func (l Lab) Hue() float64 {
	if l.A == 0 && l.B == 0 {
		return 0
	}
	h := math.Atan2(l.B, l.A) * 180 / math.Pi
	if h < 0 {
		h += 360
	}
	return h
}

// Difference is the CIE 1976 colour difference.
func Difference(a, b Lab) float64 {
	return math.Sqrt((a.L-b.L)*(a.L-b.L) + (a.A-b.A)*(a.A-b.A) + (a.B-b.B)*(a.B-b.B))
}

const degrees = math.Pi / 180

// pow7 is c^7/(c^7+25^7), by which CIEDE2000 tells near greys from the rest.
func pow7(c float64) float64 {
	c7 := math.Pow(c, 7)
	return c7 / (c7 + 6103515625)
}

// Difference2000 is the CIEDE2000 colour difference with all weights 1 (ISO/CIE
// 11664-6), as Sharma, Wu and Dalal (Color Research and Application 30, 2005) work
// it out.
func Difference2000(a, b Lab) float64 {
	t := Terms(a, b)
	return math.Sqrt(t.L*t.L + t.C*t.C + t.H*t.H + t.Turn*t.C*t.H)
}

// DifferenceTerms are what a CIEDE2000 difference is made of: lightness, chroma
// and hue, each over its weight, and the term that turns the blues. Positive is
// lighter, more chromatic, and further round in hue.
type DifferenceTerms struct{ L, C, H, Turn float64 }

// Terms are those of the difference of b from a.
func Terms(a, b Lab) DifferenceTerms {
	mean := (a.Chroma() + b.Chroma()) / 2
	g := 1 + 0.5*(1-math.Sqrt(pow7(mean)))
	p, q := Lab{a.L, g * a.A, a.B}, Lab{b.L, g * b.A, b.B}
	dL, dC := q.L-p.L, q.Chroma()-p.Chroma()
	dh, meanHue := hues(p, q)
	dH := 2 * math.Sqrt(p.Chroma()*q.Chroma()) * math.Sin(dh/2*degrees)

	meanL, meanC := (p.L+q.L)/2, (p.Chroma()+q.Chroma())/2
	t := 1 - 0.17*math.Cos((meanHue-30)*degrees) + 0.24*math.Cos(2*meanHue*degrees) +
		0.32*math.Cos((3*meanHue+6)*degrees) - 0.20*math.Cos((4*meanHue-63)*degrees)
	l50 := (meanL - 50) * (meanL - 50)
	sL, sC, sH := 1+0.015*l50/math.Sqrt(20+l50), 1+0.045*meanC, 1+0.015*meanC*t
	turn := 30 * math.Exp(-((meanHue-275)/25)*((meanHue-275)/25))
	rT := -2 * math.Sqrt(pow7(meanC)) * math.Sin(2*turn*degrees)
	return DifferenceTerms{dL / sL, dC / sC, dH / sH, rT}
}

// hues are the difference of two hues the short way round, and their mean,
// degrees. A grey has the hue of the other colour.
func hues(p, q Lab) (difference, mean float64) {
	h, k := p.Hue(), q.Hue()
	if p.Chroma()*q.Chroma() == 0 {
		return 0, h + k
	}
	switch difference = k - h; {
	case math.Abs(difference) <= 180:
		return difference, (h + k) / 2
	case difference > 180:
		difference -= 360
	default:
		difference += 360
	}
	if h+k < 360 {
		return difference, (h + k + 360) / 2
	}
	return difference, (h + k - 360) / 2
}

// Swatch is the colour on a screen, as "#rrggbb" in sRGB, clipped to what a screen
// has: how it looks to an eye that is adapted to its white, so that a colour seen
// in lamp light is not the orange that a camera would make of it.
func (l Lab) Swatch() string {
	return colorful.LabWhiteRef(l.L/100, l.A/100, l.B/100, colorful.D65).Clamped().Hex()
}
