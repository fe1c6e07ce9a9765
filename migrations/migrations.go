package migrations

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

//go:embed *.sql
var files embed.FS

// Files are the migrations themselves.
func Files() fs.FS { return files }

// Up applies every migration that the database does not have yet. Several
// servers may call it at once: an advisory lock makes the others wait. The error
// names the migration that failed; those before it stay applied.
func Up(ctx context.Context, url string) error {
	return UpTo(ctx, url, 0)
}

// UpTo is Up that stops after the given version; 0 is all of them.
func UpTo(ctx context.Context, url string, version int64) (err error) {
	db, provider, err := open(url)
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

// Pending reports whether the database lacks a migration.
func Pending(ctx context.Context, url string) (pending bool, err error) {
	db, provider, err := open(url)
	if err != nil {
		return false, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	return provider.HasPending(ctx)
}

func open(url string) (*sql.DB, *goose.Provider, error) {
	cfg, err := pgx.ParseConfig(url)
	if err != nil {
		return nil, nil, fmt.Errorf("the database URL can't be read: %w", err)
	}
	db := stdlib.OpenDB(*cfg)
	locker, err := lock.NewPostgresSessionLocker()
	if err != nil {
		return nil, nil, errors.Join(err, db.Close())
	}
	provider, err := goose.NewProvider(goose.DialectPostgres, db, files, goose.WithSessionLocker(locker))
	if err != nil {
		return nil, nil, errors.Join(err, db.Close())
	}
	return db, provider, nil
}
