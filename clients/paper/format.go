package paper

import (
	"fmt"
	"math"
	"strings"
	"time"

	"golang.org/x/text/currency"
	"google.golang.org/genproto/googleapis/type/money"

	"millbase/clients/figures"
	pb "millbase/proto/millbase/v1"
)

// thin parts groups of three digits, ISO 80000-1, and does not break.
const thin = "\u202f"

// absent stands for a figure that is not there.
const absent = "–"

// grouped parts the digits before the point in threes, from ten thousand on.
func grouped(text string) string {
	whole, rest, _ := strings.Cut(text, ".")
	if rest != "" {
		rest = "." + rest
	}
	sign := ""
	if strings.HasPrefix(whole, "-") {
		sign, whole = "−", whole[1:]
	}
	if len(whole) > 4 {
		for i := len(whole) - 3; i > 0; i -= 3 {
			whole = whole[:i] + thin + whole[i:]
		}
	}
	return sign + whole + rest
}

// minor is the number of decimals of a currency (ISO 4217); 2 for one not known.
func minor(code string) int {
	unit, err := currency.ParseISO(code)
	if err != nil {
		return 2
	}
	n, _ := currency.Standard.Rounding(unit)
	return n
}

// decimals is how many an amount needs, at least those of its currency.
func decimals(m *money.Money) int {
	need := 9
	for nanos := m.GetNanos(); need > 0 && nanos%10 == 0; need-- {
		nanos /= 10
	}
	return max(minor(m.GetCurrencyCode()), need)
}

// amounts writes a column of amounts exactly, with the same number of decimals, so
// that points stand below each other.
func amounts(column ...*money.Money) []string {
	places := 0
	for _, m := range column {
		if m != nil {
			places = max(places, decimals(m))
		}
	}
	return rounded(places, column...)
}

// rounded writes a column of amounts to so many places, half away from zero.
func rounded(places int, column ...*money.Money) []string {
	out := make([]string, len(column))
	for i, m := range column {
		out[i] = absent
		if m != nil {
			out[i] = grouped(figures.CashNumber(m, places))
		}
	}
	return out
}

// columnOf is what every row has.
func columnOf[T, V any](rows []T, of func(T) V) []V {
	column := make([]V, len(rows))
	for i, row := range rows {
		column[i] = of(row)
	}
	return column
}

// masses writes a column of masses, to the milligram where one needs it.
func masses(column []float64) []string {
	places := 0
	for _, v := range column {
		if _, after, found := strings.Cut(figures.Kg(v), "."); found {
			places = max(places, len(after))
		}
	}
	out := make([]string, len(column))
	for i, v := range column {
		out[i] = grouped(figures.Fixed(v, places))
	}
	return out
}

// day writes a date of the API out: "25 November 2026".
func day(text string) string {
	if t, err := time.Parse(time.DateOnly, text); err == nil {
		return t.Format("2\u00a0January\u00a02006")
	}
	return text
}

// last is the last part of a resource name.
func last(name string) string { return name[strings.LastIndex(name, "/")+1:] }

// difference writes a colour difference to one hundredth.
func difference(v *float64) string {
	if v == nil || math.IsNaN(*v) {
		return absent
	}
	return figures.Fixed(*v, 2)
}

// coordinates writes L*, a* and b*, each for a cell of its own.
func coordinates(lab *pb.Lab) [3]string {
	if lab == nil {
		return [3]string{absent, absent, absent}
	}
	out := [3]string{}
	for i, v := range [3]float64{lab.L, lab.A, lab.B} {
		text := figures.Fixed(v, 1)
		if text == "-0.0" {
			text = "0.0"
		}
		out[i] = strings.Replace(text, "-", "−", 1)
	}
	return out
}

// viewing writes a light and an observer as the trade does: "D50, 2°".
func viewing(v *pb.Viewing) string {
	light, degrees := strings.TrimPrefix(v.GetIlluminant().String(), "ILLUMINANT_"), "2"
	if v.GetIlluminant() == pb.Illuminant_ILLUMINANT_UNSPECIFIED {
		light = "D50"
	}
	if v.GetObserver() == pb.Observer_OBSERVER_TEN_DEGREE {
		degrees = "10"
	}
	return fmt.Sprintf("%s, %s°", light, degrees)
}

// cansIn writes what a quantity is filled into.
func cansIn(cans []*pb.QuoteCans) string {
	parts := make([]string, len(cans))
	for i, c := range cans {
		parts[i] = fmt.Sprintf("%d × %s", c.Count, c.Title)
	}
	if len(parts) == 0 {
		return absent
	}
	return strings.Join(parts, ", ")
}

// notice says what a reader must know of a copy that is no open offer.
func notice(state string, accepted *pb.AcceptedQuote) string {
	switch state {
	case "draft":
		return "Draft. Not sent, and not an offer."
	case "lapsed":
		return "Lapsed: this quotation holds no longer."
	case "replaced":
		return "Replaced by a later revision."
	}
	if accepted != nil {
		return fmt.Sprintf("Accepted on %s: %s kg for %s, due on %s.", day(accepted.AcceptedDate), grouped(figures.Kg(accepted.QuantityKg)),
			strings.Join(amounts(accepted.Price), "")+"\u00a0"+accepted.Price.GetCurrencyCode(), day(accepted.DueDate))
	}
	return ""
}
