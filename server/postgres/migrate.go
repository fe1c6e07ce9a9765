package postgres

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"

	"millbase/migrations"
)

// Migrate applies every migration that the database does not have yet. Several
// servers may call it at once: an advisory lock makes the others wait. The error
// names the migration that failed; those before it stay applied.
func Migrate(ctx context.Context, url string) error {
	return MigrateTo(ctx, url, 0)
}

// MigrateTo is Migrate that stops after the given version; 0 is all of them.
func MigrateTo(ctx context.Context, url string, version int64) (err error) {
	db, provider, err := migrator(url)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	if version == 0 {
		_, err = provider.Up(ctx)
	} else {
		_, err = provider.UpTo(ctx, version)
	}
	if err != nil {
		return fmt.Errorf("bringing the database up to date: %w", err)
	}
	return nil
}

// MigrationPending reports whether the database lacks a migration.
func MigrationPending(ctx context.Context, url string) (pending bool, err error) {
	db, provider, err := migrator(url)
	if err != nil {
		return false, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	return provider.HasPending(ctx)
}

func migrator(url string) (*sql.DB, *goose.Provider, error) {
	cfg, err := pgx.ParseConfig(url)
	if err != nil {
		return nil, nil, fmt.Errorf("the database URL can't be read: %w", err)
	}
	db := stdlib.OpenDB(*cfg)
	locker, err := lock.NewPostgresSessionLocker()
	if err != nil {
		return nil, nil, errors.Join(err, db.Close())
	}
	provider, err := goose.NewProvider(goose.DialectPostgres, db, migrations.Files(), goose.WithSessionLocker(locker),
		goose.WithGoMigrations(queueMigration(url)))
	if err != nil {
		return nil, nil, errors.Join(err, db.Close())
	}
	return db, provider, nil
}
