package main

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/google/uuid"
	"google.golang.org/genproto/googleapis/type/money"
)

// table prints aligned columns. A column whose heading starts with '>' is set to
// the right.
type table struct {
	head []string
	rows [][]string
}

func newTable(head ...string) *table { return &table{head: head} }

func (t *table) add(cells ...string) { t.rows = append(t.rows, cells) }

func (t *table) print(w io.Writer) {
	right := make([]bool, len(t.head))
	width := make([]int, len(t.head))
	head := make([]string, len(t.head))
	for i, h := range t.head {
		head[i], right[i] = strings.CutPrefix(h, ">")
		width[i] = utf8.RuneCountInString(head[i])
	}
	for _, r := range t.rows {
		for i, c := range r {
			width[i] = max(width[i], utf8.RuneCountInString(c))
		}
	}
	line := func(cells []string) {
		var b strings.Builder
		for i, c := range cells {
			pad := strings.Repeat(" ", width[i]-utf8.RuneCountInString(c))
			if right[i] {
				c = pad + c
			} else {
				c += pad
			}
			b.WriteString(c)
			b.WriteString("  ")
		}
		fmt.Fprintln(w, strings.TrimRight(b.String(), " "))
	}
	line(head)
	rule := make([]string, len(head))
	for i := range rule {
		rule[i] = strings.Repeat("-", width[i])
	}
	line(rule)
	for _, r := range t.rows {
		line(r)
	}
}

// kg prints a mass without needless zeros, at most to the milligram.
func kg(v float64) string { return number(v, 6) }

// number prints v with at most so many decimals.
func number(v float64, decimals int) string {
	if v == 0 || math.Abs(v) < 0.5*math.Pow(10, -float64(decimals)) {
		return "0"
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// fixed prints v with just so many decimals.
func fixed(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }

// figures prints v with so many significant figures, as a measured value.
func figures(v float64, n int) string {
	if v == 0 {
		return "0"
	}
	decimals := n - 1 - int(math.Floor(math.Log10(math.Abs(v))))
	return number(v, max(0, min(decimals, 9)))
}

// cash prints an amount with so many decimals and its currency: "4.73 EUR".
func cash(m *money.Money, decimals int) string {
	if m == nil {
		return "-"
	}
	return cashNumber(m, decimals) + " " + m.CurrencyCode
}

// cashNumber prints an amount exactly, rounded half away from zero to decimals.
func cashNumber(m *money.Money, decimals int) string {
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

// id is the last part of a resource name: "lots/l-1042" gives "l-1042".
func id(name string) string { return name[strings.LastIndex(name, "/")+1:] }

// word turns an enum's name into plain words: "LOT_STATUS_HELD" gives "held".
func word(enum fmt.Stringer, prefix string) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(enum.String(), prefix)), "_", " ")
}

// enum finds the value of an enum by its plain word, with the prefix left out and
// hyphens or spaces for underscores.
func enum[T ~int32](values map[string]int32, prefix, text string) (T, error) {
	name := prefix + strings.ToUpper(strings.NewReplacer("-", "_", " ", "_").Replace(text))
	if v, ok := values[name]; ok && v != 0 {
		return T(v), nil
	}
	var known []string
	for i := int32(1); i < int32(len(values)); i++ {
		for n, v := range values {
			if v == i {
				known = append(known, strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(n, prefix)), "_", "-"))
			}
		}
	}
	return 0, &exit{exitUsage, fmt.Sprintf("%q is not known; use one of %s", text, strings.Join(known, ", "))}
}

// prefixed makes a resource name of an id; a full name is left as it is.
func prefixed(collection, text string) string {
	if text == "" || strings.HasPrefix(text, collection+"/") {
		return text
	}
	return collection + "/" + text
}

// newID is a time-ordered UUID: the ledger's index then grows at one end.
func newID() string { return uuid.Must(uuid.NewV7()).String() }
