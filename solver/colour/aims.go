package colour

import (
	"fmt"
	"math"
)

// Aim is the colour that a process ink must print, D50/2, and how far off it may
// be.
type Aim struct {
	Ink string
	Lab Lab
	// Tolerance is the CIE 1976 difference allowed; 0: A, B and Lightest count.
	Tolerance float64
	A, B      float64 // largest deviation of a* and b*
	Lightest  float64 // L* must not be above
}

// processAims are those of sheetfed and heatset process inks on the reference
// substrate at the standard's film thickness: ISO 2846-1:2017, table 1.
var processAims = []Aim{
	{Ink: "yellow", Lab: Lab{91.0, -5.1, 95.0}, Tolerance: 4},
	{Ink: "magenta", Lab: Lab{50.0, 76.0, -3.0}, Tolerance: 4},
	{Ink: "cyan", Lab: Lab{57.0, -39.2, -46.0}, Tolerance: 4},
	{Ink: "black", Lab: Lab{18.0, 0.8, 0.0}, A: 1.5, B: 3, Lightest: 18},
}

// ProcessAim is the aim of a process ink: yellow, magenta, cyan or black.
func ProcessAim(ink string) (Aim, bool) {
	for _, a := range processAims {
		if a.Ink == ink {
			return a, true
		}
	}
	return Aim{}, false
}

// Meets reports whether a print is near enough to the aim, and says by how much.
func (a Aim) Meets(l Lab) (why string, ok bool) {
	if a.Tolerance > 0 {
		d := Difference(a.Lab, l)
		return fmt.Sprintf("%.1f from the aim, %.1f allowed (CIE 1976)", d, a.Tolerance), d <= a.Tolerance
	}
	ok = l.L <= a.Lightest && math.Abs(l.A-a.Lab.A) <= a.A && math.Abs(l.B-a.Lab.B) <= a.B
	return fmt.Sprintf("L* %.1f (at most %.0f), a* %+.1f and b* %+.1f off the aim (%.1f and %.1f allowed)",
		l.L, a.Lightest, l.A-a.Lab.A, l.B-a.Lab.B, a.A, a.B), ok
}

// Most names the largest part of a difference: "lightness (darker)".
func (t DifferenceTerms) Most() string {
	pick := func(v float64, up, down string) string {
		if v > 0 {
			return up
		}
		return down
	}
	l, c, h := math.Abs(t.L), math.Abs(t.C), math.Abs(t.H)
	switch {
	case l >= c && l >= h:
		return "lightness (" + pick(t.L, "lighter", "darker") + ")"
	case c >= h:
		return "chroma (" + pick(t.C, "stronger", "duller") + ")"
	}
	return "hue"
}
