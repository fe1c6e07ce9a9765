package dense

import "math"

// primal runs the primal simplex from a primal feasible basis. When it returns
// unbounded, the direction is that of variable w.proof, up or down by
// w.proofSign, with its tableau column in col.
func (w *work) primal() outcome {
	still := 0
	w.bland = false
	fill(w.devex, 1)
	for {
		if w.stopped() {
			return stopped
		}
		if w.exhausted() {
			return doubtful
		}
		if w.pivots >= renewal {
			w.factorise()
			w.values()
			w.prices()
		}
		q := w.entering()
		if q < 0 {
			return done
		}
		up := 1.0
		if w.d[q] > 0 {
			up = -1
		}
		w.column(q)
		p, to, t := w.primalRatio(q, up)
		if p < 0 {
			if math.IsInf(t, 1) {
				w.proof, w.proofSign = q, up
				return unbounded
			}
			w.flip(q)
			w.follow(up * t)
			w.iterations++
			continue
		}
		w.tableauRow(p)
		if v := w.entry(p, q); math.Abs(w.col[p]-v) > unlike*(1+math.Abs(v)) {
			if w.recovered++; w.recovered > recoverys {
				return doubtful
			}
			w.factorise()
			w.values()
			w.prices()
			continue
		}
		w.primalStep(p, q, to, up*t)
		if t > feasible {
			still, w.bland = 0, false
		} else if still++; still > 20+w.m {
			w.bland = true
		}
	}
}

// follow moves the basic variables when the variable whose column is in col
// moves by t.
func (w *work) follow(t float64) {
	for o, a := range w.col {
		w.xb[o] -= t * a
	}
}

// entering returns the variable outside the basis with the best reduced cost by
// its reference weight (Forrest and Goldfarb's simplification of Harris' Devex),
// -1 if none is worth entering.
func (w *work) entering() int {
	q, best := -1, 0.0
	for j, dir := range w.dir {
		gain := -w.d[j] * dir
		if !(gain > optimal) {
			continue
		}
		if w.bland {
			return j
		}
		if gain*gain > best*w.devex[j] {
			q, best = j, gain*gain/w.devex[j]
		}
	}
	if w.free {
		for j, at := range w.at {
			if at == atZero && math.Abs(w.d[j]) > optimal {
				return j // it goes in for good
			}
		}
	}
	return q
}

// primalRatio returns the position that blocks variable q, the bound that it
// goes to, and the step. The position is -1 when q reaches its own other bound
// first; the step is infinite when nothing blocks.
func (w *work) primalRatio(q int, up float64) (p int, to place, t float64) {
	limit := math.Inf(1)
	slack := feasible
	if w.bland {
		slack = 0
	}
	for o, a := range w.col {
		a *= up
		switch {
		case a > tiny:
			if r := w.xb[o] - w.lb[o] + slack*(1+math.Abs(w.lb[o])); r < limit*a {
				limit = max(r, 0) / a
			}
		case a < -tiny:
			if r := w.ub[o] - w.xb[o] + slack*(1+math.Abs(w.ub[o])); r < -limit*a {
				limit = max(r, 0) / -a
			}
		}
	}
	own := w.upper[q] - w.lower[q]
	p, t = -1, own
	if own <= limit {
		return p, to, t
	}
	size := 0.0
	for o, a := range w.col {
		a *= up
		var r float64
		side := atLower
		switch {
		case a > tiny:
			r = w.xb[o] - w.lb[o]
		case a < -tiny:
			r, a, side = w.ub[o]-w.xb[o], -a, atUpper
		default:
			continue
		}
		if r > limit*a {
			continue
		}
		if w.bland && (p < 0 || w.head[o] < w.head[p]) || !w.bland && a > size {
			p, to, t, size = o, side, max(r, 0)/a, a
		}
	}
	return p, to, t
}

// primalStep exchanges variable q, which moves by t, for the one at position
// p, which goes to its bound.
func (w *work) primalStep(p, q int, to place, t float64) {
	l := int(w.head[p])
	pivot := w.col[p]
	step := w.d[q] / pivot
	w.descend(p, step)
	w.d[l], w.d[q] = -step, 0
	weight := w.devex[q] / (pivot * pivot)
	for j, v := range w.row {
		if u := v * v * weight; u > w.devex[j] {
			w.devex[j] = u
		}
	}
	for s, v := range w.inv[p*w.m : p*w.m+len(w.tight)] {
		if j, u := w.n+int(w.tight[s]), v*v*weight; u > w.devex[j] {
			w.devex[j] = u
		}
	}
	w.devex[l] = max(weight, 1)
	v := w.value(q) + t
	w.follow(t)
	w.pivot(p, q, to, v)
}
