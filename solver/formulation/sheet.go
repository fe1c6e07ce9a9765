package formulation

import (
	"math"

	"millbase/solver"
)

// sheet is a model in the making, to which rows and columns can be added in any
// order.
type sheet struct {
	rows    []solver.Row
	columns []solver.Variable
	entries [][]solver.Entry // per column
}

// item is a coefficient of a row.
type item struct {
	column int
	value  float64
}

// column adds a variable and returns its number.
func (s *sheet) column(v solver.Variable) int {
	s.columns = append(s.columns, v)
	s.entries = append(s.entries, nil)
	return len(s.columns) - 1
}

// binary adds a variable that is 0 or 1.
func (s *sheet) binary(name string) int {
	return s.column(solver.Variable{Name: name, Upper: 1, Kind: solver.Integer})
}

// row adds lower <= items <= upper. A column may come more than once.
func (s *sheet) row(name string, lower, upper float64, items ...item) int {
	i := len(s.rows)
	s.rows = append(s.rows, solver.Row{Name: name, Lower: lower, Upper: upper})
	for _, t := range items {
		s.add(i, t)
	}
	return i
}

func (s *sheet) add(row int, t item) {
	e := s.entries[t.column]
	for k := range e {
		if e[k].Row == row {
			e[k].Value += t.value
			return
		}
	}
	s.entries[t.column] = append(e, solver.Entry{Row: row, Value: t.value})
}

// atMost adds sum items <= upper, atLeast the other way round.
func (s *sheet) atMost(name string, upper float64, items ...item) int {
	return s.row(name, math.Inf(-1), upper, items...)
}

func (s *sheet) atLeast(name string, lower float64, items ...item) int {
	return s.row(name, lower, math.Inf(1), items...)
}

// model is the finished model.
func (s *sheet) model() *solver.Model {
	m := &solver.Model{}
	for _, r := range s.rows {
		m.AddRow(r)
	}
	for j, v := range s.columns {
		m.AddVariable(v, s.entries[j]...)
	}
	return m
}
