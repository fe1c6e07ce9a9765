package postgres

import (
	"context"
	"errors"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"millbase/server/app"
)

// gatherer posts the items of callers that wait at the same moment by one
// statement: while a writer works the next ones gather.
type gatherer struct {
	pool   *pgxpool.Pool
	kind   record
	limit  int
	closed chan struct{}
	once   sync.Once
	wg     sync.WaitGroup

	mu      sync.Mutex
	waiting []*call
	enough  int           // of them call a writer
	wake    chan struct{} // holds one when there are enough
}

// call is one waiting caller.
type call struct {
	it    *item
	done  chan struct{}
	state atomic.Int32
}

// The states of a call.
const (
	waiting int32 = iota
	taken         // by a writer: its outcome will be that of the database
	given         // up by the caller before a writer took it
)

// patience bounds how long writers try to reach a database that is away.
const patience = 10 * time.Second

func newGatherer(pool *pgxpool.Pool, kind record, writers, limit int) *gatherer {
	g := &gatherer{pool: pool, kind: kind, limit: limit, closed: make(chan struct{}), enough: 1, wake: make(chan struct{}, 1)}
	g.wg.Add(writers)
	for range writers {
		go g.write()
	}
	return g
}

func (g *gatherer) close() {
	g.once.Do(func() { close(g.closed) })
	g.wg.Wait()
}

// post waits until the item is settled, or the caller gives up.
func (g *gatherer) post(ctx context.Context, it *item) error {
	c := &call{it: it, done: make(chan struct{})}
	select {
	case <-g.closed:
		return closing()
	default:
	}
	g.queue(c)
	select {
	case <-c.done:
		return it.err
	case <-ctx.Done():
		if c.state.CompareAndSwap(waiting, given) {
			return notPosted(ctx, g.kind)
		}
		return &unknownOutcome{cause: ctx.Err(), noun: g.kind.noun(), id: it.id.String()}
	case <-g.closed:
		g.wg.Wait() // the writers settle what they have taken
		select {
		case <-c.done:
			return it.err
		default:
			return closing()
		}
	}
}

// unknownOutcome is what a caller gets that gave up too late to be left out.
type unknownOutcome struct {
	cause    error
	noun, id string
}

func (u *unknownOutcome) Error() string {
	return "the call ended before the database answered: " + u.noun + " " + u.id +
		" may or may not be posted; send it again with the same id to find out"
}

func (u *unknownOutcome) Unwrap() error { return u.cause }

func notPosted(ctx context.Context, kind record) error {
	return &givenUp{cause: ctx.Err(), noun: kind.noun()}
}

type givenUp struct {
	cause error
	noun  string
}

func (g *givenUp) Error() string { return "the call ended before the " + g.noun + " was posted" }
func (g *givenUp) Unwrap() error { return g.cause }

func closing() error {
	return app.Faultf(app.ErrBusy, "SHUTTING_DOWN", "", "the server is shutting down: send it again with the same id in a moment")
}

// queue lets the call wait for a writer.
func (g *gatherer) queue(c *call) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.waiting = append(g.waiting, c)
	if len(g.waiting) >= g.enough {
		g.rouse()
	}
}

func (g *gatherer) rouse() {
	select {
	case g.wake <- struct{}{}:
	default: // a writer is called already
	}
}

func (g *gatherer) write() {
	defer g.wg.Done()
	var l linger
	for {
		g.await(&l)
		calls, ok := g.gather()
		if !ok {
			return
		}
		start := time.Now()
		g.settle(calls)
		l.landed(len(calls), time.Since(start))
	}
}

// gather takes what waits, and waits for a call when there is none.
func (g *gatherer) gather() (calls []*call, ok bool) {
	for {
		if calls := g.take(); len(calls) > 0 {
			return calls, true
		}
		select {
		case <-g.wake:
		case <-g.closed:
			return nil, false
		}
	}
}

// take takes what waits, as far as a set goes, but for the calls whose callers
// have given up.
func (g *gatherer) take() (calls []*call) {
	g.mu.Lock()
	defer g.mu.Unlock()
	n := min(len(g.waiting), g.limit)
	for _, c := range g.waiting[:n] {
		if c.state.CompareAndSwap(waiting, taken) {
			calls = append(calls, c)
		}
	}
	g.waiting = slices.Delete(g.waiting, 0, n)
	if len(g.waiting) > 0 {
		g.rouse() // of another writer
	}
	return calls
}

// settle posts the calls and wakes their callers. The same id twice in one
// gather would break the set: the later ones wait for the next round and are
// answered as replays.
func (g *gatherer) settle(calls []*call) {
	for len(calls) > 0 {
		var now, later []*call
		items := make([]*item, 0, len(calls))
		seen := make(map[uuid.UUID]bool, len(calls))
		for _, c := range calls {
			if seen[c.it.id] {
				later = append(later, c)
				continue
			}
			seen[c.it.id] = true
			now = append(now, c)
			items = append(items, c.it)
		}
		g.postAll(items)
		for _, c := range now {
			close(c.done)
		}
		calls = later
	}
}

// postAll posts the items with the callers' deadlines left aside. It may try
// again after a lost connection: what was posted before is found by its id.
func (g *gatherer) postAll(items []*item) {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	err := again(ctx, func() error { return translate(g.postOnce(ctx, items)) })
	var o *outage
	for wait := 50 * time.Millisecond; errors.As(err, &o) && ctx.Err() == nil; wait = min(2*wait, time.Second) {
		select {
		case <-ctx.Done():
		case <-time.After(wait):
			err = again(ctx, func() error { return translate(g.postOnce(ctx, items)) })
		}
	}
	if err == nil {
		return
	}
	if errors.Is(err, context.DeadlineExceeded) {
		err = app.Faultf(app.ErrBusy, "DATABASE_AWAY", "", "the database did not answer in time: send it again with the same id to find out whether it was posted")
	}
	for _, it := range items {
		it.err = err
	}
}

func (g *gatherer) postOnce(ctx context.Context, items []*item) error {
	for _, it := range items {
		it.err, it.replayed = nil, false // of an earlier try
	}
	err := g.kind.insert(ctx, g.pool, items)
	if err == nil || !refusal(err) {
		return err
	}
	return pgx.BeginFunc(ctx, g.pool, func(t pgx.Tx) error {
		return settle(ctx, t, g.kind, items, false)
	})
}
