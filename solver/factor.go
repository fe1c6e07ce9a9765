package solver

import "math"

// maxKernel is the largest kernel (basic variables beside binding rows) that is
// factorised; its inverse is kept dense.
const maxKernel = 800

// Factor is a factorised basis: the inverse of its kernel, the square matrix of
// the basic variables in the rows whose slack is not basic. It depends on the
// coefficients of the model alone, so it serves as long as those and the basis
// stay, whatever the costs and bounds do. It is only read once it is made, by any
// number of goroutines.
type Factor struct {
	basic []int32   // the basic variables
	rows  []int32   // the rows whose slack is not basic
	place []int32   // per row: its place in rows, or -1
	inv   []float64 // inverse of the kernel, column after column
}

// Factor factorises a basis of m. It is nil when the basis is missing, of another
// shape or singular, or when more than 800 variables are basic.
func (m *Model) Factor(b *Basis) *Factor {
	if b == nil || len(b.Rows) != len(m.Rows) || len(b.Variables) != len(m.Variables) {
		return nil
	}
	f := &Factor{place: make([]int32, len(m.Rows))}
	for i, st := range b.Rows {
		f.place[i] = -1
		if st != Basic {
			f.place[i] = int32(len(f.rows))
			f.rows = append(f.rows, int32(i))
		}
	}
	for j, st := range b.Variables {
		if st == Basic {
			f.basic = append(f.basic, int32(j))
		}
	}
	if len(f.basic) != len(f.rows) || len(f.basic) > maxKernel || !f.invert(m) {
		return nil
	}
	return f
}

// invert fills inv by Gauss-Jordan elimination in place, with partial pivoting. It
// works on the transposed kernel (one line per basic variable), whose inverse,
// line after line, is the inverse of the kernel column after column.
func (f *Factor) invert(m *Model) bool {
	n := len(f.basic)
	a := make([]float64, n*n)
	for p, j := range f.basic {
		rows, values := m.Column(int(j))
		for e, i := range rows {
			if q := f.place[i]; q >= 0 {
				a[p*n+int(q)] = values[e]
			}
		}
	}
	swapped := make([]int32, n) // per step, the line that came up
	for c := range n {
		best := c
		for r := c + 1; r < n; r++ {
			if math.Abs(a[r*n+c]) > math.Abs(a[best*n+c]) {
				best = r
			}
		}
		pivot := a[best*n+c]
		if !(math.Abs(pivot) > 1e-13) {
			return false
		}
		swapped[c] = int32(best)
		line := a[c*n : c*n+n]
		if best != c {
			other := a[best*n : best*n+n]
			for x := range line {
				line[x], other[x] = other[x], line[x]
			}
		}
		line[c] = 1
		for x := range line {
			line[x] /= pivot
		}
		for r := range n {
			g := a[r*n+c]
			if r == c || g == 0 {
				continue
			}
			to := a[r*n : r*n+n]
			to[c] = 0
			for x, v := range line {
				to[x] -= g * v
			}
		}
	}
	for c := n - 1; c >= 0; c-- { // lines that came up are columns of the inverse
		if s := int(swapped[c]); s != c {
			for r := range n {
				a[r*n+c], a[r*n+s] = a[r*n+s], a[r*n+c]
			}
		}
	}
	f.inv = a
	return true
}

// column fills alpha with the tableau column of the given entries: the inverse
// times those in the kernel's rows.
func (f *Factor) column(alpha []float64, rows []int32, values []float64) {
	clear(alpha)
	n := len(alpha)
	for e, i := range rows {
		q := f.place[i]
		if q < 0 {
			continue
		}
		v, col := values[e], f.inv[int(q)*n:int(q)*n+n]
		for p := range col {
			alpha[p] += v * col[p]
		}
	}
}

// Duals fills y, one figure per row, with the row prices that the basis has at
// the costs of m: c_B B^-1, zero for the rows whose slack is basic.
func (f *Factor) Duals(m *Model, y []float64) {
	clear(y)
	n := len(f.basic)
	for q, i := range f.rows {
		var sum float64
		for p, v := range f.inv[q*n : q*n+n] {
			sum += v * m.Variables[f.basic[p]].Cost
		}
		y[i] = sum
	}
}

// Point fills x, one figure per variable, with the point that the basis b, of
// which f is the factor, has at the bounds of m: everything outside the basis at
// its bound, the basic variables from the binding rows. It is false when
// something outside the basis has no bound to be at, or is neither at its lower
// nor at its upper one.
func (f *Factor) Point(m *Model, b *Basis, x []float64) bool {
	n := len(f.basic)
	right := make([]float64, n)
	for q, i := range f.rows {
		at, ok := place(b.Rows[i], m.Rows[i].Lower, m.Rows[i].Upper)
		if !ok {
			return false
		}
		right[q] = at
	}
	for j := range m.Variables {
		if b.Variables[j] == Basic {
			continue
		}
		at, ok := place(b.Variables[j], m.Variables[j].Lower, m.Variables[j].Upper)
		if !ok {
			return false
		}
		if x[j] = at; at == 0 {
			continue
		}
		rows, values := m.Column(j)
		for e, i := range rows {
			if q := f.place[i]; q >= 0 {
				right[q] -= values[e] * at
			}
		}
	}
	for p, j := range f.basic {
		var sum float64
		for q := range right {
			sum += f.inv[q*n+p] * right[q]
		}
		x[j] = sum
	}
	return true
}

// place is the bound that something outside the basis is at. With one finite
// bound that is the one, whatever the engine calls it.
func place(st VarStatus, lower, upper float64) (at float64, ok bool) {
	switch {
	case math.IsInf(lower, -1):
		return upper, !math.IsInf(upper, 1)
	case math.IsInf(upper, 1), st == AtLower, lower == upper:
		return lower, true
	}
	return upper, st == AtUpper
}
