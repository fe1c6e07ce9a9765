package mass

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Mass is a mass in whole milligrams. It may be negative (a ledger entry).
type Mass int64

// Units of mass.
const (
	Milligram Mass = 1
	Gram           = 1000 * Milligram
	Kilogram       = 1000 * Gram
	Tonne          = 1000 * Kilogram
)

// Max is the largest mass accepted at the edge, 1,000,000 t: far above any
// plant and far below where a float64 of kilograms loses milligrams.
const Max = 1_000_000 * Tonne

// Errors of FromKilograms and Parse.
var (
	ErrNotFinite = errors.New("mass: not a finite number of kilograms")
	ErrTooFine   = errors.New("mass: finer than a milligram (0.000001 kg)")
	ErrTooLarge  = errors.New("mass: larger than 1,000,000 t")
	ErrSyntax    = errors.New("mass: not a decimal number of kilograms")
)

// FromKilograms converts a float64 of kilograms. The shortest decimal that
// reads back as kg is taken at its word: 0.1 is exactly 100,000 mg, and a
// seventh decimal is ErrTooFine.
func FromKilograms(kg float64) (Mass, error) {
	if math.IsNaN(kg) || math.IsInf(kg, 0) {
		return 0, ErrNotFinite
	}
	if math.Abs(kg) > float64(Max/Kilogram) {
		return 0, ErrTooLarge
	}
	return Parse(strconv.FormatFloat(kg, 'f', -1, 64))
}

// Parse reads a plain decimal number of kilograms such as "12.5" or "-0.000001".
func Parse(s string) (Mass, error) {
	digits := s
	neg := strings.HasPrefix(s, "-")
	if neg {
		digits = s[1:]
	}
	whole, frac, _ := strings.Cut(digits, ".")
	frac = strings.TrimRight(frac, "0")
	if whole == "" || strings.TrimLeft(whole+frac, "0123456789") != "" {
		return 0, fmt.Errorf("%w: %q", ErrSyntax, s)
	}
	if len(frac) > 6 {
		return 0, ErrTooFine
	}
	whole = strings.TrimLeft(whole, "0")
	if len(whole) > 10 {
		return 0, ErrTooLarge
	}
	mg, err := strconv.ParseInt(whole+frac+strings.Repeat("0", 6-len(frac)), 10, 64)
	if err != nil {
		return 0, fmt.Errorf("%w: %q", ErrSyntax, s)
	}
	if Mass(mg) > Max {
		return 0, ErrTooLarge
	}
	if neg {
		mg = -mg
	}
	return Mass(mg), nil
}

// Kilograms is the mass as a float64 of kilograms, for the edge and for the
// solver. It reads back through FromKilograms unchanged up to Max.
func (m Mass) Kilograms() float64 { return float64(m) / 1e6 }

// String writes the mass in kilograms without trailing zeros: "12.5 kg".
func (m Mass) String() string { return m.Decimal() + " kg" }

// Decimal writes the number of kilograms exactly, without unit: "12.5".
func (m Mass) Decimal() string {
	neg := ""
	u := uint64(m)
	if m < 0 {
		neg, u = "-", -u
	}
	s := fmt.Sprintf("%s%d.%06d", neg, u/1e6, u%1e6)
	return strings.TrimRight(strings.TrimRight(s, "0"), ".")
}
