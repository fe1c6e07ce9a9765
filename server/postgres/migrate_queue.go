package postgres

import (
	"context"
	"database/sql"
	"fmt"
	"log/slog"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/pressly/goose/v3"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"
)

// The job queue's tables are the library's own, brought up by its migrator as one
// of our migrations. A release of the library with newer tables is a further
// migration of ours with that target.
const (
	queueMigrationVersion = 13
	queueTarget           = 8
)

func queueMigration(url string) *goose.Migration {
	return goose.NewGoMigration(queueMigrationVersion,
		&goose.GoFunc{RunDB: func(ctx context.Context, _ *sql.DB) error { return migrateQueue(ctx, url) }},
		&goose.GoFunc{RunDB: func(ctx context.Context, db *sql.DB) error {
			_, err := db.ExecContext(ctx, "DROP SCHEMA "+QueueSchema+" CASCADE")
			return err
		}})
}

// migrateQueue goes on where an attempt that was broken off left: the migrator keeps
// its own count, one transaction a step.
func migrateQueue(ctx context.Context, url string) error {
	pool, err := newPool(ctx, url, 2)
	if err != nil {
		return err
	}
	defer pool.Close()
	if _, err := pool.Exec(ctx, "CREATE SCHEMA IF NOT EXISTS "+QueueSchema); err != nil {
		return err
	}
	migrator, err := newQueueMigrator(pool)
	if err != nil {
		return err
	}
	if _, err := migrator.Migrate(ctx, rivermigrate.DirectionUp, &rivermigrate.MigrateOpts{TargetVersion: queueTarget}); err != nil {
		return fmt.Errorf("the job queue's tables: %w", err)
	}
	return nil
}

func newQueueMigrator(pool *pgxpool.Pool) (*rivermigrate.Migrator[pgx.Tx], error) {
	return rivermigrate.New(riverpgxv5.New(pool), &rivermigrate.Config{Schema: QueueSchema, Logger: slog.New(slog.DiscardHandler)})
}
