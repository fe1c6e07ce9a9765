package checked

import (
	"context"
	"errors"
	"fmt"
	"log/slog"

	"millbase/solver"
	"millbase/solver/certify"
)

// Engine solves with First and falls back to Second. Models that suit Small are
// tried there before; models with whole-number variables go to Whole instead.
type Engine struct {
	Small  Sized // nil for none
	First  solver.Engine
	Second solver.Engine // nil for none
	Whole  solver.Engine // nil: models with whole numbers are solver.ErrInteger
	// Tolerances of the check; the zero value stands for certify.Default.
	Tolerances certify.Tolerances
	// Log hears of every answer that did not pass; nil for silence.
	Log *slog.Logger
}

var _ solver.Engine = (*Engine)(nil)

// Sized is an engine for models of some sizes only.
type Sized interface {
	solver.Engine
	// Suits reports whether m is of a size for the engine.
	Suits(m *solver.Model) bool
}

// New returns an engine that solves with first and falls back to second.
func New(first, second solver.Engine) *Engine { return &Engine{First: first, Second: second} }

// Error is returned when no engine gave an answer that passes its check.
type Error struct {
	Attempts []Attempt
}

// Attempt is what came of one engine.
type Attempt struct {
	Engine      string
	Certificate certify.Certificate
	Err         error // the engine's own, if it gave no answer
}

// Error implements error.
func (e *Error) Error() string {
	s := "no engine gave an answer that can be trusted; check the figures for very large and very small numbers side by side"
	for _, a := range e.Attempts {
		if a.Err != nil {
			s += fmt.Sprintf("; %s: %v", a.Engine, a.Err)
		} else {
			s += fmt.Sprintf("; %s: %s", a.Engine, a.Certificate.Reason)
		}
	}
	return s
}

// Name implements solver.Engine.
func (e *Engine) Name() string {
	name := e.First.Name() + " checked"
	if e.Small != nil {
		name = e.Small.Name() + " for small models, " + name
	}
	if e.Second != nil {
		name += ", then " + e.Second.Name()
	}
	return name
}

// Solve implements solver.Engine. Solution.Engine names the engine whose
// answer it is. Beside the errors of solver.Engine it returns *Error.
func (e *Engine) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	s, _, err := e.SolveProven(ctx, m, o)
	return s, err
}

// SolveProven is Solve that also hands out the certificate. It is not OK only
// for an answer that claims nothing (cancelled, stopped at a limit without a
// point); such an answer is passed on as it is. For a model with whole numbers
// it is OK when the point is, and Proven only when the relaxation proves the
// rest.
func (e *Engine) SolveProven(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, certify.Certificate, error) {
	tolerances := e.Tolerances
	if tolerances == (certify.Tolerances{}) {
		tolerances = certify.Default
	}
	engines := [3]solver.Engine{nil, e.First, e.Second}
	if e.Small != nil && e.Small.Suits(m) {
		engines[0] = e.Small
	}
	if m.HasInteger() {
		if e.Whole == nil {
			return nil, certify.Certificate{}, solver.ErrInteger
		}
		engines = [3]solver.Engine{e.Whole}
		tolerances.Whole = max(tolerances.Whole, o.Gap)
	}
	failed := &Error{}
	for _, engine := range engines {
		if engine == nil {
			continue
		}
		s, err := engine.Solve(ctx, m, o)
		if refused(err) {
			return nil, certify.Certificate{}, err
		}
		var c certify.Certificate
		if err == nil {
			c = tolerances.Check(m, s)
			if c.OK || s.Stop == solver.StopCancelled || s.Stop == solver.StopLimit && s.Primal == solver.NoPoint {
				return s, c, nil
			}
		}
		failed.Attempts = append(failed.Attempts, Attempt{engine.Name(), c, err})
		if e.Log != nil {
			e.Log.WarnContext(ctx, "an answer did not pass its check", "engine", engine.Name(),
				"rows", len(m.Rows), "variables", len(m.Variables), "reason", c.Reason, "error", err)
		}
		o.Start = nil // it may be what led the first engine astray
	}
	return nil, certify.Certificate{}, failed
}

// refused reports whether the question is at fault, so that another engine would
// refuse it as well.
func refused(err error) bool {
	var bad *solver.ModelError
	return errors.As(err, &bad) || errors.Is(err, solver.ErrInteger) || errors.Is(err, solver.ErrStart)
}
