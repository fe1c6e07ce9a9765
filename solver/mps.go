package solver

import (
	"bufio"
	"fmt"
	"io"
	"math"
)

// WriteMPS writes m as free MPS, the common exchange format of linear
// programming, so that it can be given to any other solver. Rows are named R0,
// R1, ..., variables C0, C1, ..., the objective COST; names of the model are
// not used, since MPS allows no blanks in them. It returns the error of
// Validate or of w.
func (m *Model) WriteMPS(w io.Writer) error {
	if err := m.Validate(); err != nil {
		return err
	}
	b := bufio.NewWriter(w)
	fmt.Fprintln(b, "NAME MODEL\nROWS\n N COST")
	for i, r := range m.Rows {
		fmt.Fprintf(b, " %c R%d\n", mpsSense(r), i)
	}
	fmt.Fprintln(b, "COLUMNS")
	whole := false
	for j, v := range m.Variables {
		if (v.Kind == Integer) != whole {
			whole = !whole
			mpsMarker(b, j, whole)
		}
		// The cost is written even when zero, or an empty column would be lost.
		fmt.Fprintf(b, " C%d COST %.17g\n", j, v.Cost)
		rows, values := m.Column(j)
		for k, i := range rows {
			fmt.Fprintf(b, " C%d R%d %.17g\n", j, i, values[k])
		}
	}
	if whole {
		mpsMarker(b, len(m.Variables), false)
	}
	fmt.Fprintln(b, "RHS")
	for i, r := range m.Rows {
		switch mpsSense(r) {
		case 'L':
			fmt.Fprintf(b, " RHS R%d %.17g\n", i, r.Upper)
		case 'G', 'E':
			fmt.Fprintf(b, " RHS R%d %.17g\n", i, r.Lower)
		}
	}
	fmt.Fprintln(b, "RANGES")
	for i, r := range m.Rows {
		if mpsSense(r) == 'G' && !math.IsInf(r.Upper, 1) {
			fmt.Fprintf(b, " RNG R%d %.17g\n", i, r.Upper-r.Lower)
		}
	}
	fmt.Fprintln(b, "BOUNDS")
	for j, v := range m.Variables {
		mpsBounds(b, j, v)
	}
	fmt.Fprintln(b, "ENDATA")
	return b.Flush()
}

func mpsSense(r Row) byte {
	switch {
	case math.IsInf(r.Lower, -1) && math.IsInf(r.Upper, 1):
		return 'N'
	case r.Lower == r.Upper:
		return 'E'
	case math.IsInf(r.Lower, -1):
		return 'L'
	}
	return 'G'
}

func mpsMarker(w io.Writer, number int, start bool) {
	kind := "INTEND"
	if start {
		kind = "INTORG"
	}
	fmt.Fprintf(w, " M%d 'MARKER' '%s'\n", number, kind)
}

// mpsBounds writes both bounds in full: readers differ in what they take for
// granted beside a single one.
func mpsBounds(w io.Writer, j int, v Variable) {
	lower, upper := math.IsInf(v.Lower, -1), math.IsInf(v.Upper, 1)
	switch {
	case lower && upper:
		fmt.Fprintf(w, " FR BND C%d\n", j)
		return
	case v.Lower == v.Upper:
		fmt.Fprintf(w, " FX BND C%d %.17g\n", j, v.Lower)
		return
	case lower:
		fmt.Fprintf(w, " MI BND C%d\n", j)
	default:
		fmt.Fprintf(w, " LO BND C%d %.17g\n", j, v.Lower)
	}
	if upper {
		fmt.Fprintf(w, " PL BND C%d\n", j)
	} else {
		fmt.Fprintf(w, " UP BND C%d %.17g\n", j, v.Upper)
	}
}
