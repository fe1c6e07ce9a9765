package jobs

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"sync"
	"time"

	"github.com/riverqueue/river"

	"millbase/server/app"
	"millbase/server/postgres"
)

var (
	errCancelWanted = errors.New("cancelled")
	errTaken        = errors.New("another server has taken the operation")
	errUnknownKind  = errors.New("this server is of a version that does not know the kind")
)

// unknownPause is how long a kind that this server does not know is left to others.
const unknownPause = 2 * time.Second

// writeWithin is how long the end of an operation is tried to be written.
const writeWithin = 20 * time.Second

// worker does what the queue hands over.
type worker struct {
	river.WorkerDefaults[postgres.OperationJob]
	queue *Queue
}

// Timeout implements river.Worker: the limit is the operation's own.
func (w *worker) Timeout(*river.Job[postgres.OperationJob]) time.Duration { return -1 }

// Work implements river.Worker. An error goes back to the queue, which hands the
// job over again.
func (w *worker) Work(ctx context.Context, job *river.Job[postgres.OperationJob]) error {
	q := w.queue
	c, taken, err := q.claim(ctx, job)
	if err != nil || !taken {
		return err
	}
	log := q.cfg.Log.With("operation", c.id, "kind", c.kind, "attempt", c.attempt)
	log.Info("an operation began")
	finished := q.meter.begin(c.kind)
	e := q.carry(ctx, c)
	var again error
	if e.state == app.OperationQueued {
		again = river.JobSnooze(e.pause)
	}
	write, stop := context.WithTimeout(context.WithoutCancel(ctx), writeWithin)
	defer stop()
	switch err := q.writeEnd(write, c, e, job); {
	case errors.Is(err, errTaken):
		log.Warn("another server has taken the operation: what came of it here counts for nothing")
		finished("lost")
		return nil
	case err != nil:
		finished("lost")
		return fmt.Errorf("what came of operation %s can't be written: %w", c.id, err)
	}
	finished(outcome(e))
	log.Info("an operation ended", "state", string(e.state))
	return again
}

func outcome(e end) string {
	if e.state == app.OperationQueued {
		return "given_back"
	}
	return string(e.state)
}

// end is what came of an attempt.
type end struct {
	state   app.OperationState // queued: to be begun again
	result  []byte
	failure []byte
	loss    bool          // queued for a fault
	pause   time.Duration // before it is begun again
}

// carry does the work of an attempt, and says what came of it.
func (q *Queue) carry(ctx context.Context, c *claim) end {
	work, stop := context.WithCancelCause(app.WithCaller(ctx, app.Caller{Key: c.caller, Role: c.role}))
	limited, unlimit := context.WithTimeout(work, q.cfg.Limit)
	defer unlimit()
	var beats sync.WaitGroup
	quiet, hush := context.WithCancel(context.WithoutCancel(ctx))
	beats.Go(func() { q.beat(quiet, c, stop) })
	result, err := q.run(limited, c)
	cause := context.Cause(work)
	hush()
	beats.Wait()
	stop(nil)
	switch {
	case err == nil:
		return end{state: app.OperationSucceeded, result: result}
	case errors.Is(cause, errCancelWanted):
		failure, _ := q.cfg.Failure(ctx, context.Canceled)
		return end{state: app.OperationCancelled, failure: failure}
	case ctx.Err() != nil: // the server stops
		return end{state: app.OperationQueued}
	case errors.Is(err, errUnknownKind):
		q.cfg.Log.Warn("an operation is left to servers of a newer version", "operation", c.id, "kind", c.kind)
		return end{state: app.OperationQueued, pause: unknownPause}
	}
	failure, again := q.cfg.Failure(ctx, err)
	if again && c.losses+1 < mostLosses {
		q.cfg.Log.Warn("an operation is to be begun again", "operation", c.id, "error", err)
		return end{state: app.OperationQueued, loss: true, pause: time.Duration(c.losses+1) * time.Second}
	}
	return end{state: app.OperationFailed, failure: failure}
}

// run runs the kind; a panic is an error.
func (q *Queue) run(ctx context.Context, c *claim) (result []byte, err error) {
	defer func() {
		if p := recover(); p != nil {
			q.cfg.Log.Error("an operation panicked", "operation", c.id, "panic", fmt.Sprint(p), "stack", string(debug.Stack()))
			err = fmt.Errorf("panic: %v", p)
		}
	}()
	kind, known := q.kinds[c.kind]
	if !known {
		return nil, errUnknownKind
	}
	return kind.Run(ctx, c.request, c.progress.set)
}

// beat renews the lease until ctx ends, and ends the work when the operation is to
// be cancelled or is not this server's any more.
func (q *Queue) beat(ctx context.Context, c *claim, stop context.CancelCauseFunc) {
	tick := time.NewTicker(q.cfg.Beat)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		switch cancel, err := q.renew(ctx, c); {
		case errors.Is(err, errTaken):
			stop(errTaken)
			return
		case err != nil && ctx.Err() == nil:
			q.cfg.Log.Warn("a lease can't be renewed", "operation", c.id, "error", err)
		case cancel:
			stop(errCancelWanted) // but the lease is kept until the work has ended
		}
	}
}

// progress is what the work says of itself, for the next beat.
type progress struct {
	mu       sync.Mutex
	fraction float64
	words    string
}

func (p *progress) set(fraction float64, words string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.fraction, p.words = min(max(fraction, p.fraction), 1), words
}

func (p *progress) get() (float64, string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.fraction, p.words
}
