package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"time"

	"millbase/server/app"
	"millbase/server/embeddedpg"
	"millbase/server/jobs"
	"millbase/server/postgres"
	"millbase/server/rpc"
	"millbase/server/serve"
	"millbase/solver/engines"
)

// stopWithin is how long the private Postgres gets to stop.
const stopWithin = 30 * time.Second

// run serves until ctx ends. What people must see goes to out, which also takes
// the log.
func run(ctx context.Context, cfg config, out io.Writer) (err error) {
	log := cfg.logger(out)
	url, stopDatabase, err := database(ctx, cfg, log)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, stopDatabase()) }()
	if err := postgres.Migrate(ctx, url); err != nil {
		return fmt.Errorf("bringing the database up to date: %w", err)
	}
	store, err := postgres.Open(ctx, url, postgres.Options{Logger: log})
	if err != nil {
		return fmt.Errorf("opening the book: %w", err)
	}
	defer store.Close()
	engine := engines.New()
	engine.Log = log
	if cfg.apart {
		worker, err := newApart(cfg.solves)
		if err != nil {
			return err
		}
		defer worker.Close()
		engine.Whole = worker
	}
	book := app.New(store, newBounded(engine, cfg.solves), time.Now)
	if cfg.checkLedger {
		return checkLedger(ctx, book, out)
	}
	if err := firstKey(ctx, cfg, book, log, out); err != nil {
		return err
	}
	var queue *jobs.Queue
	if cfg.jobs > 0 {
		queue, err = jobs.New(jobs.Config{Store: store, Kinds: rpc.Kinds(book), Failure: rpc.Failures(log), Workers: cfg.jobs, Log: log})
		if err != nil {
			return err
		}
	}
	return serveBook(ctx, cfg, book, queue, log)
}

// database starts the private Postgres, or leaves everything to the one that the
// URL names.
func database(ctx context.Context, cfg config, log *slog.Logger) (url string, stop func() error, err error) {
	if cfg.databaseURL != "" {
		return cfg.databaseURL, func() error { return nil }, nil
	}
	pg, err := embeddedpg.Start(ctx, embeddedpg.Config{DataDir: cfg.data, BinDir: cfg.postgresBin, Logger: log})
	if err != nil {
		return "", nil, err
	}
	return pg.URL(), func() error {
		ctx, cancel := context.WithTimeout(context.Background(), stopWithin)
		defer cancel()
		return pg.Stop(ctx)
	}, nil
}

// firstKey makes the administrator's key on a book without keys. It goes to a
// file of the data folder; without one it is printed, once, and never logged.
func firstKey(ctx context.Context, cfg config, book *app.Book, log *slog.Logger, out io.Writer) error {
	secret, made, err := book.FirstKey(ctx)
	if err != nil || !made {
		return err
	}
	path := cfg.keyFile()
	if path == "" {
		fmt.Fprintf(out, "The administrator's API key, shown this once: %s\n", secret)
		return nil
	}
	if err := writeKey(path, secret); err != nil {
		fmt.Fprintf(out, "The administrator's API key could not be written to %s (%v). It is shown this once: %s\n", path, err, secret)
		return nil
	}
	log.Info("made the administrator's first API key", "file", path)
	return nil
}

func serveBook(ctx context.Context, cfg config, book *app.Book, queue *jobs.Queue, log *slog.Logger) error {
	certificate, err := cfg.certificate()
	if err != nil {
		return err
	}
	traces, stopTraces, err := newTraces(ctx, cfg.otlp)
	if err != nil {
		return err
	}
	defer stopTraces()
	server, err := serve.New(serve.Config{
		Book: book, GRPCAddr: cfg.grpcAddr, HTTPAddr: cfg.httpAddr, Log: log, TLS: certificate,
		Timeout: cfg.timeout, MaxTimeout: cfg.maxTimeout, Grace: cfg.grace, MaxBody: cfg.maxBody, Traces: traces, Jobs: queue,
	})
	if err != nil {
		return err
	}
	log.Info("serving", "grpc", server.GRPCAddr(), "rest", server.HTTPAddr(), "version", version, "encrypted", certificate != nil)
	err = server.Run(ctx)
	log.Info("stopped")
	return err
}

// checkLedger prints what rebuilding the balances found, and fails when they do
// not agree.
func checkLedger(ctx context.Context, book *app.Book, out io.Writer) error {
	c, err := book.CheckLedger(ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "%d movements with %d entries, %d balances, %s in stock\n", c.Movements, c.Entries, c.Balances, c.InStock)
	for _, d := range c.Differences {
		fmt.Fprintf(out, "lot %s at %s: kept %s (%s reserved), by the ledger %s (%s reserved)\n", d.Lot, d.Location,
			d.Kept.OnHand, d.Kept.Reserved, d.Rebuilt.OnHand, d.Rebuilt.Reserved)
	}
	if n := len(c.Differences); n > 0 {
		return fmt.Errorf("%d balances do not agree with the ledger", n)
	}
	fmt.Fprintln(out, "the balances agree with the ledger")
	return nil
}
