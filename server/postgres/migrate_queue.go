package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
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

func queueMigration() *goose.Migration {
	return goose.NewGoMigration(queueMigrationVersion,
		&goose.GoFunc{RunDB: migrateQueue},
		&goose.GoFunc{RunDB: func(ctx context.Context, db *sql.DB) error {
			_, err := db.ExecContext(ctx, "DROP SCHEMA "+QueueSchema+" CASCADE")
			return err
		}})
}

// migrateQueue runs each of the queue's migrations in a transaction of its own: a
// value added to an enum can't be used in the same one. What a broken attempt left
// is gone on with.
func migrateQueue(ctx context.Context, db *sql.DB) (err error) {
	conn, err := db.Conn(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, conn.Close()) }()
	if _, err := conn.ExecContext(ctx, "CREATE SCHEMA IF NOT EXISTS "+QueueSchema); err != nil {
		return err
	}
	migrator, err := newQueueMigrator()
	if err != nil {
		return err
	}
	return conn.Raw(func(driver any) error {
		c := driver.(*stdlib.Conn).Conn()
		for at := 0; at < queueTarget; {
			var done *rivermigrate.MigrateResult
			err := pgx.BeginFunc(ctx, c, func(t pgx.Tx) (err error) {
				//lint:ignore SA1019 goose holds one lock over all migrations; those of this release of the queue go in transactions
				done, err = migrator.MigrateTx(ctx, t, rivermigrate.DirectionUp, &rivermigrate.MigrateOpts{MaxSteps: 1})
				return err
			})
			if err != nil {
				return fmt.Errorf("the job queue's tables: %w", err)
			}
			if len(done.Versions) == 0 {
				return nil
			}
			at = done.Versions[0].Version
		}
		return nil
	})
}

func newQueueMigrator() (*rivermigrate.Migrator[pgx.Tx], error) {
	return rivermigrate.New(riverpgxv5.New(nil), &rivermigrate.Config{Schema: QueueSchema, Logger: slog.New(slog.DiscardHandler)})
}
