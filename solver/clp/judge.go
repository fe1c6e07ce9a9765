package clp

import (
	"math"

	"millbase/solver"
)

// judge solves and turns Clp's answer into a Solution. It believes
// "infeasible" and "unbounded" only with a proof, which it looks for in a
// second model when Clp has none at hand.
func judge(c call, engine func(call) (*raw, error)) (*solver.Solution, error) {
	r, err := engine(c)
	if err != nil {
		return nil, err
	}
	j := &judging{engine: engine, iterations: r.iterations}
	switch r.status {
	case statusInfeasible:
		return j.infeasible(c, r)
	case statusUnbounded:
		return j.unbounded(c, r)
	}
	return j.plain(c.model, r), nil
}

// judging is one solve together with the further ones its proof takes.
type judging struct {
	engine     func(call) (*raw, error)
	iterations int
}

// again solves another model under the same limits, cold.
func (j *judging) again(c call, m *solver.Model) (*raw, error) {
	c.model, c.start = m, nil
	c.presolve = len(m.Rows)+len(m.Variables) >= presolveFrom
	r, err := j.engine(c)
	if err == nil {
		j.iterations += r.iterations
	}
	return r, err
}

// plain judges an answer that needs no second model.
func (j *judging) plain(m *solver.Model, r *raw) *solver.Solution {
	s := &solver.Solution{Bound: math.Inf(-1), Iterations: j.iterations}
	switch {
	case r.status == statusOptimal:
		s.Stop, s.Primal, s.Dual = solver.StopOptimal, solver.FeasiblePoint, solver.FeasiblePoint
		s.X, s.Activity, s.RowDual, s.ReducedCost, s.Basis = r.x, r.act, r.y, r.rc, r.basis
		s.Objective = m.Cost(r.x)
		s.Bound = s.Objective
	case r.status == statusEvent && r.stoppedBy == stoppedByFlag:
		s.Stop = solver.StopCancelled
	case r.status == statusEvent || r.status == statusLimit:
		s.Stop = solver.StopLimit
	default:
		s.Stop = solver.StopNumerical
	}
	return s
}

// stopped is the answer when a second model did not come to an optimum.
func (j *judging) stopped(r *raw) *solver.Solution {
	if r.status != statusEvent && r.status != statusLimit {
		r = &raw{status: statusErrors}
	}
	return j.plain(nil, r)
}

// infeasible finds a Farkas ray: Clp's own, or the duals of the model in which
// every row may be broken at a price.
func (j *judging) infeasible(c call, r *raw) (*solver.Solution, error) {
	y := oriented(c.model, r.ray)
	if y == nil {
		e, err := j.again(c, elastic(c.model))
		if err != nil {
			return nil, err
		}
		switch {
		case e.status != statusOptimal:
			return j.stopped(e), nil
		case !c.model.ProvesInfeasible(e.y):
			return j.doubtful(c)
		}
		y = e.y
	}
	return &solver.Solution{
		Stop: solver.StopInfeasible, Dual: solver.Ray, Farkas: y,
		Bound: math.Inf(1), Iterations: j.iterations,
	}, nil
}

// doubtful goes on when Clp called a model infeasible that is not, which
// happens with open variables.
func (j *judging) doubtful(c call) (*solver.Solution, error) {
	c.careful = true
	r, err := j.again(c, c.model)
	if err != nil {
		return nil, err
	}
	if r.status == statusInfeasible || r.status == statusUnbounded {
		return j.falling(c, r)
	}
	return j.plain(c.model, r), nil
}

// unbounded makes sure that there is a point to fall from before it looks for a
// direction of endless fall.
func (j *judging) unbounded(c call, r *raw) (*solver.Solution, error) {
	still := c.model.Variant()
	for k := range still.Variables {
		still.Variables[k].Cost = 0
	}
	f, err := j.again(c, still)
	switch {
	case err != nil:
		return nil, err
	case f.status == statusInfeasible:
		return j.infeasible(c, f)
	case f.status != statusOptimal:
		return j.stopped(f), nil
	}
	return j.falling(c, r)
}

// falling finds a direction of endless fall: Clp's own, or the optimum of the
// model of directions.
func (j *judging) falling(c call, r *raw) (*solver.Solution, error) {
	x := r.ray
	if !c.model.ProvesUnbounded(x) {
		d, err := j.again(c, directions(c.model))
		if err != nil {
			return nil, err
		}
		if d.status != statusOptimal || !c.model.ProvesUnbounded(d.x) {
			return j.stopped(d), nil
		}
		x = d.x
	}
	return &solver.Solution{
		Stop: solver.StopUnbounded, Primal: solver.Ray, X: x,
		Objective: math.Inf(-1), Bound: math.Inf(-1), Iterations: j.iterations,
	}, nil
}

// oriented returns the ray with the sign that makes it a proof, or nil.
func oriented(m *solver.Model, ray []float64) []float64 {
	if len(ray) != len(m.Rows) {
		return nil
	}
	if m.ProvesInfeasible(ray) {
		return ray
	}
	turned := make([]float64, len(ray))
	for i, v := range ray {
		turned[i] = -v
	}
	if m.ProvesInfeasible(turned) {
		return turned
	}
	return nil
}

// elastic returns the model that pays 1 for each unit by which a row is
// broken and nothing else. It always has an optimum; if that is above zero,
// its duals are a Farkas ray of m.
func elastic(m *solver.Model) *solver.Model {
	e := m.Variant()
	for k := range e.Variables {
		e.Variables[k].Cost = 0
	}
	for i, r := range m.Rows {
		if !math.IsInf(r.Lower, -1) {
			e.AddVariable(solver.Variable{Cost: 1, Upper: solver.Inf}, solver.Entry{Row: i, Value: 1})
		}
		if !math.IsInf(r.Upper, 1) {
			e.AddVariable(solver.Variable{Cost: 1, Upper: solver.Inf}, solver.Entry{Row: i, Value: -1})
		}
	}
	return e
}

// directions returns the model of the steepest direction, of size one per
// variable, in which one may go for ever.
func directions(m *solver.Model) *solver.Model {
	d := m.Variant()
	for k := range d.Variables {
		v := &d.Variables[k]
		v.Lower, v.Upper = openness(v.Lower, v.Upper, 1)
	}
	for i := range d.Rows {
		r := &d.Rows[i]
		r.Lower, r.Upper = openness(r.Lower, r.Upper, solver.Inf)
	}
	return d
}

// openness turns bounds into those of a direction: to the size where there is
// no bound, zero where there is one.
func openness(lower, upper, size float64) (float64, float64) {
	var lo, up float64
	if math.IsInf(lower, -1) {
		lo = -size
	}
	if math.IsInf(upper, 1) {
		up = size
	}
	return lo, up
}

// separable solves a model without coefficients: every variable on its own,
// and every row needs zero between its bounds.
func separable(m *solver.Model) *solver.Solution {
	rows, cols := len(m.Rows), len(m.Variables)
	for i, r := range m.Rows {
		if r.Lower > 0 || r.Upper < 0 {
			y := make([]float64, rows)
			y[i] = 1
			if r.Upper < 0 {
				y[i] = -1
			}
			return &solver.Solution{Stop: solver.StopInfeasible, Dual: solver.Ray, Farkas: y, Bound: math.Inf(1)}
		}
	}
	s := &solver.Solution{
		Stop: solver.StopOptimal, Primal: solver.FeasiblePoint, Dual: solver.FeasiblePoint,
		X: make([]float64, cols), ReducedCost: make([]float64, cols),
		Activity: make([]float64, rows), RowDual: make([]float64, rows),
		Basis: &solver.Basis{Variables: make([]solver.VarStatus, cols), Rows: make([]solver.VarStatus, rows)},
	}
	for i := range s.Basis.Rows {
		s.Basis.Rows[i] = solver.Basic
	}
	for k, v := range m.Variables {
		at, x := rest(v)
		if math.IsInf(x, 0) {
			ray := make([]float64, cols)
			ray[k] = math.Copysign(1, x)
			return &solver.Solution{Stop: solver.StopUnbounded, Primal: solver.Ray, X: ray,
				Objective: math.Inf(-1), Bound: math.Inf(-1)}
		}
		s.X[k], s.ReducedCost[k], s.Basis.Variables[k] = x, v.Cost, at
	}
	s.Objective = m.Cost(s.X)
	s.Bound = s.Objective
	return s
}

// rest returns where a variable without rows is cheapest.
func rest(v solver.Variable) (solver.VarStatus, float64) {
	switch {
	case v.Lower == v.Upper:
		return solver.Fixed, v.Lower
	case v.Cost > 0 || v.Cost == 0 && !math.IsInf(v.Lower, -1):
		return solver.AtLower, v.Lower
	case v.Cost < 0 || !math.IsInf(v.Upper, 1):
		return solver.AtUpper, v.Upper
	}
	return solver.Free, 0
}
