package dense

import "math"

// combine fills out with the sum of coef[e] times row rows[e] of a. It takes
// four rows at a time: one pass over out for four.
func (w *work) combine(out []float64, rows []int32, coef []float64) {
	n := w.n
	out = out[:n]
	e := 0
	if len(rows) < 4 {
		clear(out)
	} else {
		c0, c1, c2, c3 := coef[0], coef[1], coef[2], coef[3]
		r0, r1 := w.a[int(rows[0])*n:][:n], w.a[int(rows[1])*n:][:n]
		r2, r3 := w.a[int(rows[2])*n:][:n], w.a[int(rows[3])*n:][:n]
		for j := range out {
			out[j] = (c0*r0[j] + c1*r1[j]) + (c2*r2[j] + c3*r3[j])
		}
		e = 4
	}
	for ; e+4 <= len(rows); e += 4 {
		c0, c1, c2, c3 := coef[e], coef[e+1], coef[e+2], coef[e+3]
		r0, r1 := w.a[int(rows[e])*n:][:n], w.a[int(rows[e+1])*n:][:n]
		r2, r3 := w.a[int(rows[e+2])*n:][:n], w.a[int(rows[e+3])*n:][:n]
		for j := range out {
			out[j] += (c0*r0[j] + c1*r1[j]) + (c2*r2[j] + c3*r3[j])
		}
	}
	for ; e < len(rows); e++ {
		c, r := coef[e], w.a[int(rows[e])*n:][:n]
		for j := range out {
			out[j] += c * r[j]
		}
	}
}

// tableauRow fills row with the structural part of line p of the tableau; its
// part in the slacks of the tight rows is line p of inv.
func (w *work) tableauRow(p int) {
	rows, coef := w.inverseRow(p)
	w.combine(w.row, rows, coef)
}

// inverseRow lists line p of the inverse, without its zeros.
func (w *work) inverseRow(p int) ([]int32, []float64) {
	rows, coef := w.rows[:0], w.coef[:0]
	for s, v := range w.inv[p*w.m : p*w.m+len(w.tight)] {
		if v != 0 {
			rows, coef = append(rows, w.tight[s]), append(coef, v)
		}
	}
	if i := w.headRow[p]; i >= 0 {
		rows, coef = append(rows, i), append(coef, 1)
	}
	return rows, coef
}

// column fills col with column j of the tableau, j outside the basis.
func (w *work) column(j int) {
	if j >= w.n {
		s := int(w.slot[j-w.n])
		for p := range w.col {
			w.col[p] = w.inv[p*w.m+s]
		}
		return
	}
	for i := range w.sum {
		w.sum[i] = w.a[i*w.n+j]
	}
	w.ftran(w.col, w.sum)
}

// ftran fills out with the inverse times v (m places each, out not v).
func (w *work) ftran(out, v []float64) {
	k, m := len(w.tight), w.m
	g := w.gather[:k]
	for s, i := range w.tight {
		g[s] = v[i]
	}
	for p := range out {
		line := w.inv[p*m : p*m+k]
		line = line[:len(g)]
		var even, odd float64
		s := 0
		for ; s+2 <= len(g); s += 2 {
			even += line[s] * g[s]
			odd += line[s+1] * g[s+1]
		}
		if s < len(g) {
			even += line[s] * g[s]
		}
		if i := w.headRow[p]; i >= 0 {
			even += v[i]
		}
		out[p] = even + odd
	}
}

// outside fills sum with what the variables outside the basis contribute to
// A x + s.
func (w *work) outside() {
	clear(w.sum)
	for j := range w.n {
		if w.at[j] != basic {
			if v := w.value(j); v != 0 {
				w.push(j, v)
			}
		}
	}
	for _, i := range w.tight {
		w.sum[i] += w.value(w.n + int(i))
	}
}

// push adds v times column j of the system to sum.
func (w *work) push(j int, v float64) {
	if j >= w.n {
		w.sum[j-w.n] += v
		return
	}
	for i := range w.sum {
		w.sum[i] += v * w.a[i*w.n+j]
	}
}

// values computes the values of the basic variables.
func (w *work) values() {
	w.outside()
	w.ftran(w.xb, w.sum)
	for p := range w.xb {
		w.xb[p] = -w.xb[p]
	}
}

// prices computes row prices and reduced costs from the costs as they stand, and
// priceError, by how much the basic variables are off zero.
func (w *work) prices() {
	clear(w.y)
	for p, j := range w.head[:w.m] {
		w.charge(p, w.cost[j])
	}
	w.reduce()
	for range 3 {
		// What is left on the basic variables is the error of the inverse: once more.
		largest := 1.0
		for _, y := range w.y {
			largest = max(largest, math.Abs(y))
		}
		w.priceError = 0
		for _, j := range w.head[:w.m] {
			if j < int32(w.n) {
				w.priceError = max(w.priceError, math.Abs(w.d[j])/largest)
			}
		}
		if !(w.priceError > 1e-14) {
			return
		}
		for p, j := range w.head[:w.m] {
			if j < int32(w.n) {
				w.charge(p, w.d[j])
			}
		}
		w.reduce()
	}
}

// charge adds to the row prices what a cost c of the variable at position p
// makes of them.
func (w *work) charge(p int, c float64) {
	if c == 0 {
		return
	}
	for s, v := range w.inv[p*w.m : p*w.m+len(w.tight)] {
		w.y[w.tight[s]] += c * v
	}
	if i := w.headRow[p]; i >= 0 {
		w.y[i] += c
	}
}

// reduce computes the reduced costs from the row prices.
func (w *work) reduce() {
	rows, coef := w.rows[:0], w.coef[:0]
	for i, v := range w.y {
		if v != 0 {
			rows, coef = append(rows, int32(i)), append(coef, v)
		}
	}
	w.combine(w.row, rows, coef)
	for j, v := range w.row {
		w.d[j] = w.cost[j] - v
	}
	for i, v := range w.y {
		w.d[w.n+i] = w.cost[w.n+i] - v
	}
}

// pivot puts variable q, whose tableau column is in col, in the place of the
// one at position p, which goes to the bound to. The value of q becomes v.
func (w *work) pivot(p, q int, to place, v float64) {
	k, m := len(w.tight), w.m
	l := int(w.head[p])
	w.leave(l, to)
	if l >= w.n { // its row becomes tight: its column was the unit column p
		i := l - w.n
		w.slot[i] = int32(k)
		w.tight = append(w.tight, int32(i))
		for q := range m {
			w.inv[q*m+k] = 0
		}
		w.inv[p*m+k] = 1
		k++
	}
	line := w.inv[p*m : p*m+k]
	f := 1 / w.col[p]
	for s := range line {
		line[s] *= f
	}
	for o, g := range w.col {
		if o == p || g == 0 {
			continue
		}
		other := w.inv[o*m : o*m+k][:len(line)]
		for s, v := range line {
			other[s] -= g * v
		}
	}
	if q >= w.n { // its row is no longer tight: its column is the unit column p
		i := q - w.n
		s, last := int(w.slot[i]), k-1
		for o := range m {
			w.inv[o*m+s] = w.inv[o*m+last]
		}
		w.tight[s] = w.tight[last]
		w.slot[w.tight[s]] = int32(s)
		w.slot[i] = -1
		w.tight = w.tight[:last]
	}
	w.enter(p, q)
	w.xb[p] = v
	w.norms()
	w.pivots++
	w.iterations++
}
