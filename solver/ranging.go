package solver

import "math"

// rangingZero is the size, relative to the largest entry beside it, below
// which an entry of the tableau counts as zero.
const rangingZero = 1e-10

// Ranging computes how far each cost and each binding row bound may move, one
// at a time, before the basis of s stops being optimal. s must be an optimal
// answer to m with a basis. The result is nil when the basis is missing or
// singular, or when more than 800 rows bind at once.
//
// For a degenerate optimum the intervals hold for this basis and may be
// narrower than those in which the figures themselves hold.
//
// Method: textbook sensitivity analysis (Chvatal, Linear Programming, 1983,
// chapter 10, from memory) on the tableau of the kernel, the square matrix of
// the basic variables in the rows whose slack is not basic.
func (m *Model) Ranging(s *Solution) *Ranging {
	if s.Stop != StopOptimal || len(m.Index) == 0 {
		return nil
	}
	f := m.Factor(s.Basis)
	if f == nil {
		return nil
	}
	k := &ranging{Factor: f, m: m, s: s}
	out := &Ranging{Cost: make([]Range, len(m.Variables)), RowBound: make([]Range, len(m.Rows))}
	k.costs(out.Cost)
	k.rowBounds(out.RowBound)
	out.factor = f
	return out
}

// ranging is a Factor with the model and the answer that it belongs to.
type ranging struct {
	*Factor
	m *Model
	s *Solution
}

// costs fills the ranges of the costs. A change of a basic variable's cost by
// t moves the reduced cost of nonbasic j by -t alpha[j] and the dual of a
// binding row by t times its entry of the inverse; each may go to zero.
func (k *ranging) costs(out []Range) {
	n := len(k.basic)
	down, up := make([]float64, n), make([]float64, n) // allowed change, signed
	for p := range n {
		down[p], up[p] = math.Inf(-1), Inf
	}
	alpha := make([]float64, n)
	for j := range k.m.Variables {
		st, c := k.s.Basis.Variables[j], k.m.Variables[j].Cost
		if st == Basic {
			continue
		}
		v := &k.m.Variables[j]
		if v.Lower == v.Upper {
			out[j] = Range{math.Inf(-1), Inf}
			continue
		}
		d := k.s.ReducedCost[j]
		out[j] = costRange(st, c, d)
		rows, values := k.m.Column(j)
		k.column(alpha, rows, values)
		shrink(down, up, alpha, d, st, -1)
	}
	for q, i := range k.rows {
		if r := &k.m.Rows[i]; r.Lower < r.Upper {
			shrink(down, up, k.inv[q*n:q*n+n], k.s.RowDual[i], k.s.Basis.Rows[i], 1)
		}
	}
	for p, j := range k.basic {
		c := k.m.Variables[j].Cost
		out[j] = Range{c + down[p], c + up[p]}
	}
}

// costRange is the range of the cost of a nonbasic variable.
func costRange(st VarStatus, c, d float64) Range {
	switch st {
	case AtLower:
		return Range{c - max(d, 0), Inf}
	case AtUpper:
		return Range{math.Inf(-1), c - min(d, 0)}
	}
	return Range{c, c}
}

// shrink narrows the allowed changes t of every basic cost so that the price d
// of one nonbasic place, which moves by sign*t*alpha, keeps its sign: not
// negative at a lower bound, not positive at an upper one, zero when free.
func shrink(down, up, alpha []float64, d float64, st VarStatus, sign float64) {
	if st == AtUpper {
		d, sign = -d, -sign
	}
	d = max(d, 0)
	var largest float64
	for _, v := range alpha {
		largest = max(largest, math.Abs(v))
	}
	for p, v := range alpha {
		if math.Abs(v) <= rangingZero*largest || v == 0 {
			continue
		}
		if st != AtLower && st != AtUpper {
			down[p], up[p] = 0, 0
			continue
		}
		if t := -d / (sign * v); sign*v > 0 {
			down[p] = max(down[p], t)
		} else {
			up[p] = min(up[p], t)
		}
	}
}

// rowBounds fills the ranges of the binding bounds: while the activity of the
// row moves, every basic variable and every basic row stays within its bounds.
func (k *ranging) rowBounds(out []Range) {
	n := len(k.basic)
	for i := range out {
		out[i] = Range{math.Inf(-1), Inf}
	}
	move := make([]float64, len(k.m.Rows)) // of the activities of the basic rows
	for q, i := range k.rows {
		r := k.m.Rows[i]
		b := r.Lower
		if st := k.s.Basis.Rows[i]; st == AtUpper || math.IsInf(b, -1) {
			b = r.Upper
		}
		if math.IsInf(b, 0) {
			continue // a free row outside the basis has no bound to move
		}
		lo, up := math.Inf(-1), Inf
		clear(move)
		alpha := k.inv[q*n : q*n+n]
		for p, j := range k.basic {
			t, v := alpha[p], &k.m.Variables[j]
			if t == 0 {
				continue
			}
			lo, up = within(lo, up, t, k.s.X[j], v.Lower, v.Upper)
			rows, values := k.m.Column(int(j))
			for e, h := range rows {
				move[h] += t * values[e]
			}
		}
		for h, t := range move {
			if h != int(i) && k.place[h] < 0 && t != 0 {
				lo, up = within(lo, up, t, k.s.Activity[h], k.m.Rows[h].Lower, k.m.Rows[h].Upper)
			}
		}
		out[i] = Range{b + lo, b + up}
		switch {
		case r.Lower == r.Upper:
		case b == r.Lower:
			out[i].Upper = min(out[i].Upper, r.Upper)
		default:
			out[i].Lower = max(out[i].Lower, r.Lower)
		}
	}
}

// within narrows the allowed move [lo, up] of a bound so that a value which
// moves t times as far stays between its own bounds.
func within(lo, up, t, value, lower, upper float64) (float64, float64) {
	if math.Abs(t) <= rangingZero*max(1, math.Abs(value)) {
		return lo, up
	}
	toLower, toUpper := min(lower-value, 0)/t, max(upper-value, 0)/t
	if t < 0 {
		toLower, toUpper = toUpper, toLower
	}
	return max(lo, toLower), min(up, toUpper)
}
