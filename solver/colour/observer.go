package colour

import (
	_ "embed" // the tables of the CIE
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"
)

// Observer is a CIE standard observer.
type Observer uint8

// The observers.
const (
	TwoDegree Observer = iota // CIE 1931
	TenDegree                 // CIE 1964
)

// Illuminant is a CIE standard illuminant.
type Illuminant uint8

// The illuminants.
const (
	D50 Illuminant = iota // graphic arts (ISO 3664, ISO 13655)
	D65                   // daylight
	A                     // incandescent light
)

// Viewing is under which light and by whose eyes a colour is seen.
type Viewing struct {
	Illuminant Illuminant
	Observer   Observer
}

// String names the viewing as the trade writes it: "D50/2".
func (v Viewing) String() string {
	return [...]string{"D50", "D65", "A"}[v.Illuminant] + "/" + [...]string{"2", "10"}[v.Observer]
}

// MarshalText writes the viewing as String does.
func (v Viewing) MarshalText() ([]byte, error) {
	if !v.Known() {
		return nil, fmt.Errorf("colour: illuminant %d with observer %d is not known", v.Illuminant, v.Observer)
	}
	return []byte(v.String()), nil
}

// UnmarshalText reads what MarshalText writes: "D50/2".
func (v *Viewing) UnmarshalText(text []byte) error {
	for i := D50; i <= A; i++ {
		for o := TwoDegree; o <= TenDegree; o++ {
			if known := (Viewing{i, o}); known.String() == string(text) {
				*v = known
				return nil
			}
		}
	}
	return fmt.Errorf("colour: %.20q is no viewing; write it like D50/2", text)
}

//go:embed observers.csv
var observersText string

//go:embed daylight.csv
var daylightText string

// cie holds the tables at 1 nm from Shortest to Longest.
type cie struct {
	match [2][3][]float64 // by observer, x y z
	power [3][]float64    // by illuminant
}

var tables = sync.OnceValue(func() *cie {
	t := &cie{}
	for _, row := range rowsOf(observersText) {
		for k, v := range row[1:] {
			t.match[k/3][k%3] = append(t.match[k/3][k%3], v)
		}
	}
	daylight := rowsOf(daylightText)
	for nm := Shortest; nm <= Longest; nm++ {
		t.power[A] = append(t.power[A], incandescent(float64(nm)))
		for k, d := range [...]Illuminant{D50, D65} {
			t.power[d] = append(t.power[d], between(daylight, float64(nm), k+1))
		}
	}
	return t
})

// rowsOf reads lines of numbers; lines that begin with # are comments.
func rowsOf(text string) (rows [][]float64) {
	for line := range strings.Lines(text) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		var row []float64
		for field := range strings.SplitSeq(strings.TrimSpace(line), ",") {
			v, err := strconv.ParseFloat(field, 64)
			if err != nil {
				panic("colour: embedded table: " + err.Error())
			}
			row = append(row, v)
		}
		rows = append(rows, row)
	}
	return rows
}

// between interpolates column k linearly, as the CIE does between its 5 nm values;
// beyond the table the last value goes on.
func between(rows [][]float64, nm float64, k int) float64 {
	step := rows[1][0] - rows[0][0]
	at := (nm - rows[0][0]) / step
	i := int(at)
	if i >= len(rows)-1 {
		return rows[len(rows)-1][k]
	}
	part := at - float64(i)
	return rows[i][k]*(1-part) + rows[i+1][k]*part
}

// incandescent is the relative power of illuminant A, by the equation that
// defines it (ISO 11664-2).
func incandescent(nm float64) float64 {
	planck := func(nm float64) float64 { return math.Expm1(1.435e7 / (2848 * nm)) }
	return 100 * math.Pow(560/nm, 5) * planck(560) / planck(nm)
}

// Known reports whether the light and the observer are among the standard ones.
func (v Viewing) Known() bool { return v.Illuminant <= A && v.Observer <= TenDegree }
