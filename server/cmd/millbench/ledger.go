package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	pb "millbase/proto/millbase/v1"
)

const benchLots = 1000

// prepareLedger is a rig with lots and pgbench's tables.
func prepareLedger(ctx context.Context, s settings) (*rig, error) {
	r, err := newRig(ctx, s)
	if err != nil {
		return nil, err
	}
	conn, err := pgx.Connect(ctx, r.pg.URL())
	if err == nil {
		_, err = conn.Exec(ctx, "CREATE DATABASE pgbench")
		_ = conn.Close(ctx)
	}
	if err == nil {
		err = r.pgbenchInit(ctx)
	}
	if err == nil {
		err = r.fill(ctx, benchLots)
	}
	if err != nil {
		_ = r.close()
		return nil, err
	}
	return r, nil
}

// posts lets some clients each issue a little of the lot that pick names, one
// movement per call, and returns movements per second. What the server has
// acknowledged must stand in its book.
func (r *rig) posts(ctx context.Context, count int, d time.Duration, pick func() int) (float64, error) {
	before, err := r.movements(ctx)
	if err != nil {
		return 0, err
	}
	p, err := newPoster(ctx, r.grpc, r.key, benchLots, pick)
	if err != nil {
		return 0, err
	}
	rate, err := p.run(count, d)
	if err = errors.Join(err, p.close()); err != nil {
		return 0, err
	}
	after, err := r.movements(ctx)
	if err == nil && after-before != p.posted {
		err = fmt.Errorf("%d movements were acknowledged, %d stand in the book", p.posted, after-before)
	}
	return rate, err
}

// movements counts those in the book.
func (r *rig) movements(ctx context.Context) (n int, err error) {
	conn, err := pgx.Connect(ctx, r.pg.URL())
	if err != nil {
		return 0, err
	}
	defer func() { _ = conn.Close(ctx) }()
	return n, conn.QueryRow(ctx, "SELECT count(*) FROM movement").Scan(&n)
}

// spread picks any of the lots.
func spread() int { return rand.IntN(benchLots) }

func movement(lot int) *pb.Movement {
	return &pb.Movement{Kind: pb.MovementKind_MOVEMENT_KIND_ISSUE, Lot: "lots/" + lotOf(lot), Location: "store", QuantityKg: 0.001, Customer: "bench"}
}

// measureLedger posts one movement a call, durable, through gRPC.
func measureLedger(ctx context.Context, s settings) (bars []bar, err error) {
	r, err := prepareLedger(ctx, s)
	if err != nil {
		return nil, err
	}
	defer func() { _ = r.close() }()
	for _, n := range []int{8, 32} {
		ratio, a, b, err := turns(s.rounds,
			func() (float64, error) { return r.posts(ctx, n, s.duration, spread) },
			func() (float64, error) { return r.pgbench(ctx, n, s.duration) })
		if err != nil {
			return nil, err
		}
		fmt.Printf("%d clients, 1,000 lots: %.0f movements/s by gRPC; pgbench -N: %.0f transactions/s\n", n, a, b)
		goal := map[int]float64{8: 1, 32: 3}[n]
		bars = append(bars, bar{fmt.Sprintf("post_over_pgbench_%d", n), ratio, true, goal})
	}
	hot, err := r.hot(ctx, s)
	return append(bars, hot), err
}

// benchFunction does in one call what a posted issue writes.
const benchFunction = `
CREATE FUNCTION bench_issue(movement_id uuid, lot text, mg bigint) RETURNS void LANGUAGE sql AS $$
	WITH m AS (
		INSERT INTO movement (id, kind, digest, entry_count) VALUES (movement_id, 'issue', '\x00', 2)
	)
	INSERT INTO entry (movement_id, line, account, location, party, lot, quantity_mg)
	VALUES (movement_id, 1, 'stock', 'store', '', lot, -mg), (movement_id, 2, 'customer', '', 'bench', lot, mg)
$$`

// hot posts everything to one lot, against pgx clients that each call a function
// which does the same writes.
func (r *rig) hot(ctx context.Context, s settings) (bar, error) {
	config, err := pgxpool.ParseConfig(r.pg.URL())
	if err != nil {
		return bar{}, err
	}
	config.MaxConns = 32
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return bar{}, err
	}
	defer pool.Close()
	if _, err := pool.Exec(ctx, benchFunction); err != nil {
		return bar{}, err
	}
	ratio, a, b, err := turns(s.rounds,
		func() (float64, error) { return r.posts(ctx, 32, s.duration, func() int { return 0 }) },
		func() (float64, error) {
			return perSecond(32, s.duration, func() error {
				_, err := pool.Exec(ctx, "SELECT bench_issue($1, $2, $3)", uuid.New(), lotOf(0), int64(1000))
				return err
			})
		})
	fmt.Printf("32 clients, one lot: %.0f movements/s by gRPC; one function call each by pgx: %.0f/s\n", a, b)
	return bar{"post_hot_over_function_32", ratio, true, 5}, err
}

// importSize is the movements of one bulk call.
const importSize = 1000

// measureImport posts in bulk over one connection, against pgbench with one.
func measureImport(ctx context.Context, s settings) ([]bar, error) {
	r, err := prepareLedger(ctx, s)
	if err != nil {
		return nil, err
	}
	defer func() { _ = r.close() }()
	ledger := pb.NewLedgerServiceClient(r.conn)
	ratio, a, b, err := turns(s.rounds,
		func() (float64, error) {
			calls, err := perSecond(1, s.duration, func() error {
				bulk := &pb.BatchCreateMovementsRequest{}
				for range importSize {
					bulk.Requests = append(bulk.Requests, &pb.CreateMovementRequest{MovementId: uuid.Must(uuid.NewV7()).String(), Movement: movement(rand.IntN(benchLots))})
				}
				_, err := ledger.BatchCreateMovements(ctx, bulk)
				return err
			})
			return calls * importSize, err
		},
		func() (float64, error) { return r.pgbench(ctx, 1, s.duration) })
	fmt.Printf("import over one connection, %d a call: %.0f movements/s; pgbench -N with one client: %.0f transactions/s\n", importSize, a, b)
	return []bar{{"import_over_pgbench", ratio, true, 10}}, err
}
