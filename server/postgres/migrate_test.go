package postgres_test

import (
	"context"
	"testing"

	"github.com/jackc/pgx/v5"

	"millbase/server/app"
	"millbase/server/postgres"
	"millbase/server/postgres/pgtest"
)

// Migrations run on a database that holds rows of the version before, twice over
// and by two servers at once.
func TestMigrateADatabaseWithRows(t *testing.T) {
	url := pgtest.Empty(t)
	if err := postgres.MigrateTo(t.Context(), url, 1); err != nil {
		t.Fatal(err)
	}
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	_, err = conn.Exec(t.Context(), `INSERT INTO supplier (id, title, currency, lead_time_days, contact, archived) VALUES ('s-1', 'Ostrova Pigments', 'EUR', 7, '', false)`)
	if err != nil {
		t.Fatal(err)
	}
	if err := conn.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	if pending, err := postgres.MigrationPending(t.Context(), url); err != nil || !pending {
		t.Errorf("pending %v, %v", pending, err)
	}
	both := make(chan error)
	for range 2 {
		go func() { both <- postgres.Migrate(t.Context(), url) }()
	}
	for range 2 {
		if err := <-both; err != nil {
			t.Error(err)
		}
	}
	if pending, err := postgres.MigrationPending(t.Context(), url); err != nil || pending {
		t.Errorf("pending %v, %v", pending, err)
	}
	s := pgtest.Open(t, url, postgres.Options{})
	err = s.View(t.Context(), func(ctx context.Context, tx app.Tx) error {
		r, err := tx.Suppliers().Get(ctx, "s-1")
		if r.Value.Title != "Ostrova Pigments" {
			t.Errorf("after migrating: %+v", r)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}

// A server that was killed after it brought up the job queue's tables and before
// that was written down is no obstacle.
func TestMigrateQueueAgain(t *testing.T) {
	url := pgtest.Database(t)
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	if tag, err := conn.Exec(t.Context(), "DELETE FROM goose_db_version WHERE version_id >= 13"); err != nil || tag.RowsAffected() == 0 {
		t.Fatal(tag, err)
	}
	if err := postgres.Migrate(t.Context(), url); err != nil {
		t.Error(err)
	}
}
