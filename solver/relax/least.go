package relax

import (
	"context"
	"fmt"
	"math"

	"millbase/solver"
)

// Movable is a limit that may be moved outward.
type Movable struct {
	Limit
	// Penalty is the price per unit of movement, above zero. Penalties that
	// take the units out (one per cent of each limit at the same price, say)
	// make movements of unlike limits comparable: see Scaled.
	Penalty float64
	// Most is the furthest the limit may move; zero for any distance.
	Most float64
}

// Scaled makes limits movable at a penalty of 1 per own size: the size of the
// bound or, for a bound of zero, the largest coefficient of the row.
func Scaled(m *solver.Model, limits []Limit) []Movable {
	largest := make([]float64, len(m.Rows))
	for k, i := range m.Index {
		largest[i] = max(largest[i], math.Abs(m.Value[k]))
	}
	out := make([]Movable, len(limits))
	for k, l := range limits {
		size := math.Abs(*l.bound(m))
		if size == 0 && !l.OnVariable {
			size = largest[l.Number]
		}
		if size == 0 {
			size = 1
		}
		out[k] = Movable{Limit: l, Penalty: 1 / size}
	}
	return out
}

// Move is one limit moved.
type Move struct {
	Limit
	By    float64 // how far, above zero, in the units of the row or variable
	Bound float64 // where the limit then is
}

// Movement is the answer of Least.
type Movement struct {
	// Possible is false when no movement allowed makes the model feasible:
	// what must not move contradicts itself.
	Possible bool
	// Moves is empty when the model is feasible as it is.
	Moves []Move
	// Total is the sum of penalty times movement, the least there is.
	Total float64
	// X is a point that meets the moved limits.
	X []float64
}

// negligible is the movement, relative to the larger of 1 and the bound, that
// counts as rounding: a tenth of what engines call feasible.
const negligible = 1e-8

// Least finds the least total penalty at which m becomes feasible. Costs play
// no part. It returns an error for limits that do not exist (ErrLimit), for a
// penalty that is not a number above zero, what the engine returns, or
// ErrStopped when ctx was done.
func Least(ctx context.Context, e solver.Engine, m *solver.Model, movable []Movable) (*Movement, error) {
	if err := m.Validate(); err != nil {
		return nil, err
	}
	limits := make([]Limit, len(movable))
	for k, v := range movable {
		limits[k] = v.Limit
		if !(v.Penalty > 0) || !(v.Penalty < solver.MaxCost) || !(v.Most >= 0) {
			return nil, fmt.Errorf("%w: limit %d of the list has penalty %g and furthest movement %g; give a finite penalty above zero and a movement of zero or more",
				ErrLimit, k, v.Penalty, v.Most)
		}
	}
	if err := check(m, limits); err != nil {
		return nil, err
	}
	cols := len(m.Variables)
	s, err := ask(ctx, e, elastic(m, movable))
	if err != nil {
		return nil, err
	}
	if s.Stop == solver.StopInfeasible {
		return &Movement{}, nil
	}
	out := &Movement{Possible: true, X: append([]float64(nil), s.X[:cols]...)}
	for k, v := range movable {
		by := s.X[cols+k]
		if v.OnVariable {
			out.X[v.Number] += v.outward() * by
		}
		bound := *v.bound(m)
		if by <= negligible*max(1, math.Abs(bound)) {
			continue
		}
		out.Total += v.Penalty * by
		out.Moves = append(out.Moves, Move{Limit: v.Limit, By: by, Bound: bound + v.outward()*by})
	}
	return out, nil
}

// elastic adds one column per movable limit, in order. For a row it stands in
// that row alone; a variable gets a twin that takes what goes beyond its bound.
func elastic(m *solver.Model, movable []Movable) *solver.Model {
	f := free(m)
	for _, v := range movable {
		twin := solver.Variable{Cost: v.Penalty, Upper: solver.Inf}
		if v.Most > 0 {
			twin.Upper = v.Most
		}
		if !v.OnVariable {
			f.AddVariable(twin, solver.Entry{Row: v.Number, Value: -v.outward()})
			continue
		}
		rows, values := m.Column(v.Number)
		entries := make([]solver.Entry, len(rows))
		for k, i := range rows {
			entries[k] = solver.Entry{Row: int(i), Value: v.outward() * values[k]}
		}
		f.AddVariable(twin, entries...)
	}
	return f
}

// Apply returns a Variant of m with the limits moved. Each is moved by slack
// more, relative to the larger of 1 and its bound, so that rounding does not
// make the model infeasible again; 1e-7 is a good slack.
func Apply(m *solver.Model, moves []Move, slack float64) *solver.Model {
	out := m.Variant()
	for _, v := range moves {
		*v.bound(out) = v.Bound + v.outward()*slack*max(1, math.Abs(v.Bound))
	}
	return out
}
