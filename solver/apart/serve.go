package apart

import (
	"bufio"
	"context"
	"encoding/gob"
	"errors"
	"io"
	"sync"

	"millbase/solver"
)

// question is what goes to a worker: a model to solve, or the wish to stop.
// Questions are numbered upwards; a cancel names the one that it is for, since
// it may arrive before it or after its answer.
type question struct {
	Number  uint64
	Cancel  bool
	Model   *solver.Model
	Options solver.Options
}

// answer is what comes back.
type answer struct {
	Solution *solver.Solution
	Failed   string // the error's text; empty if there is a solution
	Start    bool   // the error is solver.ErrStart
	Integer  bool   // the error is solver.ErrInteger
}

// Serve answers the questions that come in, one at a time, until in ends. It
// then returns at once, even in the middle of a solve: end the process.
func Serve(in io.Reader, out io.Writer, engine solver.Engine) error {
	questions, ended := make(chan question), make(chan error, 1)
	go func() {
		decoder := gob.NewDecoder(bufio.NewReader(in))
		for {
			var q question
			if err := decoder.Decode(&q); err != nil {
				ended <- err
				return
			}
			questions <- q
		}
	}()
	to := bufio.NewWriter(out)
	encoder, written := gob.NewEncoder(to), make(chan error, 1)
	var turn sync.Mutex // an answer is written before the next question is begun
	respond := func(ctx context.Context, q question) {
		turn.Lock()
		defer turn.Unlock()
		if err := errors.Join(encoder.Encode(solve(ctx, engine, q)), to.Flush()); err != nil {
			written <- err
		}
	}
	var current, cancelled uint64
	cancel := func() {}
	for {
		select {
		case q := <-questions:
			if q.Cancel {
				cancelled = q.Number
			} else {
				cancel()
				current = q.Number
				var ctx context.Context
				ctx, cancel = context.WithCancel(context.Background())
				go respond(ctx, q)
			}
			if cancelled == current {
				cancel()
			}
		case err := <-written:
			cancel()
			return err
		case err := <-ended:
			cancel()
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
	}
}

func solve(ctx context.Context, engine solver.Engine, q question) answer {
	s, err := engine.Solve(ctx, q.Model, q.Options)
	if err != nil {
		return answer{Failed: err.Error(), Start: errors.Is(err, solver.ErrStart), Integer: errors.Is(err, solver.ErrInteger)}
	}
	return answer{Solution: s}
}
