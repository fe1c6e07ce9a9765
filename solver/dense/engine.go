package dense

import (
	"context"
	"errors"
	"fmt"
	"math"

	"millbase/solver"
)

// The size up to which the dense kernel takes a model. It was measured: beyond
// 100 rows Clp is as fast on sparse models, and soon faster.
const (
	MaxRows   = 100
	MaxPlaces = 60_000 // rows x variables
)

// ErrSize is returned for a model beyond MaxRows or MaxPlaces.
var ErrSize = errors.New("the model is too large for the dense kernel; solve it with another engine")

// Engine solves formula-sized models. Its zero value is ready to use.
type Engine struct{}

// New returns the engine.
func New() *Engine { return &Engine{} }

var _ solver.Engine = (*Engine)(nil)

// Name implements solver.Engine.
func (*Engine) Name() string { return "dense" }

// Suits reports whether m is of a size for this engine.
func (*Engine) Suits(m *solver.Model) bool {
	return len(m.Rows) <= MaxRows && len(m.Rows)*len(m.Variables) <= MaxPlaces && len(m.Variables) <= MaxPlaces
}

// Solve implements solver.Engine. A starting basis of another shape is an
// error; one with the wrong number of basic places is left aside. A model that
// Suits refuses is ErrSize.
func (e *Engine) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	if err := m.Validate(); err != nil {
		return nil, err
	}
	if m.HasInteger() {
		return nil, solver.ErrInteger
	}
	if !e.Suits(m) {
		return nil, ErrSize
	}
	if o.Start != nil && !fits(m, o.Start) {
		return nil, unfit(m, o.Start)
	}
	if ctx.Err() != nil {
		return &solver.Solution{Stop: solver.StopCancelled, Bound: math.Inf(-1), Engine: e.Name()}, nil
	}
	within, limited := ctx, o.TimeLimit > 0
	if limited {
		var end context.CancelFunc
		within, end = context.WithTimeout(ctx, o.TimeLimit)
		defer end()
	}
	w := pool.Get().(*work)
	defer pool.Put(w)
	w.done = within.Done()
	w.load(m)
	if o.Start != nil && full(o.Start, len(m.Rows)) {
		w.warm(o.Start)
	} else {
		w.cold()
	}
	s := w.answer(ctx, m, w.run(m), limited)
	w.done = nil
	s.Engine = e.Name()
	if o.Ranging && s.Stop == solver.StopOptimal {
		s.Ranging = m.Ranging(s)
	}
	return s, nil
}

// fits reports whether a basis has the shape of m.
func fits(m *solver.Model, b *solver.Basis) bool {
	return len(b.Rows) == len(m.Rows) && len(b.Variables) == len(m.Variables)
}

func unfit(m *solver.Model, b *solver.Basis) error {
	return fmt.Errorf("%w: it is for %d rows and %d variables, the model has %d and %d; start without one",
		solver.ErrStart, len(b.Rows), len(b.Variables), len(m.Rows), len(m.Variables))
}

// full reports whether a basis has as many basic places as there are rows.
func full(b *solver.Basis, rows int) bool {
	count := 0
	for _, list := range [2][]solver.VarStatus{b.Variables, b.Rows} {
		for _, s := range list {
			if s == solver.Basic {
				count++
			}
		}
	}
	return count == rows
}
