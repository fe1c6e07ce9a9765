package reprice

import (
	"math"

	"millbase/solver"
	"millbase/solver/certify"
)

const (
	// sign is the size, relative to the cost, below which a price of the wrong
	// sign counts as rounding. It is ten times finer than what engines aim at, so
	// that a proved cost is the cheapest to better than one part in a million.
	sign = 1e-8
	// at is how near to its bound a value is at it.
	at = 1e-9
)

// prove looks for a proof that the answer of f, or its basis, answers n too. It
// gives n its answer and returns the way, or Solved when there is no proof.
func (w *worker) prove(f, n *formula, bounds bool) Way {
	old := f.answer
	switch {
	case old.Stop == solver.StopInfeasible && w.certified(n, old):
		return ByBasis // a proof of infeasibility knows no costs
	case old.Stop != solver.StopOptimal:
		return Solved
	}
	way := ByReducedCosts
	s := &solver.Solution{Stop: solver.StopOptimal, Primal: solver.FeasiblePoint, Dual: solver.FeasiblePoint,
		X: old.X, Activity: old.Activity, RowDual: old.RowDual, Basis: old.Basis, Engine: old.Engine}
	if bounds && !w.feasible(s) {
		way = ByBasis
		if f.factor == nil || !w.point(f, s) || !w.feasible(s) {
			return Solved
		}
	}
	if w.inBasis(f, n) {
		way = ByBasis
		if f.factor == nil {
			return Solved
		}
		s.RowDual = w.take(len(w.model.Rows))
		f.factor.Duals(&w.model, s.RowDual)
	}
	s.ReducedCost = w.take(len(n.cost))
	if !w.rowSignsFit(s) {
		return Solved
	}
	if way == ByReducedCosts {
		copy(s.ReducedCost, old.ReducedCost)
	}
	for j, c := range n.cost {
		switch {
		case way == ByReducedCosts && c == f.cost[j]:
			continue
		case old.Basis != nil && old.Basis.Variables[j] == solver.Basic:
			s.ReducedCost[j] = 0 // what the prices are made from
			continue
		}
		s.ReducedCost[j] = w.reduced(j, s.RowDual)
		if v := &w.model.Variables[j]; !fits(s.ReducedCost[j], s.X[j], v.Lower, v.Upper, sign*max(1, math.Abs(c))) {
			return Solved
		}
	}
	s.Objective = w.model.Cost(s.X)
	s.Bound = s.Objective
	if !w.certified(n, s) {
		return Solved
	}
	n.factor = f.factor
	return way
}

// certified gives n the answer s if it passes its check.
func (w *worker) certified(n *formula, s *solver.Solution) bool {
	if !certify.Check(&w.model, s).OK {
		return false
	}
	n.answer = s
	return true
}

// inBasis reports whether the cost of a basic variable moved.
func (w *worker) inBasis(f, n *formula) bool {
	if f.answer.Basis == nil {
		return true
	}
	for j, c := range n.cost {
		if c != f.cost[j] && f.answer.Basis.Variables[j] == solver.Basic {
			return true
		}
	}
	return false
}

// reduced is the reduced cost of variable j at the row prices y.
func (w *worker) reduced(j int, y []float64) float64 {
	rows, values := w.model.Column(j)
	d := w.model.Variables[j].Cost
	for k, i := range rows {
		d -= values[k] * y[i]
	}
	return d
}

// point moves s to the point of the old basis at the new bounds.
func (w *worker) point(f *formula, s *solver.Solution) bool {
	s.X = make([]float64, len(w.model.Variables))
	if !f.factor.Point(&w.model, s.Basis, s.X) {
		return false
	}
	s.Activity = w.model.Activities(s.X)
	return true
}

// feasible reports whether the point of s is within the bounds, to what counts as
// being at a bound.
func (w *worker) feasible(s *solver.Solution) bool {
	for j, x := range s.X {
		if v := &w.model.Variables[j]; x < v.Lower && !near(x, v.Lower) || x > v.Upper && !near(x, v.Upper) {
			return false
		}
	}
	for i, a := range s.Activity {
		if r := &w.model.Rows[i]; a < r.Lower && !near(a, r.Lower) || a > r.Upper && !near(a, r.Upper) {
			return false
		}
	}
	return true
}

// rowSignsFit reports whether the price of every row fits the bound that the row
// is at: see fits.
func (w *worker) rowSignsFit(s *solver.Solution) bool {
	largest := 1.0
	for _, y := range s.RowDual {
		largest = max(largest, math.Abs(y))
	}
	for i, y := range s.RowDual {
		r := &w.model.Rows[i]
		if !fits(y, s.Activity[i], r.Lower, r.Upper, sign*largest) {
			return false
		}
	}
	return true
}

// fits reports whether a price fits the bound that its variable or row is at: not
// below zero away from the upper bound, not above zero away from the lower one. With
// a feasible point, and prices that fit everywhere, that is the whole of
// optimality.
func fits(price, value, lower, upper, noise float64) bool {
	switch {
	case price > noise:
		return near(value, lower)
	case price < -noise:
		return near(value, upper)
	}
	return !math.IsNaN(price)
}

func near(value, bound float64) bool {
	return !math.IsInf(bound, 0) && math.Abs(value-bound) <= at*max(1, math.Abs(bound))
}
