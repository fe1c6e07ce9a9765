package apart

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os/exec"
	"sync"
	"time"

	"millbase/solver"
)

// ErrDied is wrapped by the error for a worker that ended in the middle of a
// solve.
var ErrDied = errors.New("the solver library crashed on this model; other solves are not affected")

// Engine solves in worker processes. It is safe for use by several goroutines.
// Close it when it is no longer needed.
type Engine struct {
	name    string
	command func() *exec.Cmd
	places  chan struct{} // one for each solve that may run
	obey    time.Duration // a worker has so long to obey a cancel
	overrun time.Duration // and so long beyond the time limit

	mu     sync.Mutex
	idle   []*worker
	closed bool
}

var _ solver.Engine = (*Engine)(nil)

// New returns an engine that runs at most so many workers at once. command
// makes the command of a worker, which must answer by Serve on its standard
// input and its file descriptor 3 (a library may write on standard output).
func New(name string, workers int, command func() *exec.Cmd) *Engine {
	return &Engine{
		name: name, command: command, places: make(chan struct{}, max(1, workers)),
		obey: 100 * time.Millisecond, overrun: 2 * time.Second,
	}
}

// Name implements solver.Engine.
func (e *Engine) Name() string { return e.name }

// Close ends the workers. Solves at work come to an end first.
func (e *Engine) Close() {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.closed = true
	for _, w := range e.idle {
		w.kill()
	}
	e.idle = nil
}

// Solve implements solver.Engine. Beside the errors of the engine itself it
// returns ErrDied.
func (e *Engine) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	if err := m.Validate(); err != nil {
		return nil, err
	}
	select {
	case e.places <- struct{}{}:
	case <-ctx.Done():
		return e.without(solver.StopCancelled), nil
	}
	defer func() { <-e.places }()
	if ctx.Err() != nil {
		return e.without(solver.StopCancelled), nil
	}
	begun := time.Now()
	w, err := e.take()
	if err != nil {
		return nil, err
	}
	used := w.number > 0
	s, err := e.solveBy(ctx, w, m, o)
	if !used || !errors.Is(err, ErrDied) {
		return s, err
	}
	// What a used worker died of may be the doing of an earlier solve: a fresh
	// one decides, in the time that is left.
	if o.TimeLimit > 0 {
		if o.TimeLimit -= time.Since(begun); o.TimeLimit <= 0 {
			return nil, err
		}
	}
	if w, err = e.fresh(); err != nil {
		return nil, err
	}
	return e.solveBy(ctx, w, m, o)
}

// solveBy lets w solve, and keeps it for later unless it died or had to be
// killed.
func (e *Engine) solveBy(ctx context.Context, w *worker, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	w.number++
	go w.ask(question{Number: w.number, Model: m, Options: o})
	a, stop := e.wait(ctx, w, o.TimeLimit)
	var err error
	switch {
	case a == nil:
		w.kill()
		if stop != solver.StopUnknown {
			return e.without(stop), nil
		}
		return nil, ErrDied
	case a.Start:
		err = fmt.Errorf("%w (%s)", solver.ErrStart, a.Failed)
	case a.Integer:
		err = solver.ErrInteger
	case a.Failed != "":
		err = errors.New(a.Failed)
	}
	e.put(w)
	return a.Solution, err
}

// wait waits for the answer. Without one, stop says why the worker was given
// up; StopUnknown if it died.
func (e *Engine) wait(ctx context.Context, w *worker, limit time.Duration) (a *answer, stop solver.Stop) {
	var late <-chan time.Time
	if limit > 0 {
		timer := time.NewTimer(limit + e.overrun)
		defer timer.Stop()
		late = timer.C
	}
	select {
	case a := <-w.answers:
		return a, solver.StopUnknown
	case <-late:
		return nil, solver.StopLimit
	case <-ctx.Done():
	}
	go w.ask(question{Number: w.number, Cancel: true})
	timer := time.NewTimer(e.obey)
	defer timer.Stop()
	select {
	case a := <-w.answers:
		return a, solver.StopCancelled
	case <-timer.C:
		return nil, solver.StopCancelled
	}
}

// without is an answer that holds nothing but why it was stopped.
func (e *Engine) without(stop solver.Stop) *solver.Solution {
	return &solver.Solution{Stop: stop, Bound: math.Inf(-1), Engine: e.name}
}

// take returns a worker that lives.
func (e *Engine) take() (*worker, error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for len(e.idle) > 0 {
		w := e.idle[len(e.idle)-1]
		e.idle = e.idle[:len(e.idle)-1]
		if w.lives() {
			return w, nil
		}
	}
	return e.fresh()
}

// fresh returns a worker that has solved nothing yet.
func (e *Engine) fresh() (*worker, error) {
	w, err := start(e.command())
	if err != nil {
		return nil, fmt.Errorf("start a process for the solver: %w", err)
	}
	return w, nil
}

// put keeps a worker for the next solve.
func (e *Engine) put(w *worker) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.closed {
		w.kill()
		return
	}
	e.idle = append(e.idle, w)
}
