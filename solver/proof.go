package solver

import "math"

// rayNoise is the size, relative to the largest place of a ray and the
// coefficients it meets, below which a sum along the ray counts as rounding.
const rayNoise = 1e-9

// FarkasMargin weighs the rows of m by y (with the signs of Solution.RowDual:
// positive leans on the lower bound of a row, negative on the upper one) and
// returns by how much the weighted rows ask for more than any x within its
// bounds can give:
//
//	margin = sum_{y_i>0} y_i rowLower_i + sum_{y_i<0} y_i rowUpper_i
//	       - max { (A'y)'x : lower <= x <= upper }
//
// A margin clearly above zero proves that m has no feasible point (Farkas'
// lemma for two-sided rows). scale is the sum of the sizes of the terms, for
// comparison. The margin is -Inf when y leans on a bound that is not there.
// Whole-number demands are ignored: the proof is for the relaxation.
func (m *Model) FarkasMargin(y []float64) (margin, scale float64) {
	if len(y) != len(m.Rows) {
		return math.Inf(-1), 0
	}
	var largest float64
	for _, v := range y {
		largest = max(largest, math.Abs(v))
	}
	add := func(weight, bound float64) {
		margin += weight * bound
		scale += math.Abs(weight * bound)
	}
	for i, v := range y {
		switch bound := towards(v, m.Rows[i].Lower, m.Rows[i].Upper); {
		case v == 0:
		case !math.IsInf(bound, 0):
			add(v, bound)
		case math.Abs(v) > rayNoise*largest:
			return math.Inf(-1), 0
		}
	}
	for j := range m.Variables {
		rows, values := m.Column(j)
		var g, terms float64
		for k, i := range rows {
			t := values[k] * y[i]
			g += t
			terms = max(terms, math.Abs(values[k])*largest)
		}
		switch bound := towards(-g, m.Variables[j].Lower, m.Variables[j].Upper); {
		case g == 0:
		case !math.IsInf(bound, 0):
			add(-g, bound)
		case math.Abs(g) > rayNoise*terms:
			return math.Inf(-1), 0
		}
	}
	return margin, scale
}

// ProvesInfeasible reports whether y is a Farkas ray of m: see FarkasMargin.
func (m *Model) ProvesInfeasible(y []float64) bool {
	margin, scale := m.FarkasMargin(y)
	return margin > rayNoise*scale && margin > 0 && !math.IsInf(margin, 0)
}

// towards returns the bound that a positive (lower) or negative (upper) weight
// leans on.
func towards(weight, lower, upper float64) float64 {
	if weight > 0 {
		return lower
	}
	return upper
}

// ProvesUnbounded reports whether r is a direction in which the objective
// falls for ever without leaving the rows and bounds of m. Together with a
// feasible point it proves that m has no lowest objective.
func (m *Model) ProvesUnbounded(r []float64) bool {
	if len(r) != len(m.Variables) {
		return false
	}
	act := make([]float64, len(m.Rows))
	size := make([]float64, len(m.Rows))
	var fall, fallSize, largest float64
	for _, v := range r {
		largest = max(largest, math.Abs(v))
	}
	for j, v := range r {
		if !direction(v, largest, m.Variables[j].Lower, m.Variables[j].Upper) {
			return false
		}
		fall += m.Variables[j].Cost * v
		fallSize = max(fallSize, math.Abs(m.Variables[j].Cost*v))
		rows, values := m.Column(j)
		for k, i := range rows {
			t := values[k] * v
			act[i] += t
			size[i] = max(size[i], math.Abs(values[k])*largest)
		}
	}
	for i, a := range act {
		if !direction(a, size[i], m.Rows[i].Lower, m.Rows[i].Upper) {
			return false
		}
	}
	return fall < -rayNoise*fallSize
}

// direction reports whether one may move by v for ever between the bounds.
func direction(v, size, lower, upper float64) bool {
	return math.Abs(v) <= rayNoise*size ||
		v > 0 && math.IsInf(upper, 1) || v < 0 && math.IsInf(lower, -1)
}
