package solver

import "slices"

// Clone returns a copy that shares nothing with m.
func (m *Model) Clone() *Model {
	return &Model{
		Variables: slices.Clone(m.Variables),
		Rows:      slices.Clone(m.Rows),
		Start:     slices.Clone(m.Start),
		Index:     slices.Clone(m.Index),
		Value:     slices.Clone(m.Value),
	}
}

// Variant returns a copy with its own variables and rows that shares the
// coefficients with m: costs, bounds and kinds of the one may change without
// touching the other, but neither may get new entries while both are in use.
// It is the cheap way to solve the same rows again at other prices or limits.
func (m *Model) Variant() *Model {
	return &Model{
		Variables: slices.Clone(m.Variables),
		Rows:      slices.Clone(m.Rows),
		Start:     slices.Clip(m.Start),
		Index:     slices.Clip(m.Index),
		Value:     slices.Clip(m.Value),
	}
}

// InsertRow appends a row to a model that has its variables, with one entry for
// each of the given variables, in rising order. It moves every entry behind the
// first of them; a Variant must not be in use.
func (m *Model) InsertRow(r Row, variables []int32, values []float64) int {
	row := m.AddRow(r)
	old := len(m.Index)
	m.Index = append(m.Index, make([]int32, len(variables))...)
	m.Value = append(m.Value, make([]float64, len(variables))...)
	from, to := old, len(m.Index)
	next := len(variables) - 1
	for j := len(m.Variables) - 1; next >= 0; j-- {
		start := int(m.Start[j])
		m.Start[j+1] = int32(to)
		if int(variables[next]) == j {
			to--
			m.Index[to], m.Value[to] = int32(row), values[next]
			next--
		}
		n := from - start
		copy(m.Index[to-n:to], m.Index[start:from])
		copy(m.Value[to-n:to], m.Value[start:from])
		from, to = start, to-n
	}
	return row
}

// Relaxed returns a Variant with every variable continuous.
func (m *Model) Relaxed() *Model {
	r := m.Variant()
	for j := range r.Variables {
		r.Variables[j].Kind = Continuous
	}
	return r
}

// Cost returns the objective c'x.
func (m *Model) Cost(x []float64) float64 {
	var sum float64
	for j := range m.Variables {
		sum += m.Variables[j].Cost * x[j]
	}
	return sum
}

// Activities returns A x, one figure per row.
func (m *Model) Activities(x []float64) []float64 {
	act := make([]float64, len(m.Rows))
	for j := range m.Variables {
		if x[j] == 0 {
			continue
		}
		rows, values := m.Column(j)
		for k, i := range rows {
			act[i] += values[k] * x[j]
		}
	}
	return act
}

// Combine returns A'y, one figure per variable: the sum of its coefficients
// weighted by row.
func (m *Model) Combine(y []float64) []float64 {
	out := make([]float64, len(m.Variables))
	for j := range m.Variables {
		rows, values := m.Column(j)
		var sum float64
		for k, i := range rows {
			sum += values[k] * y[i]
		}
		out[j] = sum
	}
	return out
}
