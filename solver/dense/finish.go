package dense

import (
	"context"
	"math"

	"millbase/solver"
)

// run solves what is loaded, which is m, from the basis at hand.
func (w *work) run(m *solver.Model) outcome {
	loosened := false
	for range rounds {
		if p, _ := w.worst(feasible); p >= 0 {
			w.ready()
			o := w.dual()
			if o == infeasible && !loosened && w.border(m) {
				loosened = true
				w.loosen()
				continue
			}
			if o != done {
				return o
			}
		}
		if w.moved {
			copy(w.cost, w.trueCost)
			clear(w.cost[w.n:])
			w.moved = false
			w.prices()
		}
		o := w.primal()
		w.bland, w.shaken = false, false
		switch o {
		case done:
			w.refined()
			w.prices()
			if w.sound() {
				return done
			}
		case unbounded: // only a feasible point can fall
			w.refined()
			if w.inBounds() {
				return unbounded
			}
		default:
			return o
		}
		w.factorise()
		w.values()
		w.prices()
	}
	return doubtful
}

// loosening is the part by which rows may be missed when they can't quite be
// met. Rows that hold what an earlier solve reached are like that.
const loosening = 1e-8

// border reports whether the rows that clash do so by no more than loosening.
func (w *work) border(m *solver.Model) bool {
	margin, scale := m.FarkasMargin(w.ray())
	return margin <= loosening*scale && !math.IsInf(margin, 0)
}

// loosen widens every row.
func (w *work) loosen() {
	for j := w.n; j < w.n+w.m; j++ {
		w.lower[j] -= loosening * (1 + math.Abs(w.lower[j]))
		w.upper[j] += loosening * (1 + math.Abs(w.upper[j]))
		if w.at[j] != basic {
			w.leave(j, w.at[j])
		}
	}
	for p, j := range w.head[:w.m] {
		w.enter(p, int(j))
	}
	w.values()
}

// refined computes the values of the basic variables from the data, then
// corrects them by what the tight rows still lack, and notes valueError.
func (w *work) refined() {
	w.values()
	k, m := len(w.tight), w.m
	for range 3 {
		w.outside()
		largest := 1.0
		for p, j := range w.head[:m] {
			w.push(int(j), w.xb[p])
			largest = max(largest, math.Abs(w.xb[p]))
		}
		w.valueError = 0
		for s, i := range w.tight {
			w.gather[s] = w.sum[i]
			w.valueError = max(w.valueError, math.Abs(w.sum[i])/largest)
		}
		if !(w.valueError > 1e-15) {
			break
		}
		for p := range m {
			if w.headRow[p] >= 0 {
				continue
			}
			for s, v := range w.inv[p*m : p*m+k] {
				w.xb[p] -= v * w.gather[s]
			}
		}
	}
	// The slacks make up the difference in their rows.
	w.outside()
	for p, j := range w.head[:m] {
		if w.headRow[p] < 0 {
			w.push(int(j), w.xb[p])
		}
	}
	for p, i := range w.headRow[:m] {
		if i >= 0 {
			w.xb[p] = -w.sum[i]
		}
	}
}

// inBounds reports whether the refined values are exact and within tolerance.
func (w *work) inBounds() bool {
	for _, v := range w.xb {
		if !(math.Abs(v) < infinite) {
			return false
		}
	}
	p, _ := w.worst(accepted)
	return p < 0 && w.valueError <= inexact
}

// sound reports whether refined values and prices are exact and within
// tolerance.
func (w *work) sound() bool {
	if !w.inBounds() || !(w.priceError <= inexact) {
		return false
	}
	for j, at := range w.at {
		d := w.d[j]
		if !(math.Abs(d) < infinite) || at != basic && (d*w.dir[j] < -accepted || at == atZero && math.Abs(d) > accepted) {
			return false
		}
	}
	return true
}

// answer makes the Solution of an outcome.
func (w *work) answer(ctx context.Context, m *solver.Model, o outcome, limited bool) *solver.Solution {
	s := &solver.Solution{Bound: math.Inf(-1), Iterations: w.iterations}
	switch o {
	case done:
		w.optimum(m, s)
	case infeasible:
		w.farkas(m, s)
	case unbounded:
		w.direction(m, s)
	case stopped:
		s.Stop = solver.StopCancelled
		if limited && ctx.Err() == nil {
			s.Stop = solver.StopLimit
		}
	default:
		s.Stop = solver.StopNumerical
	}
	return s
}

// optimum fills in an optimum, all but values and prices from m itself. Prices
// of the wrong sign by rounding are zero.
func (w *work) optimum(m *solver.Model, s *solver.Solution) {
	rows, cols := w.m, w.n
	flat := make([]float64, 2*cols+2*rows)
	s.Stop, s.Primal, s.Dual = solver.StopOptimal, solver.FeasiblePoint, solver.FeasiblePoint
	s.X, s.ReducedCost = flat[:cols:cols], flat[cols:2*cols:2*cols]
	s.Activity, s.RowDual = flat[2*cols:2*cols+rows:2*cols+rows], flat[2*cols+rows:]
	for j := range s.X {
		if w.at[j] != basic {
			s.X[j] = w.value(j)
		}
	}
	for p, j := range w.head[:rows] {
		if int(j) < cols {
			s.X[j] = snap(w.xb[p], w.lb[p], w.ub[p])
		}
	}
	largest := 1.0
	for _, y := range w.y {
		largest = max(largest, math.Abs(y))
	}
	for i, y := range w.y {
		if at := w.n + i; w.at[at] != basic && !(y*w.dir[at] > 0 && math.Abs(y) <= rounding*largest) {
			s.RowDual[i] = y
		}
	}
	if len(w.colScale) > 0 {
		for j, f := range w.colScale {
			s.X[j] *= f
		}
		for i, f := range w.rowScale {
			s.RowDual[i] *= f
		}
	}
	if w.costScale != 1 {
		for i := range s.RowDual {
			s.RowDual[i] /= w.costScale
		}
	}
	fits := true
	for j := range m.Variables {
		v, x := &m.Variables[j], s.X[j]
		d := v.Cost
		index, values := m.Column(j)
		for k, i := range index {
			d -= values[k] * s.RowDual[i]
			s.Activity[i] += values[k] * x
		}
		fits = fits && w.fits(j, d, x, v)
		if w.at[j] != basic && !(d*w.dir[j] < 0 && math.Abs(d) <= rounding*(1+math.Abs(v.Cost))) {
			s.ReducedCost[j] = d
		}
		s.Objective += v.Cost * x
	}
	if !fits || !w.rowsFit(m, s) {
		*s = solver.Solution{Stop: solver.StopNumerical, Bound: math.Inf(-1), Iterations: w.iterations}
		return
	}
	s.Bound = s.Objective
	s.Basis = w.basis()
}

// fits reports whether the value x and the reduced cost d of variable j are
// sound in the model's own units as well.
func (w *work) fits(j int, d, x float64, v *solver.Variable) bool {
	const slack = 1e-7
	d /= slack * (1 + math.Abs(v.Cost))
	if w.at[j] == basic {
		return math.Abs(d) <= 1 && x >= v.Lower-slack*(1+math.Abs(x)) && x <= v.Upper+slack*(1+math.Abs(x))
	}
	return d*w.dir[j] >= -1 && (w.at[j] != atZero || math.Abs(d) <= 1)
}

// rounding is the relative size below which a figure on the wrong side of a
// bound, or a price of the wrong sign, is the work of rounding.
const rounding = 1e-12

// rowsFit reports whether the prices of the rows have the sign of the bound that
// they lean on, and the rows are there, in the model's own units.
func (w *work) rowsFit(m *solver.Model, s *solver.Solution) bool {
	const slack = 1e-7
	largest, terms := 1.0, 1.0
	for _, y := range s.RowDual {
		largest = max(largest, math.Abs(y))
	}
	for j := range m.Variables {
		terms += math.Abs(m.Variables[j].Cost * s.X[j])
	}
	for i, y := range s.RowDual {
		r := &m.Rows[i]
		bound := r.Lower
		if y < 0 {
			bound = r.Upper
		}
		switch {
		case math.Abs(y) <= 1e-12*largest:
		case math.IsInf(bound, 0) && math.Abs(y) > slack*largest,
			!math.IsInf(bound, 0) && math.Abs(y*(s.Activity[i]-bound)) > slack*terms:
			return false
		}
	}
	return true
}

// snap puts a value that rounding took past its bound onto the bound, so that
// nothing is used less than not at all.
func snap(v, lower, upper float64) float64 {
	for _, bound := range [2]float64{lower, upper} {
		if math.Abs(v-bound) <= rounding*(1+math.Abs(v)) {
			return bound
		}
	}
	return v
}

// basis copies the basis out.
func (w *work) basis() *solver.Basis {
	list := make([]solver.VarStatus, w.n+w.m)
	b := &solver.Basis{Variables: list[:w.n:w.n], Rows: list[w.n:]}
	for j := range list {
		switch at := w.at[j]; {
		case at == basic:
			list[j] = solver.Basic
		case w.lower[j] == w.upper[j]:
			list[j] = solver.Fixed
		case at == atZero:
			list[j] = solver.Free
		case (at == atLower) == (j < w.n): // a slack is minus its row
			list[j] = solver.AtLower
		default:
			list[j] = solver.AtUpper
		}
	}
	return b
}

// ray is the row of the inverse whose basic variable nothing brings back to its
// bound, in the model's own units.
func (w *work) ray() []float64 {
	y := make([]float64, w.m)
	rows, coef := w.inverseRow(w.proof)
	for e, i := range rows {
		y[i] = coef[e] * w.proofSign
		if len(w.rowScale) > 0 {
			y[i] *= w.rowScale[i]
		}
	}
	return y
}

// farkas fills in the proof that there is no feasible point.
func (w *work) farkas(m *solver.Model, s *solver.Solution) {
	y := w.ray()
	if !m.ProvesInfeasible(y) {
		s.Stop = solver.StopNumerical
		return
	}
	s.Stop, s.Dual, s.Farkas, s.Bound = solver.StopInfeasible, solver.Ray, y, math.Inf(1)
}

// direction fills in the proof that the objective falls for ever.
func (w *work) direction(m *solver.Model, s *solver.Solution) {
	x := make([]float64, w.n)
	if w.proof < w.n {
		x[w.proof] = w.proofSign
	}
	for p, j := range w.head[:w.m] {
		if int(j) < w.n && math.Abs(w.col[p]) > tiny {
			x[j] = -w.proofSign * w.col[p]
		}
	}
	for j, f := range w.colScale {
		x[j] *= f
	}
	if !m.ProvesUnbounded(x) {
		s.Stop = solver.StopNumerical
		return
	}
	s.Stop, s.Primal, s.X, s.Objective = solver.StopUnbounded, solver.Ray, x, math.Inf(-1)
}
