package pgtest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"millbase/server/embeddedpg"
	"millbase/server/postgres"
)

const (
	template = "template_millbase"
	prefix   = "millbase-pgtest-"
)

var (
	cluster *embeddedpg.Server
	serial  atomic.Int64
)

// Main runs the tests of a package with a cluster, and exits. Call it from
// TestMain.
func Main(m *testing.M) { os.Exit(run(m, true)) }

// MainDurable is Main with fsync and synchronous_commit on, as a plant's server
// has them: for tests that kill, and for measuring.
func MainDurable(m *testing.M) { os.Exit(run(m, false)) }

func run(m *testing.M, unsafe bool) int {
	stop, err := start(unsafe)
	if err != nil {
		fmt.Fprintln(os.Stderr, "pgtest:", err)
		return 1
	}
	code := m.Run()
	if err := stop(); err != nil {
		fmt.Fprintln(os.Stderr, "pgtest:", err)
		return 1
	}
	return code
}

// start starts the cluster and migrates the template.
func start(unsafe bool) (stop func() error, err error) {
	ctx := context.Background()
	removeOrphans(ctx)
	dir, err := os.MkdirTemp("", prefix)
	if err != nil {
		return nil, err
	}
	if err := os.Chmod(dir, 0o755); err != nil { // Postgres may run as another account
		return nil, err
	}
	cluster, err = embeddedpg.Start(ctx, embeddedpg.Config{
		DataDir: filepath.Join(dir, "data"), Unsafe: unsafe, MaxConnections: 300,
		Settings: map[string]string{"shared_buffers": "128MB"}})
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	stop = func() error {
		return errors.Join(cluster.Stop(ctx), os.RemoveAll(dir))
	}
	err = admin(ctx, "CREATE DATABASE "+template)
	if err == nil {
		err = postgres.Migrate(ctx, cluster.DatabaseURL(template))
	}
	if err != nil {
		return nil, errors.Join(err, stop())
	}
	return stop, nil
}

// removeOrphans clears away clusters of test processes that were killed. One
// whose process is alive is locked, and stays.
func removeOrphans(ctx context.Context) {
	old, _ := filepath.Glob(filepath.Join(os.TempDir(), prefix+"*")) // the pattern is well formed
	for _, dir := range old {
		info, err := os.Stat(dir)
		if err != nil || time.Since(info.ModTime()) < time.Minute {
			continue // perhaps just being made
		}
		if embeddedpg.Remove(ctx, filepath.Join(dir, "data")) == nil {
			os.RemoveAll(dir)
		}
	}
}

func admin(ctx context.Context, sql string) error {
	conn, err := pgx.Connect(ctx, cluster.DatabaseURL("postgres"))
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	_, err = conn.Exec(ctx, sql)
	return err
}

// Cluster is the running cluster.
func Cluster() *embeddedpg.Server { return cluster }

// Database makes a fresh migrated database, dropped when the test ends, and
// returns its URL.
func Database(t testing.TB) string {
	t.Helper()
	return database(t, template)
}

// Empty makes a database without any migration.
func Empty(t testing.TB) string {
	t.Helper()
	return database(t, "template0")
}

func database(t testing.TB, from string) string {
	t.Helper()
	if cluster == nil {
		t.Fatal("pgtest: the package has no TestMain that calls pgtest.Main")
	}
	name := fmt.Sprintf("t%d", serial.Add(1))
	if err := admin(t.Context(), "CREATE DATABASE "+name+" TEMPLATE "+from); err != nil {
		t.Fatal("pgtest:", err)
	}
	t.Cleanup(func() {
		if err := admin(context.Background(), "DROP DATABASE "+name+" WITH (FORCE)"); err != nil {
			t.Error("pgtest:", err)
		}
	})
	return cluster.DatabaseURL(name)
}

// New opens a store on a fresh database.
func New(t testing.TB) *postgres.Store {
	t.Helper()
	return Open(t, Database(t), postgres.Options{})
}

// Open opens a store on a database; it is closed when the test ends.
func Open(t testing.TB, url string, o postgres.Options) *postgres.Store {
	t.Helper()
	s, err := postgres.Open(t.Context(), url, o)
	if err != nil {
		t.Fatal("pgtest:", err)
	}
	t.Cleanup(s.Close)
	return s
}
