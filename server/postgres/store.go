package postgres

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"strings"
	"time"

	pgxdecimal "github.com/jackc/pgx-shopspring-decimal"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"millbase/server/app"
)

// Options tune a Store; the zero value suits a plant server.
type Options struct {
	// Writers post the gathered movements; 0 is 1. One gathers the largest sets,
	// and measured best on two cores; more help where cores are plenty.
	Writers int
	// GatherLimit is the most movements in one transaction; 0 is 256.
	GatherLimit int
	// MaxConns of the pool for everything but posting, when the URL does not say
	// (pool_max_conns); 0 is 16.
	MaxConns int32
	// ConnectWithin is how long Open waits for the database to answer; 0 is 30 s.
	ConnectWithin time.Duration
	// Logger may be nil.
	Logger *slog.Logger
}

// Store implements app.Store.
type Store struct {
	pool         *pgxpool.Pool // reads and transactions
	ledgerPool   *pgxpool.Pool // the writers', so that no long transaction starves them
	posts        *gatherer
	reservations *gatherer
	log          *slog.Logger
	kept         keptBook
	queue        *river.Client[pgx.Tx]
}

var _ app.Store = (*Store)(nil)

// db is what a pool, a connection and a transaction have in common.
type db interface {
	Exec(ctx context.Context, sql string, args ...any) (pgconn.CommandTag, error)
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
	SendBatch(ctx context.Context, b *pgx.Batch) pgx.BatchResults
	Begin(ctx context.Context) (pgx.Tx, error)
}

// Open connects to the database, which must be migrated, and waits until it
// answers. A URL with several hosts follows a failover to the one that takes
// writes (target_session_attrs=read-write).
func Open(ctx context.Context, url string, o Options) (*Store, error) {
	if o.Writers <= 0 {
		o.Writers = 1
	}
	if o.GatherLimit <= 0 {
		o.GatherLimit = 256
	}
	if o.MaxConns <= 0 {
		o.MaxConns = 16
	}
	if o.ConnectWithin <= 0 {
		o.ConnectWithin = 30 * time.Second
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	s := &Store{log: o.Logger}
	var err error
	maxConns := o.MaxConns
	if strings.Contains(url, "pool_max_conns") {
		maxConns = 0
	}
	if s.pool, err = newPool(ctx, url, maxConns); err != nil {
		return nil, err
	}
	if s.ledgerPool, err = newPool(ctx, url, int32(o.Writers)+1); err != nil {
		s.pool.Close()
		return nil, err
	}
	if s.queue, err = river.NewClient(riverpgxv5.New(s.pool), &river.Config{Schema: QueueSchema, Logger: o.Logger}); err != nil {
		s.pool.Close()
		s.ledgerPool.Close()
		return nil, err
	}
	if err := s.awaitAnswer(ctx, o.ConnectWithin); err != nil {
		s.pool.Close()
		s.ledgerPool.Close()
		return nil, err
	}
	s.posts = newGatherer(s.ledgerPool, movements{}, o.Writers, o.GatherLimit)
	s.reservations = newGatherer(s.ledgerPool, reservations{}, 1, o.GatherLimit)
	return s, nil
}

func newPool(ctx context.Context, url string, maxConns int32) (*pgxpool.Pool, error) {
	cfg, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("the database URL can't be read: %w", err)
	}
	if maxConns > 0 {
		cfg.MaxConns = maxConns
	}
	cfg.AfterConnect = func(_ context.Context, conn *pgx.Conn) error {
		pgxdecimal.Register(conn.TypeMap())
		return nil
	}
	return pgxpool.NewWithConfig(ctx, cfg)
}

func (s *Store) awaitAnswer(ctx context.Context, within time.Duration) error {
	ctx, cancel := context.WithTimeout(ctx, within)
	defer cancel()
	for wait := 50 * time.Millisecond; ; wait = min(2*wait, 2*time.Second) {
		err := s.pool.Ping(ctx)
		if err == nil {
			return nil
		}
		s.log.Warn("the database does not answer yet", "error", err)
		select {
		case <-ctx.Done():
			return fmt.Errorf("the database does not answer: check its URL and that it runs: %w", err)
		case <-time.After(wait):
		}
	}
}

// Close ends the writers after what they have taken, then all connections.
func (s *Store) Close() {
	s.posts.close()
	s.reservations.close()
	s.ledgerPool.Close()
	s.pool.Close()
}

// Ping reports whether the database answers.
func (s *Store) Ping(ctx context.Context) error { return translate(s.pool.Ping(ctx)) }

// Pool is the store's pool of connections, for a job queue on the same
// database.
func (s *Store) Pool() *pgxpool.Pool { return s.pool }

// View runs f on one consistent snapshot.
func (s *Store) View(ctx context.Context, f func(context.Context, app.Tx) error) error {
	return s.transact(ctx, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, f)
}

// Update runs f in one READ COMMITTED transaction, again after a deadlock or a
// serialization failure.
func (s *Store) Update(ctx context.Context, f func(context.Context, app.Tx) error) error {
	return s.transact(ctx, pgx.TxOptions{IsoLevel: pgx.ReadCommitted}, f)
}

func (s *Store) transact(ctx context.Context, o pgx.TxOptions, f func(context.Context, app.Tx) error) error {
	return again(ctx, func() error {
		return translate(pgx.BeginTxFunc(ctx, s.pool, o, func(t pgx.Tx) error {
			return f(ctx, &tx{t: t, kept: &s.kept, queue: s.queue})
		}))
	})
}

// Work runs f in one READ COMMITTED transaction as Update does, for the job queue.
func (s *Store) Work(ctx context.Context, f func(context.Context, pgx.Tx) error) error {
	return again(ctx, func() error {
		return translate(pgx.BeginTxFunc(ctx, s.pool, pgx.TxOptions{IsoLevel: pgx.ReadCommitted}, func(t pgx.Tx) error { return f(ctx, t) }))
	})
}

// maxTries bounds how often a transaction that lost a deadlock is run.
const maxTries = 8

// again runs f until its error is not one that running it again may cure.
func again(ctx context.Context, f func() error) error {
	for try := 1; ; try++ {
		err := f()
		var c *clash
		if err == nil || !errors.As(err, &c) || try == maxTries {
			return err
		}
		select {
		case <-ctx.Done():
			return err
		case <-time.After(time.Duration(try) * (2 + time.Duration(rand.IntN(8))) * time.Millisecond):
		}
	}
}
