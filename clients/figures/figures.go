package figures

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"google.golang.org/genproto/googleapis/type/money"
)

// Kg prints a mass without needless zeros, at most to the milligram.
func Kg(v float64) string { return Number(v, 6) }

// Number prints v with at most so many decimals.
func Number(v float64, decimals int) string {
	if v == 0 || math.Abs(v) < 0.5*math.Pow(10, -float64(decimals)) {
		return "0"
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// Fixed prints v with just so many decimals.
func Fixed(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }

// Significant prints v with so many significant figures, as a measured value.
func Significant(v float64, n int) string {
	if v == 0 {
		return "0"
	}
	decimals := n - 1 - int(math.Floor(math.Log10(math.Abs(v))))
	return Number(v, max(0, min(decimals, 9)))
}

// Cash prints an amount with so many decimals and its currency: "4.73 EUR".
func Cash(m *money.Money, decimals int) string {
	if m == nil {
		return "-"
	}
	return CashNumber(m, decimals) + " " + m.CurrencyCode
}

// CashNumber prints an amount exactly, rounded half away from zero to decimals.
func CashNumber(m *money.Money, decimals int) string {
	if m == nil {
		return "-"
	}
	unit := int64(math.Pow10(9 - decimals))
	sign := ""
	units, nanos := m.Units, int64(m.Nanos)
	if units < 0 || nanos < 0 {
		sign, units, nanos = "-", -units, -nanos
	}
	nanos = (nanos + unit/2) / unit
	if scale := int64(math.Pow10(decimals)); nanos == scale {
		units, nanos = units+1, 0
	}
	if decimals == 0 {
		return fmt.Sprintf("%s%d", sign, units)
	}
	return fmt.Sprintf("%s%d.%0*d", sign, units, decimals, nanos)
}
