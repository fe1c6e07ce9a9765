package jobs

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"millbase/server/app"
	"millbase/server/postgres"
)

// Config says what work there is and how it is done.
type Config struct {
	Store *postgres.Store
	Kinds []app.Kind
	// Failure turns an error into what the operation keeps of it; again means that
	// another try may succeed.
	Failure func(ctx context.Context, err error) (failure []byte, again bool)
	Workers int // operations at a time on this server; 0 is 2
	// Lease is how long a server may be silent before its work is another's; 0 is
	// 10 s.
	Lease time.Duration
	// Beat is how often a lease is renewed and a wish to cancel seen; 0 is 500 ms.
	Beat time.Duration
	// Limit of one operation; 0 is an hour.
	Limit time.Duration
	// Keep is how long what has ended is kept; 0 is 30 days.
	Keep time.Duration
	Log  *slog.Logger // nil is silence
}

// mostLosses is how often an operation is begun again for a fault.
const mostLosses = 3

// stuckAfter is when the queue itself takes a job for lost. It only clears away: an
// operation is rescued by its lease long before.
const stuckAfter = 24 * time.Hour

// Queue is this server's share of the work.
type Queue struct {
	cfg    Config
	name   string // of this server
	kinds  map[string]app.Kind
	client *river.Client[pgx.Tx]
	meter  *meter

	sweeping sync.WaitGroup
	unsweep  context.CancelFunc
}

// New builds the queue; Start begins to work.
func New(cfg Config) (*Queue, error) {
	if cfg.Store == nil || cfg.Failure == nil {
		return nil, errors.New("jobs: a store, and words for failures, are needed")
	}
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	if cfg.Workers <= 0 {
		cfg.Workers = 2
	}
	for d, usual := range map[*time.Duration]time.Duration{&cfg.Lease: 10 * time.Second, &cfg.Beat: 500 * time.Millisecond,
		&cfg.Limit: time.Hour, &cfg.Keep: 30 * 24 * time.Hour} {
		if *d <= 0 {
			*d = usual
		}
	}
	q := &Queue{cfg: cfg, name: serverName(), kinds: map[string]app.Kind{}, meter: newMeter()}
	for _, k := range cfg.Kinds {
		q.kinds[k.Name] = k
	}
	workers := river.NewWorkers()
	river.AddWorker(workers, &worker{queue: q})
	var err error
	q.client, err = river.NewClient(riverpgxv5.New(cfg.Store.Pool()), &river.Config{
		ID: q.name, Schema: postgres.QueueSchema, Workers: workers,
		Queues:     map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: cfg.Workers}},
		JobTimeout: -1, RescueStuckJobsAfter: stuckAfter,
		Logger: slog.New(quiet{cfg.Log.Handler()}),
	})
	if err != nil {
		return nil, fmt.Errorf("the job queue: %w", err)
	}
	return q, nil
}

// serverName is unique to this process: two on one host are two servers.
func serverName() string {
	host, err := os.Hostname()
	if err != nil {
		host = "server"
	}
	return fmt.Sprintf("%.40s-%d-%s", host, os.Getpid(), rand.Text()[:6])
}

// Name is this server's name, as operations show it.
func (q *Queue) Name() string { return q.name }

// Metrics are what the queue measures.
func (q *Queue) Metrics() []prometheus.Collector { return q.meter.all() }

// Start begins to take work, until Stop.
func (q *Queue) Start(ctx context.Context) error {
	if err := q.client.Start(context.WithoutCancel(ctx)); err != nil {
		return fmt.Errorf("the job queue can't start: %w", err)
	}
	sweep, unsweep := context.WithCancel(context.WithoutCancel(ctx))
	q.unsweep = unsweep
	q.sweeping.Go(func() { q.sweepForever(sweep) })
	return nil
}

// Stop takes no more work, lets what runs finish until ctx ends, then has it given
// back to the queue, for another server to begin again.
func (q *Queue) Stop(ctx context.Context) error {
	q.unsweep()
	q.sweeping.Wait()
	if err := q.client.Stop(ctx); err == nil {
		return nil
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), writeWithin+5*time.Second)
	defer cancel()
	if err := q.client.StopAndCancel(last); err != nil {
		return fmt.Errorf("work did not stop; another server takes it over in %s: %w", q.cfg.Lease, err)
	}
	return nil
}

// quiet passes on warnings and errors only: the queue's comings and goings are not
// news to whoever reads the server's log.
type quiet struct{ slog.Handler }

func (h quiet) Enabled(ctx context.Context, level slog.Level) bool {
	return level >= slog.LevelWarn && h.Handler.Enabled(ctx, level)
}

func (h quiet) WithAttrs(attrs []slog.Attr) slog.Handler { return quiet{h.Handler.WithAttrs(attrs)} }
func (h quiet) WithGroup(name string) slog.Handler       { return quiet{h.Handler.WithGroup(name)} }
