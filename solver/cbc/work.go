package cbc

import (
	"context"
	"math"
	"time"

	"millbase/solver"
)

const (
	// nearlyWhole is how far from a whole number a value of a relaxation may
	// be and still count as one. The point is then made whole and solved
	// again.
	nearlyWhole = 1e-7
	// sameObjective is by how much, relative to its size, the objective may
	// rise when the whole numbers are made exactly whole.
	sameObjective = 1e-7
)

// work is one solve.
type work struct {
	ctx        context.Context
	linear     solver.Engine
	model      *solver.Model
	options    solver.Options
	begun      time.Time
	iterations int
}

func (w *work) solve() (*solver.Solution, error) {
	m, same, empty := narrowed(w.model)
	if empty {
		return &solver.Solution{Stop: solver.StopInfeasible, Bound: math.Inf(1)}, nil
	}
	o := w.options
	o.Gap = 0
	r, err := w.solveLinear(m.Relaxed(), o)
	if err != nil || !w.model.HasInteger() {
		return r, err
	}
	if !same { // its proofs are about other bounds
		r.Ranging = nil
		if r.Dual == solver.FeasiblePoint || !w.model.ProvesInfeasible(r.Farkas) {
			r.Dual, r.RowDual, r.ReducedCost, r.Farkas = solver.NoPoint, nil, nil, nil
		}
	}
	switch r.Stop {
	case solver.StopOptimal:
		if whole(m, r.X) {
			if s, err := w.clean(m, r.X, r); s != nil || err != nil {
				return s, err
			}
		}
		return w.searched(m, r)
	case solver.StopUnbounded:
		return w.unbounded(m, r)
	}
	return r, nil
}

// narrowed returns m with the bounds of its whole-number variables made whole,
// whether they were so before, and whether one has no whole number between its
// bounds.
func narrowed(m *solver.Model) (out *solver.Model, same, empty bool) {
	out, same = m.Variant(), true
	for j := range out.Variables {
		v := &out.Variables[j]
		if v.Kind != solver.Integer {
			continue
		}
		lower, upper := math.Ceil(v.Lower-nearlyWhole), math.Floor(v.Upper+nearlyWhole)
		same = same && lower == v.Lower && upper == v.Upper
		empty = empty || lower > upper
		v.Lower, v.Upper = lower, upper
	}
	return out, same, empty
}

// solveLinear solves a model without whole numbers in the time that is left.
func (w *work) solveLinear(m *solver.Model, o solver.Options) (*solver.Solution, error) {
	left, over := w.left()
	if over {
		return &solver.Solution{Stop: solver.StopLimit, Bound: math.Inf(-1)}, nil
	}
	o.TimeLimit = left
	s, err := w.linear.Solve(w.ctx, m, o)
	if err == nil {
		w.iterations += s.Iterations
		s.Iterations = w.iterations
	}
	return s, err
}

// left returns the time that is left, zero for any, and whether it is over.
func (w *work) left() (time.Duration, bool) {
	if w.options.TimeLimit <= 0 {
		return 0, false
	}
	left := w.options.TimeLimit - time.Since(w.begun)
	return left, left <= 0
}

// searched lets Cbc search below the optimum r of the relaxation. Should the
// point that it finds fall apart when its whole numbers are made exactly whole,
// it searches once more with care.
func (w *work) searched(m *solver.Model, r *solver.Solution) (*solver.Solution, error) {
	var best *solver.Solution
	for _, careful := range [...]bool{false, true} {
		left, over := w.left()
		if over {
			break
		}
		f, err := search(w.ctx, call{model: m, relaxed: r, gap: max(0, w.options.Gap), limit: left, careful: careful})
		if err != nil {
			return nil, err
		}
		w.iterations += f.iterations
		s, sound, err := w.judge(m, r, f)
		if err != nil || sound {
			return s, err
		}
		if s.Primal == solver.FeasiblePoint && (best == nil || s.Objective < best.Objective) {
			best = s
		}
	}
	if best != nil {
		return best, nil
	}
	stop := solver.StopNumerical
	if _, over := w.left(); over {
		stop = solver.StopLimit
	}
	return &solver.Solution{Stop: stop, Bound: r.Objective, Iterations: w.iterations}, nil
}

// judge turns what Cbc found into an answer. It is not sound when the point
// does not stand, or is dearer than Cbc holds it to be.
func (w *work) judge(m *solver.Model, r *solver.Solution, f *found) (s *solver.Solution, sound bool, err error) {
	s = &solver.Solution{Bound: max(r.Objective, f.bound), Iterations: w.iterations}
	switch {
	case f.end == cancelled || w.ctx.Err() != nil:
		s.Stop, s.Bound = solver.StopCancelled, math.Inf(-1)
		return s, true, nil
	case f.end == gaveUp:
		s.Stop = solver.StopNumerical
		return s, false, nil
	case f.x == nil && f.end == searched:
		s.Stop, s.Bound = solver.StopInfeasible, math.Inf(1)
		return s, true, nil
	case f.x == nil:
		s.Stop = solver.StopLimit
		return s, true, nil
	}
	point, err := w.clean(m, f.x, nil)
	if err != nil {
		return nil, false, err
	}
	if point == nil || point.Primal != solver.FeasiblePoint {
		s.Stop = solver.StopNumerical
		if point != nil {
			s.Stop = point.Stop
		}
		return s, s.Stop == solver.StopCancelled, nil
	}
	slack := sameObjective * max(1, math.Abs(f.objective))
	sound = point.Objective <= f.objective+slack
	s.Stop, s.Primal = solver.StopLimit, solver.FeasiblePoint
	s.X, s.Activity, s.Objective = point.X, point.Activity, point.Objective
	s.Bound = min(s.Bound, s.Objective)
	s.Iterations = w.iterations
	if f.end == searched {
		if w.options.Gap <= 0 && sound {
			s.Bound = s.Objective
		}
		if sound {
			s.Stop = solver.StopOptimal
		}
	}
	return s, sound, nil
}

// clean makes the whole numbers of x exactly whole, fixes them and solves for
// the rest. It returns nil when that has no answer. relaxed, if not nil, is
// the optimum of the relaxation that x is; its proof then goes with the answer.
func (w *work) clean(m *solver.Model, x []float64, relaxed *solver.Solution) (*solver.Solution, error) {
	fixed, exact := m.Variant(), true
	for j := range fixed.Variables {
		v := &fixed.Variables[j]
		if v.Kind == solver.Integer {
			at := max(v.Lower, min(math.Round(x[j]), v.Upper))
			exact = exact && at == x[j]
			v.Lower, v.Upper, v.Kind = at, at, solver.Continuous
		}
	}
	if exact && relaxed != nil {
		return relaxed, nil
	}
	s, err := w.solveClean(fixed)
	if s == nil || err != nil || relaxed == nil {
		return s, err
	}
	if s.Objective > relaxed.Objective+sameObjective*max(1, math.Abs(relaxed.Objective)) {
		return nil, nil // it was not whole after all
	}
	s.Bound = min(relaxed.Objective, s.Objective)
	s.Dual, s.RowDual, s.ReducedCost, s.Basis = relaxed.Dual, relaxed.RowDual, relaxed.ReducedCost, relaxed.Basis
	return s, nil
}

// solveClean solves a model whose whole numbers are fixed, without a time
// limit: it is small work, and without it there is no point to hand out.
func (w *work) solveClean(fixed *solver.Model) (*solver.Solution, error) {
	s, err := w.linear.Solve(w.ctx, fixed, solver.Options{})
	if err != nil {
		return nil, err
	}
	w.iterations += s.Iterations
	switch s.Stop {
	case solver.StopOptimal:
		for j, v := range fixed.Variables {
			if v.Lower == v.Upper {
				s.X[j] = v.Lower
			}
		}
		s.Activity, s.Objective = fixed.Activities(s.X), fixed.Cost(s.X)
	case solver.StopCancelled:
	default:
		return nil, nil
	}
	s.Dual, s.RowDual, s.ReducedCost, s.Basis = solver.NoPoint, nil, nil, nil
	s.Iterations = w.iterations
	return s, nil
}

// unbounded judges a model whose relaxation r falls for ever. With figures that
// are fractions (all floating-point numbers are) the model itself does so too
// if it has any point at all (Meyer, Mathematical Programming 7 (1974), from
// memory).
func (w *work) unbounded(m *solver.Model, r *solver.Solution) (*solver.Solution, error) {
	still := m.Variant()
	for j := range still.Variables {
		still.Variables[j].Cost = 0
	}
	any := &work{ctx: w.ctx, linear: w.linear, model: still, options: w.options, begun: w.begun, iterations: w.iterations}
	any.options.Start, any.options.Ranging, any.options.Gap = nil, false, 0
	s, err := any.solve()
	if err != nil || s.Primal != solver.FeasiblePoint {
		return s, err
	}
	r.Iterations = any.iterations
	return r, nil
}

// whole reports whether the whole-number variables of x are, nearly.
func whole(m *solver.Model, x []float64) bool {
	for j := range m.Variables {
		if m.Variables[j].Kind == solver.Integer && math.Abs(x[j]-math.Round(x[j])) > nearlyWhole {
			return false
		}
	}
	return true
}
