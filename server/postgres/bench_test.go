package postgres_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"

	"millbase/inventory/ledger"
	"millbase/inventory/mass"
	"millbase/server/postgres"
	"millbase/server/postgres/pgtest"
)

// The benchmarks want a durable cluster:
//
//	go test -run '^$' -bench Posts -benchtime 1x ./server/postgres -durable

// postFunction posts the same rows as Store.Post, one call at a time.
const postFunction = `
CREATE FUNCTION bench_post(id uuid, of_lot text, mg bigint, digest bytea) RETURNS timestamptz LANGUAGE sql AS $$
WITH e AS (
	INSERT INTO entry (movement_id, line, account, location, party, lot, quantity_mg)
	VALUES (id, 1, 'stock', 'main', '', of_lot, -mg), (id, 2, 'batch', '', 'b-1', of_lot, mg)
)
INSERT INTO movement (id, kind, batch, digest, entry_count) VALUES (id, 'issue', 'b-1', digest, 2) RETURNING posted_at
$$`

const benchLots = 1000

// benchTime is how long each figure is measured.
const benchTime = 2 * time.Second

// stocked is what is in stock of each lot at first.
const stocked = 100_000 * mass.Tonne

// seedLots makes lots l-0, l-1, ... with plenty in stock.
func seedLots(t testing.TB, s *postgres.Store, n int) {
	t.Helper()
	ctx := context.Background()
	_, err := s.Pool().Exec(ctx, `INSERT INTO material (id, title, class, properties, colour_index, shelf_life_days, safety_stock_mg, cautions, archived)
		VALUES ('m-1', '', 'oil', '{}', '', 0, 0, '[]', false)`)
	if err == nil {
		_, err = s.Pool().Exec(ctx, `INSERT INTO lot (id, material, supplier_lot, status, certificate, batch, note, cost_per_kg, price_per_kg, price_currency, freight_per_kg, duty_percent, exchange_rate)
		SELECT 'l-' || n, 'm-1', '', 'released', '{}', '', '', 0, 0, '', 0, 0, 1 FROM generate_series(0, $1::int - 1) n`, n)
	}
	if err != nil {
		t.Fatal(err)
	}
	var ms []ledger.Movement
	for i := range n {
		m, err := ledger.NewReceipt(ledger.Head{ID: uuid.NewString()}, place(i), "s-1", stocked)
		if err != nil {
			t.Fatal(err)
		}
		ms = append(ms, m)
	}
	if _, err := s.PostAll(ctx, ms); err != nil {
		t.Fatal(err)
	}
}

func place(i int) ledger.Place { return ledger.Place{Lot: "l-" + strconv.Itoa(i), Location: "main"} }

// rate runs f from n clients for a while and returns calls per second.
func rate(b *testing.B, n int, f func(client int) error) float64 {
	b.Helper()
	var count atomic.Int64
	var wg sync.WaitGroup
	begin := time.Now()
	end := begin.Add(benchTime)
	for c := range n {
		wg.Go(func() {
			for time.Now().Before(end) {
				if err := f(c); err != nil {
					b.Error(err)
					return
				}
				count.Add(1)
			}
		})
	}
	wg.Wait()
	return float64(count.Load()) / time.Since(begin).Seconds()
}

func issueOf(lot int) ledger.Movement {
	m, err := ledger.NewIssue(ledger.Head{ID: uuid.NewString()}, place(lot), ledger.Destination{Batch: "b-1"}, mass.Gram)
	if err != nil {
		panic(err)
	}
	return m
}

func BenchmarkPosts(b *testing.B) {
	s := pgtest.New(b)
	seedLots(b, s, benchLots)
	if _, err := s.Pool().Exec(b.Context(), "VACUUM ANALYZE"); err != nil {
		b.Fatal(err)
	}
	if _, err := s.Pool().Exec(b.Context(), postFunction); err != nil {
		b.Fatal(err)
	}
	for _, n := range []int{1, 8, 32} {
		b.Run(fmt.Sprintf("spread/%d", n), func(b *testing.B) {
			report(b, rate(b, n, func(int) error {
				_, _, err := s.Post(b.Context(), issueOf(rand.IntN(benchLots)))
				return err
			}))
		})
		b.Run(fmt.Sprintf("hot/%d", n), func(b *testing.B) {
			report(b, rate(b, n, func(int) error {
				_, _, err := s.Post(b.Context(), issueOf(7))
				return err
			}))
		})
		b.Run(fmt.Sprintf("pgbench/%d", n), func(b *testing.B) { report(b, pgbench(b, n)) })
	}
	b.Run("function/hot/32", func(b *testing.B) { report(b, functionRate(b, s.Pool().Config().ConnString(), 32)) })
	b.Run("import", func(b *testing.B) { report(b, importRate(b, s)) })
}

func report(b *testing.B, perSecond float64) { b.ReportMetric(perSecond, "posts/s") }

func functionRate(b *testing.B, url string, n int) float64 {
	cfg, err := pgxpool.ParseConfig(url)
	if err != nil {
		b.Fatal(err)
	}
	cfg.MaxConns = int32(n)
	pool, err := pgxpool.NewWithConfig(b.Context(), cfg)
	if err != nil {
		b.Fatal(err)
	}
	defer pool.Close()
	digest := make([]byte, 32)
	return rate(b, n, func(int) error {
		_, err := pool.Exec(b.Context(), "SELECT bench_post($1, 'l-7', 1000, $2)", uuid.NewString(), digest)
		return err
	})
}

func importRate(b *testing.B, s *postgres.Store) float64 {
	const size = 5000
	return size * rate(b, 1, func(int) error {
		ms := make([]ledger.Movement, size)
		for i := range ms {
			ms[i] = issueOf(rand.IntN(benchLots))
		}
		_, err := s.PostAll(b.Context(), ms)
		return err
	})
}

var tps = regexp.MustCompile(`tps = ([0-9.]+)`)

// pgbench runs its simple-update script on the same cluster.
func pgbench(b *testing.B, n int) float64 {
	url := pgtest.Empty(b)
	bin := filepath.Join(pgtest.Cluster().BinDir(), "pgbench")
	if out, err := exec.Command(bin, "-i", "-q", "-s", "10", url).CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	c := strconv.Itoa(n)
	out, err := exec.Command(bin, "-N", "-n", "-c", c, "-j", "2", "-T", "2", url).CombinedOutput()
	if err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	v, err := strconv.ParseFloat(string(tps.FindSubmatch(out)[1]), 64)
	if err != nil {
		b.Fatal(err)
	}
	return v
}
