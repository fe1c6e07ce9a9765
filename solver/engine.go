package solver

import (
	"context"
	"time"
)

// Options steer one solve.
type Options struct {
	// Start is a basis of an earlier solve of a model of the same shape
	// (ErrStart otherwise); nil starts cold.
	Start *Basis
	// Ranging asks for Solution.Ranging.
	Ranging bool
	// TimeLimit ends the solve with StopLimit; zero means none beside the
	// context's own deadline.
	TimeLimit time.Duration
	// Gap is the relative gap between Objective and Bound at which the solve
	// of a model with whole-number variables may stop: 0.01 stands for 1 %.
	// Zero proves optimality.
	Gap float64
}

// Engine solves models. Implementations are safe for use by several goroutines
// and hold no memory of a solve after it returns.
//
// Solve returns an error only when there is no answer to give: the model does
// not pass Validate, it has integer variables that the engine can't handle
// (ErrInteger), or the engine failed. Infeasible, unbounded, limit reached and
// cancelled are answers.
type Engine interface {
	Name() string
	Solve(ctx context.Context, m *Model, o Options) (*Solution, error)
}
