package solver

import "math"

// Inf is the bound that does not bind. Use -Inf for a lower bound.
var Inf = math.Inf(1)

// Kind says which values a variable may take.
type Kind uint8

// The kinds of variable.
const (
	Continuous Kind = iota
	Integer
)

// Variable is one column of the model.
type Variable struct {
	Name  string
	Cost  float64 // objective coefficient, per unit of the variable
	Lower float64 // may be -Inf
	Upper float64 // may be +Inf
	Kind  Kind
}

// Row is one two-sided linear constraint. Equal bounds make it an equation.
type Row struct {
	Name  string
	Lower float64 // may be -Inf
	Upper float64 // may be +Inf
}

// Entry is one coefficient of a column.
type Entry struct {
	Row   int
	Value float64
}

// Model is a minimisation problem in sparse column order. Rows are added
// first, then variables with their entries. The coefficients of variable j are
// Value[Start[j]:Start[j+1]], in rows Index[Start[j]:Start[j+1]].
//
// The zero Model is empty and ready to use. A Model is not safe for use by
// several goroutines while it changes; engines only read it.
type Model struct {
	Variables []Variable
	Rows      []Row
	Start     []int32 // len(Variables)+1 once a variable was added
	Index     []int32
	Value     []float64
}

// AddRow appends a constraint and returns its number.
func (m *Model) AddRow(r Row) int {
	m.Rows = append(m.Rows, r)
	return len(m.Rows) - 1
}

// AddVariable appends a column and returns its number. Entries with a value of
// zero are dropped. Validate reports a bad row number or a repeated row.
func (m *Model) AddVariable(v Variable, entries ...Entry) int {
	if len(m.Start) == 0 {
		m.Start = append(m.Start, 0)
	}
	m.Variables = append(m.Variables, v)
	for _, e := range entries {
		if e.Value == 0 {
			continue
		}
		m.Index = append(m.Index, int32(e.Row))
		m.Value = append(m.Value, e.Value)
	}
	m.Start = append(m.Start, int32(len(m.Index)))
	return len(m.Variables) - 1
}

// Column returns the rows and values of variable j, as slices into the model.
func (m *Model) Column(j int) (rows []int32, values []float64) {
	return m.Index[m.Start[j]:m.Start[j+1]], m.Value[m.Start[j]:m.Start[j+1]]
}
