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
