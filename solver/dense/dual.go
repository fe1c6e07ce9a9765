package dense

import "math"

// outcome says how a phase ended.
type outcome uint8

const (
	done outcome = iota // feasible (dual) or optimal (primal)
	infeasible
	unbounded
	stopped // the context is done
	doubtful
)

// stopped reports whether the context is done; it looks now and then.
func (w *work) stopped() bool {
	if w.done == nil || w.iterations&7 != 0 {
		return false
	}
	select {
	case <-w.done:
		return true
	default:
		return false
	}
}

// exhausted reports whether the solve has gone on for longer than any sound one.
func (w *work) exhausted() bool { return w.iterations > 1000+50*(w.m+w.n) }

// ready makes the basis dual feasible: boxed variables go to their other
// bound, the cost of the rest is moved.
func (w *work) ready() {
	flipped := false
	for j, at := range w.at {
		if at == basic || w.lower[j] == w.upper[j] {
			continue
		}
		d := w.d[j]
		switch {
		case at == atZero:
			if d != 0 {
				w.move(j, -d)
			}
		case d*w.dir[j] >= -optimal:
		case math.IsInf(w.lower[j], -1) || math.IsInf(w.upper[j], 1):
			w.move(j, -d)
		default:
			w.flip(j)
			flipped = true
		}
	}
	if flipped {
		w.values()
	}
}

// move moves the cost of variable j, which is outside the basis.
func (w *work) move(j int, by float64) {
	w.cost[j] += by
	w.d[j] += by
	w.moved = true
}

// flip moves variable j to its other bound; the basic variables don't follow.
func (w *work) flip(j int) {
	if w.at[j] == atLower {
		w.leave(j, atUpper)
	} else {
		w.leave(j, atLower)
	}
}

// dual runs the dual simplex from a dual feasible basis until it is primal
// feasible. When it returns infeasible, the position whose row proves it is in
// w.proof, and w.proofSign its sign.
func (w *work) dual() outcome {
	still := 0
	for {
		if w.stopped() {
			return stopped
		}
		if w.exhausted() {
			return doubtful
		}
		if w.pivots >= renewal {
			w.renew()
		}
		p, below := w.worst(feasible)
		if p < 0 {
			return done
		}
		sign, delta := 1.0, w.xb[p]-w.ub[p]
		if below {
			sign, delta = -1, w.lb[p]-w.xb[p]
		}
		w.tableauRow(p)
		q, v := w.dualRatio(p, sign, delta)
		if q < 0 {
			w.proof, w.proofSign = p, sign
			return infeasible
		}
		w.column(q)
		if math.Abs(w.col[p]-v) > unlike*(1+math.Abs(v)) || math.Abs(w.col[p]) < tiny {
			if !w.recover() {
				return doubtful
			}
			continue
		}
		if w.dualStep(p, q, below) {
			still = 0
		} else if still++; still > 20+w.m {
			w.perturb()
			still = 0
		}
	}
}

// renew inverts the basis anew and computes all figures from it.
func (w *work) renew() {
	w.factorise()
	w.values()
	w.prices()
	w.ready()
}

// recover is renew for numerical reasons; false when it was tried too often.
func (w *work) recover() bool {
	w.recovered++
	if w.recovered > recoverys {
		return false
	}
	w.renew()
	return true
}

// worst returns the position with the largest infeasibility, measured by the
// norm of its row of the inverse, and whether its value is below its bounds; -1
// if all are within tolerance.
func (w *work) worst(tolerance float64) (p int, below bool) {
	p = -1
	best := 0.0
	for o, v := range w.xb {
		out, bound, under := v-w.ub[o], w.ub[o], false
		if v < w.lb[o] {
			out, bound, under = w.lb[o]-v, w.lb[o], true
		}
		if !(out > tolerance) || out <= tolerance*math.Abs(bound) {
			continue
		}
		if w.bland {
			if p < 0 || w.head[o] < w.head[p] {
				p, below = o, under
			}
			continue
		}
		if out*out > best*w.norm[o] {
			best = out * out / w.norm[o]
			p, below = o, under
		}
	}
	return p, below
}

// dualRatio chooses the variable that enters for the one at position p, which
// is delta beyond a bound (sign 1 above, -1 below), and flips the boxed
// variables whose breakpoints it passes. It returns the variable, -1 if the row
// proves infeasibility, and its entry in the row of the tableau.
func (w *work) dualRatio(p int, sign, delta float64) (q int, v float64) {
	left := w.candidates(p, sign)
	slope, from, chosen := delta, 0, -1
	bound := w.ub[p]
	if sign < 0 {
		bound = w.lb[p]
	}
	flips := 0
	for from < len(left) {
		group := w.nearest(left[from:])
		best := from
		for e := from; e < from+group; e++ {
			c := &left[e]
			if w.bland && c.j < left[best].j || !w.bland && c.v > left[best].v {
				best = e
			}
			slope -= c.v * (w.upper[c.j] - w.lower[c.j])
		}
		if chosen < 0 || left[best].v >= good || left[best].v > left[chosen].v {
			chosen, flips = best, from
		}
		from += group
		if !(slope > 0) || w.bland {
			break
		}
	}
	if chosen < 0 || from == len(left) && slope > feasible*(1+math.Abs(bound)) {
		return -1, 0
	}
	q, v = int(left[chosen].j), sign*left[chosen].v
	switch {
	case w.at[q] == atUpper:
		v = -v
	case w.at[q] == atZero:
		v = w.entry(p, q)
	}
	if flips > 0 {
		clear(w.sum)
		for _, c := range left[:flips] {
			was := w.value(int(c.j))
			w.flip(int(c.j))
			w.push(int(c.j), w.value(int(c.j))-was)
		}
		w.ftran(w.col, w.sum)
		for o, v := range w.col {
			w.xb[o] -= v
		}
	}
	return q, v
}

// entry of the tableau in line p, whose row is at hand, and column j.
func (w *work) entry(p, j int) float64 {
	if j < w.n {
		return w.row[j]
	}
	return w.inv[p*w.m+int(w.slot[j-w.n])]
}

// candidates lists the variables whose reduced cost a dual step in row p drives
// to zero.
func (w *work) candidates(p int, sign float64) []breakpoint {
	list := w.entries[:w.n+w.m]
	count := 0
	for j, v := range w.row {
		if v *= sign * w.dir[j]; v > tiny {
			list[count] = breakpoint{int32(j), v, w.d[j] * w.dir[j]}
			count++
		}
	}
	for s, v := range w.inv[p*w.m : p*w.m+len(w.tight)] {
		j := w.n + int(w.tight[s])
		if v *= sign * w.dir[j]; v > tiny {
			list[count] = breakpoint{int32(j), v, w.d[j] * w.dir[j]}
			count++
		}
	}
	if w.free {
		for j, at := range w.at {
			if at != atZero {
				continue
			}
			if v := math.Abs(w.entry(p, j)); v > tiny {
				list[count] = breakpoint{int32(j), v, 0}
				count++
			}
		}
	}
	return list[:count]
}

// nearest brings the candidates that a step within the tolerance reaches first
// to the front and returns their number.
func (w *work) nearest(left []breakpoint) int {
	limit, tolerance := math.Inf(1), optimal
	if w.bland {
		tolerance = 0
	}
	for _, c := range left {
		if c.d+tolerance < limit*c.v {
			limit = max(c.d+tolerance, 0) / c.v
		}
	}
	group := 0
	for e, c := range left {
		if c.d <= limit*c.v {
			left[e], left[group] = left[group], c
			group++
		}
	}
	if group == 0 { // rounding
		return len(left)
	}
	return group
}

// dualStep exchanges; it returns whether the dual objective moved.
func (w *work) dualStep(p, q int, below bool) bool {
	bound, to := w.ub[p], atUpper
	if below {
		bound, to = w.lb[p], atLower
	}
	if w.d[q]*w.dir[q] < 0 || w.at[q] == atZero {
		w.move(q, -w.d[q])
	}
	l := w.head[p]
	pivot := w.col[p]
	if t := w.d[q] / pivot; t != 0 {
		w.descend(p, t)
		w.d[l] = -t
	} else {
		w.d[l] = 0
	}
	stepped := math.Abs(w.d[q]) > optimal
	w.d[q] = 0
	t := (w.xb[p] - bound) / pivot
	v := w.value(q) + t
	for o, a := range w.col {
		w.xb[o] -= t * a
	}
	w.pivot(p, q, to, v)
	return stepped
}

// descend takes t times line p of the tableau off the reduced costs.
func (w *work) descend(p int, t float64) {
	d := w.d[:len(w.row)]
	for j, v := range w.row {
		d[j] -= t * v
	}
	for s, v := range w.inv[p*w.m : p*w.m+len(w.tight)] {
		w.d[w.n+int(w.tight[s])] -= t * v
	}
}

// perturb moves every cost a little away from zero reduced cost, each by
// another amount; the second time it turns to Bland's rule.
func (w *work) perturb() {
	if w.shaken {
		w.bland = true
		return
	}
	w.shaken = true
	seed := uint32(1)
	for j := range w.at {
		seed = seed*1664525 + 1013904223
		if w.dir[j] != 0 {
			by := (1 + float64(seed>>8)/(1<<24)) * 1e-6 * (1 + math.Abs(w.cost[j]))
			w.move(j, w.dir[j]*by)
		}
	}
}
