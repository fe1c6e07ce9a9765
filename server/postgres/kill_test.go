package postgres_test

import (
	"context"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"millbase/inventory/ledger"
	"millbase/inventory/mass"
	"millbase/server/app"
	"millbase/server/embeddedpg"
	"millbase/server/postgres"
	"millbase/server/postgres/pgtest"
)

// Postgres is killed while callers post: what was acknowledged is there, once,
// and what was not is there at most once.
func TestPostgresKilledWhilePosting(t *testing.T) {
	const lots, clients, kills = 10, 16, 3
	dir, err := os.MkdirTemp("", "millbase-kill-")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	cfg := embeddedpg.Config{DataDir: filepath.Join(dir, "data")} // durable
	pg, err := embeddedpg.Start(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := errors.Join(pg.Stop(context.Background()), os.RemoveAll(dir)); err != nil {
			t.Error(err)
		}
	}()
	if err := postgres.Migrate(t.Context(), pg.URL()); err != nil {
		t.Fatal(err)
	}
	s := pgtest.Open(t, pg.URL(), postgres.Options{})
	seedLots(t, s, lots)

	acknowledged := make([]map[string]bool, clients)
	var done atomic.Bool
	var wg sync.WaitGroup
	for c := range clients {
		acknowledged[c] = map[string]bool{}
		wg.Go(func() {
			for !done.Load() {
				m := issueOf(rand.IntN(lots))
				if postUntilAnswered(t, s, m, &done) {
					acknowledged[c][m.ID] = true
				}
			}
		})
	}
	for range kills {
		time.Sleep(400 * time.Millisecond)
		killPostmaster(t, cfg.DataDir)
		pg.Abandon() // as the next start of the server finds it
		next, err := embeddedpg.Start(t.Context(), cfg)
		if err != nil {
			t.Fatal(err)
		}
		pg = next
	}
	time.Sleep(400 * time.Millisecond)
	done.Store(true)
	wg.Wait()
	checkAcknowledged(t, s, acknowledged)
}

// postUntilAnswered repeats the movement, with its id, as a good caller does.
func postUntilAnswered(t *testing.T, s *postgres.Store, m ledger.Movement, done *atomic.Bool) bool {
	for {
		_, _, err := s.Post(t.Context(), m)
		switch {
		case err == nil:
			return true
		case !errors.Is(err, app.ErrBusy):
			t.Errorf("%T %v", err, err)
			return false
		case done.Load():
			return false
		}
	}
}

func killPostmaster(t *testing.T, dataDir string) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(dataDir, "postgres", "cluster", "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	pid, err := strconv.Atoi(strings.SplitN(string(text), "\n", 2)[0])
	if err != nil {
		t.Fatal(err)
	}
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
}

func checkAcknowledged(t *testing.T, s *postgres.Store, acknowledged []map[string]bool) {
	t.Helper()
	n := 0
	err := s.View(t.Context(), func(ctx context.Context, tx app.Tx) error {
		kept, err := tx.Stock().Movements(ctx, app.Query{Where: []app.Condition{{Field: "kind", Op: "=", Value: "issue"}}})
		if err != nil {
			return err
		}
		there := make(map[string]bool, len(kept))
		for _, m := range kept {
			there[m.ID] = true
		}
		for _, ids := range acknowledged {
			for id := range ids {
				n++
				if !there[id] {
					t.Errorf("movement %s was acknowledged and is lost", id)
				}
			}
		}
		check, err := tx.Stock().Check(ctx)
		if len(check.Differences) > 0 {
			t.Errorf("balances differ from the ledger: %+v", check.Differences)
		}
		if want := 10*stocked - mass.Mass(len(kept))*mass.Gram; check.InStock != want {
			t.Errorf("%s in stock, want %s: a movement was applied twice or in part", check.InStock, want)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if n < 100 {
		t.Errorf("only %d movements were acknowledged", n)
	}
	t.Logf("%d movements acknowledged", n)
}

// A caller that gives up hears whether its movement can have been posted.
func TestCallerGivesUp(t *testing.T) {
	s := pgtest.New(t)
	seedLots(t, s, 1)
	for range 50 {
		m := issueOf(0)
		ctx, cancel := context.WithTimeout(t.Context(), time.Duration(rand.IntN(3000))*time.Microsecond)
		_, _, err := s.Post(ctx, m)
		cancel()
		if err != nil && !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("gave up: %v", err)
		}
		sure := err == nil || !strings.Contains(err.Error(), "may or may not")
		_, replayed, again := s.Post(t.Context(), m)
		if again != nil || sure && replayed != (err == nil) {
			t.Errorf("first %v; again: replayed %v, %v", err, replayed, again)
		}
	}
}
