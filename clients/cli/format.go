package main

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/google/uuid"

	"millbase/clients/figures"
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

// How numbers and amounts are written, everywhere in this program.
var (
	kg          = figures.Kg
	number      = figures.Number
	fixed       = figures.Fixed
	significant = figures.Significant
	cash        = figures.Cash
	cashNumber  = figures.CashNumber
)

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
