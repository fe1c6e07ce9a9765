package solver

import (
	"errors"
	"fmt"
	"math"
)

// The sizes that Validate accepts. They keep a model inside what engines
// handle without overflow; a sound model is many powers of ten below them.
const (
	MaxRows      = 2_000_000
	MaxVariables = 10_000_000
	MaxEntries   = 200_000_000

	MaxCost        = 1e20 // |cost| must be below
	MaxBound       = 1e20 // a finite |bound| must be below
	MaxCoefficient = 1e15 // |coefficient| must not be above
)

// ErrInteger is returned by an engine that can't handle integer variables.
var ErrInteger = errors.New("the model has whole-number variables, which this engine can't handle")

// ErrStart is wrapped by the error for a starting basis of another shape than
// the model.
var ErrStart = errors.New("the starting basis does not fit the model")

// ModelError says what is wrong with a model, where, and what to change.
type ModelError struct {
	Variable int // number of the variable at fault, -1 if none
	Row      int // number of the row at fault, -1 if none
	Name     string
	Problem  string // what to change, as a sentence without its subject
}

// Error implements error.
func (e *ModelError) Error() string {
	switch {
	case e.Variable >= 0:
		return fmt.Sprintf("variable %s: %s", label(e.Name, e.Variable), e.Problem)
	case e.Row >= 0:
		return fmt.Sprintf("row %s: %s", label(e.Name, e.Row), e.Problem)
	}
	return "model: " + e.Problem
}

func label(name string, number int) string {
	if name == "" {
		return fmt.Sprintf("number %d", number)
	}
	return fmt.Sprintf("%q", name)
}

// Validate reports the first fault that an engine must never see, as a
// *ModelError: numbers that are not finite or not of a sane size, bounds out
// of order, entries in rows that do not exist, a row named twice in a column.
// Engines call it before they load anything.
func (m *Model) Validate() error {
	if err := m.validateShape(); err != nil {
		return err
	}
	for i := range m.Rows {
		r := &m.Rows[i]
		if p := boundsProblem(r.Lower, r.Upper); p != "" {
			return &ModelError{Variable: -1, Row: i, Name: r.Name, Problem: p}
		}
	}
	for j := range m.Variables {
		v := &m.Variables[j]
		p := boundsProblem(v.Lower, v.Upper)
		switch {
		case p != "":
		case !(math.Abs(v.Cost) < MaxCost):
			p = fmt.Sprintf("its cost is %g; give a finite cost below %g in size", v.Cost, MaxCost)
		case v.Kind > Integer:
			p = fmt.Sprintf("its kind is %d; use Continuous or Integer", v.Kind)
		default:
			continue
		}
		return &ModelError{Variable: j, Row: -1, Name: v.Name, Problem: p}
	}
	return m.validateEntries()
}

func (m *Model) validateShape() error {
	bad := func(format string, args ...any) error {
		return &ModelError{Variable: -1, Row: -1, Problem: fmt.Sprintf(format, args...)}
	}
	n := len(m.Variables)
	switch {
	case len(m.Rows) > MaxRows:
		return bad("it has %d rows; use at most %d", len(m.Rows), MaxRows)
	case n > MaxVariables:
		return bad("it has %d variables; use at most %d", n, MaxVariables)
	case len(m.Index) > MaxEntries:
		return bad("it has %d coefficients; use at most %d", len(m.Index), MaxEntries)
	case len(m.Index) != len(m.Value):
		return bad("it has %d row numbers but %d coefficients; add columns with AddVariable", len(m.Index), len(m.Value))
	case n == 0 && len(m.Start) <= 1 && len(m.Index) == 0:
		return nil
	case len(m.Start) != n+1 || m.Start[0] != 0 || int(m.Start[n]) != len(m.Index):
		return bad("its column starts do not fit its %d variables; add columns with AddVariable", n)
	}
	for j := range n {
		if m.Start[j] > m.Start[j+1] {
			return bad("its column starts are not in order; add columns with AddVariable")
		}
	}
	return nil
}

// boundsProblem describes what is wrong with a pair of bounds, or "".
func boundsProblem(lower, upper float64) string {
	// The first test is true of every ordinary pair and false of any NaN.
	if lower <= upper && lower < MaxBound && upper > -MaxBound &&
		(lower > -MaxBound || math.IsInf(lower, -1)) && (upper < MaxBound || math.IsInf(upper, 1)) {
		return ""
	}
	switch {
	case math.IsNaN(lower) || math.IsNaN(upper):
		return "a bound is not a number; give a number, or an infinity for no limit"
	case math.IsInf(lower, 1):
		return "its lower bound is +infinity; give a finite lower bound, or -infinity for none"
	case math.IsInf(upper, -1):
		return "its upper bound is -infinity; give a finite upper bound, or +infinity for none"
	case lower > upper:
		return fmt.Sprintf("its lower bound %g is above its upper bound %g; lower the one or raise the other", lower, upper)
	}
	return fmt.Sprintf("its bounds %g and %g are too large; give bounds below %g in size, or an infinity for no limit", lower, upper, MaxBound)
}

func (m *Model) validateEntries() error {
	seen := make([]int32, len(m.Rows)) // 1 + the last variable with an entry in the row
	for j := range m.Variables {
		for k := m.Start[j]; k < m.Start[j+1]; k++ {
			i, a := m.Index[k], m.Value[k]
			switch {
			case i < 0 || int(i) >= len(m.Rows):
				return &ModelError{Variable: j, Row: -1, Name: m.Variables[j].Name,
					Problem: fmt.Sprintf("it has an entry in row %d; the model has rows 0 to %d", i, len(m.Rows)-1)}
			case !(math.Abs(a) <= MaxCoefficient):
				return &ModelError{Variable: j, Row: int(i), Name: m.Variables[j].Name,
					Problem: fmt.Sprintf("its coefficient in row %s is %g; give a finite one of at most %g in size",
						label(m.Rows[i].Name, int(i)), a, MaxCoefficient)}
			case seen[i] == int32(j)+1:
				return &ModelError{Variable: j, Row: int(i), Name: m.Variables[j].Name,
					Problem: fmt.Sprintf("it has two entries in row %s; add them up into one", label(m.Rows[i].Name, int(i)))}
			}
			seen[i] = int32(j) + 1
		}
	}
	return nil
}

// HasInteger reports whether any variable must be whole.
func (m *Model) HasInteger() bool {
	for j := range m.Variables {
		if m.Variables[j].Kind == Integer {
			return true
		}
	}
	return false
}
