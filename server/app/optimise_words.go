package app

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"millbase/solver/formulation"
)

// The summary names at most this many single ways out, and members of a list:
// the whole lists stand beside it.
const (
	mostWaysOut = 4
	mostNamed   = 6
)

// summary says in plain words why there is no formula and what would help.
func (o *Optimised) summary() string {
	if len(o.Problem.Candidates) == 0 {
		return "No formula: there is nothing to make it from. See what was left out and why."
	}
	clash := o.Answer.Clash
	if clash.Rules != nil {
		return fmt.Sprintf("There is a formula for %s at %.4f %s per kg, but none that can be weighed as asked.", o.subject(), clash.Rules.FreeCostPerKg, o.Currency)
	}
	if len(clash.Limits)+len(clash.Stock) == 0 {
		return "No formula: " + o.subject() + " can't be made from these candidates at all. See what was left out and why."
	}
	var b strings.Builder
	b.WriteString("No formula: " + o.subject())
	if len(clash.Limits) > 0 {
		asks := make([]string, len(clash.Limits))
		for i, l := range clash.Limits {
			asks[i] = o.limitInWords(l)
		}
		b.WriteString(" asks for " + listOf(few(asks), "and"))
	} else {
		b.WriteString(" asks for more than there is to make it from")
	}
	stock := make([]string, len(clash.Stock))
	for i, c := range clash.Stock {
		stock[i] = o.Problem.Candidates[c].Name()
	}
	switch {
	case len(stock) > 0:
		b.WriteString(", and there is not enough of " + listOf(few(stock), "and") + " for that")
	case len(clash.Limits) == 1:
		b.WriteString(", which these candidates can't reach")
	default:
		b.WriteString(", which these candidates can't meet together")
	}
	b.WriteString(".")
	b.WriteString(o.lessSafe())
	if way := o.waysOut(); way != "" {
		b.WriteString(" " + way + ".")
	}
	return b.String()
}

// lessSafe says, where it is the safety asked for that is in the way, how much of
// it there can be.
func (o *Optimised) lessSafe() string {
	s := o.Answer.Safety
	switch {
	case s == nil || !s.Nominal:
		return ""
	case s.Confidence > 0.5:
		return fmt.Sprintf(" It is the safety asked for that is in the way: all of it together can be had with %.4g %%.", math.Floor(s.Confidence*1e4)/100)
	}
	return " It is the safety asked for that is in the way: by nominal values there is a formula."
}

func (o *Optimised) subject() string {
	if o.Title != "" {
		return o.Title
	}
	return "the ink"
}

// waysOut names the lightest ways out, or else the movements that help together.
func (o *Optimised) waysOut() string {
	clash := o.Answer.Clash
	var ways []string
	for i, w := range clash.Ways {
		if len(ways) == mostWaysOut {
			break
		}
		if i > 0 && len(w.Movements) > 2 {
			continue // stands in the list
		}
		ways = append(ways, o.WayInWords(w))
	}
	joined := listOf(ways, "or")
	if len(ways) == 0 {
		for _, m := range clash.Movements {
			ways = append(ways, o.InWords(m))
		}
		joined = together(few(ways))
	}
	if joined == "" {
		return ""
	}
	return strings.ToUpper(joined[:1]) + joined[1:]
}

// WayInWords says what to do for a way out.
func (o *Optimised) WayInWords(w formulation.Way) string {
	words := make([]string, len(w.Movements))
	for i, m := range w.Movements {
		words[i] = o.InWords(m)
	}
	return together(few(words))
}

// limitInWords is what a limit asks for: "VOC of at most 250 g/L".
func (o *Optimised) limitInWords(i int) string {
	l := &o.Problem.Limits[i]
	unit := l.Unit(o.Problem.Catalogue)
	switch {
	case l.Lower != nil && l.Upper != nil && *l.Lower == *l.Upper:
		return fmt.Sprintf("%s of exactly %s", l.Name(), withUnit(*l.Lower, unit))
	case l.Lower != nil && l.Upper != nil:
		return fmt.Sprintf("%s from %s to %s", l.Name(), short(*l.Lower), withUnit(*l.Upper, unit))
	case l.Lower != nil:
		return fmt.Sprintf("%s of at least %s", l.Name(), withUnit(*l.Lower, unit))
	}
	return fmt.Sprintf("%s of at most %s", l.Name(), withUnit(*l.Upper, unit))
}

// InWords says what to do for a movement: "raise VOC to 262 g/L". Figures are
// rounded to the safe side.
func (o *Optimised) InWords(m formulation.Movement) string {
	if m.Limit < 0 {
		return o.stockInWords(m)
	}
	l := &o.Problem.Limits[m.Limit]
	to := withUnit(outward(m.From, m.To, m.To), l.Unit(o.Problem.Catalogue))
	name := l.Name()
	if l.Lower != nil && l.Upper != nil {
		name = "the " + string(m.Side) + " bound of " + name
	}
	verb := "lower"
	if m.To > m.From {
		verb = "raise"
	}
	hard := ""
	if l.Hard || m.Hard {
		hard = " (a hard limit)"
	}
	return fmt.Sprintf("%s %s to %s%s", verb, name, to, hard)
}

// few are the first words of a long list and how many more there are.
func few(words []string) []string {
	if len(words) <= mostNamed {
		return words
	}
	more := len(words) - mostNamed + 1
	return append(words[:mostNamed-1:mostNamed-1], fmt.Sprintf("%d more", more))
}

// together joins movements that only help together, without saying "get" again
// and again.
func together(ways []string) string {
	for i := 1; i < len(ways); i++ {
		if strings.HasPrefix(ways[0], "get ") {
			ways[i] = strings.TrimPrefix(ways[i], "get ")
		}
	}
	return listOf(ways, "and")
}

func (o *Optimised) stockInWords(m formulation.Movement) string {
	c := o.Problem.Candidates[m.Candidate].Name()
	switch {
	case m.To < m.From:
		return fmt.Sprintf("ask for no more than %s of %s", withUnit(outward(m.From, m.To, m.To), "kg"), c)
	case m.From == 0:
		return fmt.Sprintf("get %s of %s", withUnit(outward(m.From, m.To, m.To), "kg"), c)
	}
	return fmt.Sprintf("get %s more of %s", withUnit(outward(0, m.To-m.From, m.To), "kg"), c)
}

// outward rounds to, which lies away from from, to four significant digits and
// never back towards from, but for what the solver adds to be on the safe side
// (a part in 10,000,000) when size is the size of the figure.
func outward(from, to, size float64) float64 {
	if to == 0 || math.IsInf(to, 0) || math.IsNaN(to) {
		return to
	}
	digits := 3 - int(math.Floor(math.Log10(math.Abs(to))))
	scale := math.Pow(10, float64(digits))
	rounded := math.Round(to * scale)
	if off := rounded/scale - to; math.Abs(off) > safeSide*math.Abs(size) {
		if to > from {
			rounded = math.Ceil(to * scale)
		} else {
			rounded = math.Floor(to * scale)
		}
	}
	return rounded / scale
}

// safeSide is a little more than what the solver adds to a movement.
const safeSide = 4e-7

func short(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

func withUnit(v float64, unit string) string {
	if unit == "" {
		return short(v)
	}
	if unit == "%" {
		return short(v) + " %"
	}
	return short(v) + " " + unit
}

// listOf joins words: "a, b and c".
func listOf(words []string, last string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	n := len(words) - 1
	if last == "or" {
		return strings.Join(words[:n], ", ") + ", or " + words[n]
	}
	return strings.Join(words[:n], ", ") + " " + last + " " + words[n]
}

func dayOf(t time.Time) string { return t.Format(time.DateOnly) }
