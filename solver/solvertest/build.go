package solvertest

import (
	"math"
	"math/rand/v2"

	"pgregory.net/rapid"

	"millbase/solver"
)

// dense builds a model from a matrix given row by row.
func dense(costs []float64, rows []solver.Row, a [][]float64) *solver.Model {
	m := &solver.Model{Rows: rows}
	for j, c := range costs {
		var e []solver.Entry
		for i := range rows {
			e = append(e, solver.Entry{Row: i, Value: a[i][j]})
		}
		m.AddVariable(solver.Variable{Cost: c, Upper: solver.Inf}, e...)
	}
	return m
}

func atLeast(v float64) solver.Row { return solver.Row{Lower: v, Upper: solver.Inf} }
func atMost(v float64) solver.Row  { return solver.Row{Lower: -solver.Inf, Upper: v} }
func equal(v float64) solver.Row   { return solver.Row{Lower: v, Upper: v} }

// drawn is a small random model with whole figures: degenerate, infeasible and
// unbounded ones are common, and none is near the border between them.
func drawn(t *rapid.T) *solver.Model {
	m := &solver.Model{}
	for range rapid.IntRange(0, 7).Draw(t, "rows") {
		at := float64(rapid.IntRange(-8, 12).Draw(t, "bound"))
		switch rapid.IntRange(0, 4).Draw(t, "sides") {
		case 0:
			m.AddRow(atLeast(at))
		case 1:
			m.AddRow(atMost(at))
		case 2:
			m.AddRow(equal(at))
		case 3:
			m.AddRow(solver.Row{Lower: at, Upper: at + float64(rapid.IntRange(1, 5).Draw(t, "width"))})
		case 4:
			m.AddRow(solver.Row{Lower: -solver.Inf, Upper: solver.Inf})
		}
	}
	for range rapid.IntRange(0, 8).Draw(t, "variables") {
		v := solver.Variable{Cost: float64(rapid.IntRange(-4, 9).Draw(t, "cost")), Upper: solver.Inf}
		switch rapid.IntRange(0, 7).Draw(t, "kind") {
		case 0:
			v.Lower = -solver.Inf
		case 1:
			v.Lower, v.Upper = -solver.Inf, 3
		case 2:
			v.Lower = -2
		case 3:
			v.Lower, v.Upper = 1, 1
		case 4, 5:
			v.Upper = float64(rapid.IntRange(0, 6).Draw(t, "upper"))
		}
		var e []solver.Entry
		for i := range m.Rows {
			if rapid.IntRange(0, 2).Draw(t, "there") > 0 {
				e = append(e, solver.Entry{Row: i, Value: float64(rapid.IntRange(-5, 5).Draw(t, "coefficient"))})
			}
		}
		m.AddVariable(v, e...)
	}
	return m
}

// Blend builds a model of the size and shape of a formula: shares of
// candidates that make a whole, under limits that a known mix meets. It always
// has an optimum. rows must be at least 1.
func Blend(seed uint64, variables, rows int) *solver.Model {
	r := rand.New(rand.NewPCG(seed, 1))
	mix := make([]float64, variables)
	var sum float64
	for j := range mix {
		mix[j] = 0.5 + r.Float64()
		sum += mix[j]
	}
	m := &solver.Model{}
	m.AddRow(solver.Row{Name: "whole", Lower: 1, Upper: 1})
	columns := make([][]solver.Entry, variables)
	for j := range columns {
		columns[j] = append(columns[j], solver.Entry{Row: 0, Value: 1})
	}
	for i := 1; i < rows; i++ {
		var at float64
		for j := range columns {
			if r.Float64() < 0.6 {
				a := r.Float64()
				columns[j] = append(columns[j], solver.Entry{Row: i, Value: a})
				at += a * mix[j] / sum
			}
		}
		switch i % 3 {
		case 0:
			m.AddRow(atLeast(at * (0.97 + 0.03*r.Float64())))
		case 1:
			m.AddRow(atMost(at * (1.0 + 0.03*r.Float64())))
		default:
			m.AddRow(solver.Row{Lower: at * 0.96, Upper: at * 1.05})
		}
	}
	for _, c := range columns {
		m.AddVariable(solver.Variable{Cost: 1 + 9*r.Float64(), Upper: 0.3 + 3/float64(variables)}, c...)
	}
	return m
}

// Weighable builds a Blend of which at most so many candidates may be used, and
// none in less than a hundredth: the model of a formula that can be weighed.
// Each candidate has a variable that is 1 if it is used, after the shares.
func Weighable(seed uint64, variables, rows, most int) *solver.Model {
	blend := Blend(seed, variables, rows)
	m := &solver.Model{Rows: blend.Rows}
	count := m.AddRow(solver.Row{Name: "used", Lower: -solver.Inf, Upper: float64(most)})
	for j, v := range blend.Variables {
		rows, values := blend.Column(j)
		var e []solver.Entry
		for k, i := range rows {
			e = append(e, solver.Entry{Row: int(i), Value: values[k]})
		}
		// Least and greatest share of a candidate that is used.
		e = append(e, solver.Entry{Row: m.AddRow(atLeast(0)), Value: 1}, solver.Entry{Row: m.AddRow(atMost(0)), Value: 1})
		m.AddVariable(v, e...)
	}
	for j, v := range blend.Variables {
		first := count + 1 + 2*j
		m.AddVariable(solver.Variable{Upper: 1, Kind: solver.Integer}, solver.Entry{Row: count, Value: 1},
			solver.Entry{Row: first, Value: -0.01}, solver.Entry{Row: first + 1, Value: -v.Upper})
	}
	return m
}

// Divided builds a Blend that is weighed in whole divisions of the scale, so
// many of them to the batch.
func Divided(seed uint64, variables, rows, divisions int) *solver.Model {
	m := Blend(seed, variables, rows)
	for i := range m.Rows {
		m.Rows[i].Lower *= float64(divisions)
		m.Rows[i].Upper *= float64(divisions)
	}
	for j := range m.Variables {
		v := &m.Variables[j]
		v.Upper, v.Kind = math.Floor(v.Upper*float64(divisions)), solver.Integer
	}
	return m
}

// Plan builds a model of the size and shape of a joint plan: batches of blends
// that share the stock of the same lots, with a dear way out for each demand.
func Plan(seed uint64, batches, lots, limits int) *solver.Model {
	r := rand.New(rand.NewPCG(seed, 2))
	m := &solver.Model{}
	price := make([]float64, lots)
	property := make([][]float64, lots)
	for l := range lots {
		m.AddRow(atMost(float64(batches) * (0.5 + r.Float64()) * 3 / float64(lots)))
		price[l] = 1 + 9*r.Float64()
		property[l] = make([]float64, limits)
		for i := range limits {
			property[l][i] = r.Float64()
		}
	}
	for range batches {
		whole := m.AddRow(equal(1))
		first := len(m.Rows)
		for range limits {
			if r.IntN(2) == 0 {
				m.AddRow(atMost(0.35 + 0.2*r.Float64()))
			} else {
				m.AddRow(atLeast(0.45 + 0.2*r.Float64()))
			}
		}
		for l := range lots {
			if r.Float64() > 0.7 {
				continue
			}
			e := []solver.Entry{{Row: l, Value: 1}, {Row: whole, Value: 1}}
			for i := range limits {
				e = append(e, solver.Entry{Row: first + i, Value: property[l][i]})
			}
			m.AddVariable(solver.Variable{Cost: price[l] * (0.9 + 0.2*r.Float64()), Upper: solver.Inf}, e...)
		}
		for i := first; i < len(m.Rows); i++ {
			v := 1.0
			if m.Rows[i].Upper < solver.Inf {
				v = -1
			}
			m.AddVariable(solver.Variable{Cost: 1000, Upper: solver.Inf}, solver.Entry{Row: i, Value: v})
		}
		m.AddVariable(solver.Variable{Cost: 5000, Upper: solver.Inf}, solver.Entry{Row: whole, Value: 1})
	}
	return m
}
