package dense

import (
	"math"

	"millbase/solver"
)

// cold starts from the slack basis, every variable at the bound that suits its
// cost.
func (w *work) cold() {
	for j := range w.n {
		w.rest(j, w.cost[j])
	}
	for i := range w.m {
		w.at[w.n+i] = basic
	}
	w.moveIn()
}

// warm starts from a basis with as many basic places as rows.
func (w *work) warm(b *solver.Basis) {
	for j, s := range b.Variables {
		w.stand(j, s, solver.AtLower, solver.AtUpper)
	}
	for i, s := range b.Rows {
		w.stand(w.n+i, s, solver.AtUpper, solver.AtLower)
	}
	w.moveIn()
}

// stand puts variable j where a basis has it, lower and upper being what the
// basis calls its bounds.
func (w *work) stand(j int, s, lower, upper solver.VarStatus) {
	switch {
	case s == solver.Basic:
		w.at[j] = basic
	case s == upper && !math.IsInf(w.upper[j], 1):
		w.leave(j, atUpper)
	case s == lower && !math.IsInf(w.lower[j], -1):
		w.leave(j, atLower)
	default:
		w.rest(j, w.cost[j])
	}
}

// rest puts variable j outside the basis, at the bound that suits cost c.
func (w *work) rest(j int, c float64) {
	switch lo, up := !math.IsInf(w.lower[j], -1), !math.IsInf(w.upper[j], 1); {
	case lo && (c >= 0 || !up):
		w.leave(j, atLower)
	case up:
		w.leave(j, atUpper)
	default:
		w.leave(j, atZero)
	}
}

// leave notes that variable j is outside the basis.
func (w *work) leave(j int, p place) {
	w.at[j] = p
	switch {
	case w.lower[j] == w.upper[j]:
		w.at[j], w.dir[j] = atLower, 0
	case p == atLower:
		w.dir[j] = 1
	case p == atUpper:
		w.dir[j] = -1
	default:
		w.dir[j] = 0
		w.free = true
	}
}

// value of a variable outside the basis.
func (w *work) value(j int) float64 {
	switch w.at[j] {
	case atLower:
		return w.lower[j]
	case atUpper:
		return w.upper[j]
	}
	return 0
}

// moveIn gives every basic variable a position and inverts: structural ones
// first, in the order of their numbers.
func (w *work) moveIn() {
	p := 0
	for j, at := range w.at {
		if at == basic {
			w.enter(p, j)
			p++
		}
	}
	w.factorise()
	w.values()
	w.prices()
}

// enter puts variable j at position p.
func (w *work) enter(p, j int) {
	w.at[j], w.dir[j] = basic, 0
	w.head[p], w.headRow[p] = int32(j), -1
	if j >= w.n {
		w.headRow[p] = int32(j - w.n)
	}
	w.lb[p], w.ub[p] = w.lower[j], w.upper[j]
}

// factorise inverts the basis anew. With S the basic structural variables, T
// the tight rows and R the others, the basis is
//
//	[ A_TS 0 ]                  [  K       0 ]
//	[ A_RS I ]  and its inverse [ -A_RS K  I ],  K the inverse of A_TS.
//
// Where A_TS is singular, what depends on the rest makes room for the slacks of
// the rows left over.
func (w *work) factorise() {
	w.pivots = 0
	w.tight = w.tight[:0]
	for i := range w.m {
		w.slot[i] = -1
		if w.at[w.n+i] != basic {
			w.slot[i] = int32(len(w.tight))
			w.tight = append(w.tight, int32(i))
		}
	}
	w.order()
	for len(w.tight) > 0 && !w.kernel() {
		w.order()
	}
	w.others()
	w.norms()
}

// order gives the basic structural variables the first positions.
func (w *work) order() {
	next := 0
	for p := range w.m {
		if w.headRow[p] >= 0 {
			continue
		}
		if p != next {
			j, other := w.head[p], w.head[next]
			w.enter(p, int(other))
			w.enter(next, int(j))
		}
		next++
	}
}

// kernel inverts A_TS in place into the first lines of inv, by Gauss-Jordan
// elimination with row interchanges. It works on the matrix whose line p is
// basic variable p and whose column s is tight row s, that is on the transpose,
// then transposes. It returns false after repairing a singular basis.
func (w *work) kernel() bool {
	k, m := len(w.tight), w.m
	used := w.rows[:k] // column of the pivot of line p
	taken := w.gather[:k]
	clear(taken)
	for p := range k {
		j := int(w.head[p])
		line := w.inv[p*m : p*m+k]
		for s, i := range w.tight {
			line[s] = w.a[int(i)*w.n+j]
		}
	}
	for p := range k {
		line := w.inv[p*m : p*m+k]
		best, size := -1, singular
		for s, v := range line {
			if v = math.Abs(v); taken[s] == 0 && v > size {
				best, size = s, v
			}
		}
		if best < 0 {
			w.repair(p, used, taken)
			return false
		}
		used[p], taken[best] = int32(best), 1
		w.eliminate(p, best, k)
	}
	w.turn(k, used)
	return true
}

// eliminate does one exchange step of the inversion: basic variable p against
// tight row s.
func (w *work) eliminate(p, s, k int) {
	m := w.m
	line := w.inv[p*m : p*m+k]
	f := 1 / line[s]
	line[s] = 1
	for t := range line {
		line[t] *= f
	}
	for q := range k {
		if q == p {
			continue
		}
		other := w.inv[q*m : q*m+k]
		g := other[s]
		if g == 0 {
			continue
		}
		other[s] = 0
		for t, v := range line {
			other[t] -= g * v
		}
	}
}

// turn brings the result of the exchanges into place. With line p exchanged
// against column used[p], what stands in line p, column s is the entry of the
// inverse of the transposed kernel in row used[p], column (line exchanged
// against s); the kernel's own inverse is its transpose.
func (w *work) turn(k int, used []int32) {
	m := w.m
	w.scratch = sized(w.scratch, k*k)
	line := w.back[:k]
	for p, s := range used {
		line[s] = int32(p)
	}
	for p := range k {
		for s := range k {
			w.scratch[int(line[s])*k+int(used[p])] = w.inv[p*m+s]
		}
	}
	for p := range k {
		copy(w.inv[p*m:p*m+k], w.scratch[p*k:p*k+k])
	}
}

// repair takes the basic variable at position p, which depends on those before
// it, out of the basis, and puts in the slack of a row that has no pivot yet.
func (w *work) repair(p int, used []int32, taken []float64) {
	for s, t := range taken {
		if t != 0 {
			continue
		}
		i := w.tight[s]
		w.rest(int(w.head[p]), 0)
		w.enter(p, w.n+int(i))
		last := len(w.tight) - 1
		w.tight[s] = w.tight[last]
		w.slot[w.tight[s]] = int32(s)
		w.slot[i] = -1
		w.tight = w.tight[:last]
		return
	}
}

// others fills the lines of the inverse whose basic variable is a slack.
func (w *work) others() {
	k, m := len(w.tight), w.m
	for p := k; p < m; p++ {
		line := w.inv[p*m : p*m+k]
		clear(line)
		a := w.a[int(w.headRow[p])*w.n:]
		for q := range k {
			f := a[w.head[q]]
			if f == 0 {
				continue
			}
			for s, v := range w.inv[q*m : q*m+k] {
				line[s] -= f * v
			}
		}
	}
}

// norms computes the squared norms of the rows of the inverse.
func (w *work) norms() {
	k, m := len(w.tight), w.m
	for p := range m {
		var sum float64
		for _, v := range w.inv[p*m : p*m+k] {
			sum += v * v
		}
		if w.headRow[p] >= 0 {
			sum++
		}
		w.norm[p] = sum
	}
}
