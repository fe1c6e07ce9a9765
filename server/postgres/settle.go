package postgres

import (
	"context"
	"errors"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// setLimit is the most items in one statement.
const setLimit = 1000

// settle brings the items into the ledger inside a transaction and sets what
// became of each. An item that breaks a rule has its err set, and the others are
// not disturbed: the set is split under savepoints until it stands alone. When
// firstOnly is set it stops at the first refused item. The returned error is of
// the transaction as a whole.
func settle(ctx context.Context, t pgx.Tx, kind record, items []*item, firstOnly bool) error {
	for len(items) > 0 {
		n := min(len(items), setLimit)
		if err := settleSet(ctx, t, kind, items[:n], firstOnly); err != nil {
			return err
		}
		if firstOnly && firstRefused(items[:n]) != nil {
			return nil
		}
		items = items[n:]
	}
	return nil
}

func firstRefused(items []*item) *item {
	for _, it := range items {
		if it.err != nil {
			return it
		}
	}
	return nil
}

func settleSet(ctx context.Context, t pgx.Tx, kind record, items []*item, firstOnly bool) error {
	err := underSavepoint(ctx, t, func(t pgx.Tx) error { return kind.insert(ctx, t, items) })
	if err == nil || !refusal(err) {
		return err
	}
	if constraintOf(err) == kind.primaryKey() {
		fresh, lookErr := answerStored(ctx, t, kind, items)
		if lookErr != nil || len(fresh) == 0 {
			return lookErr
		}
		if len(fresh) < len(items) {
			return settleSet(ctx, t, kind, fresh, firstOnly)
		}
	}
	if len(items) == 1 {
		items[0].err = kind.explain(ctx, t, items[0], err)
		return nil
	}
	half := len(items) / 2
	if err := settleSet(ctx, t, kind, items[:half], firstOnly); err != nil {
		return err
	}
	if firstOnly && firstRefused(items[:half]) != nil {
		return nil
	}
	return settleSet(ctx, t, kind, items[half:], firstOnly)
}

// underSavepoint runs f so that its failure leaves the transaction usable.
func underSavepoint(ctx context.Context, t pgx.Tx, f func(pgx.Tx) error) error {
	inner, err := t.Begin(ctx)
	if err != nil {
		return err
	}
	if err := f(inner); err != nil {
		return errors.Join(err, inner.Rollback(ctx))
	}
	return inner.Commit(ctx)
}

// answerStored settles the items that are in the ledger already and returns the
// others.
func answerStored(ctx context.Context, d db, kind record, items []*item) (fresh []*item, err error) {
	stored, err := kind.stored(ctx, d, items)
	if err != nil {
		return nil, err
	}
	for _, it := range items {
		if k, ok := stored[it.id]; ok {
			it.settleStored(k, kind.noun())
		} else {
			fresh = append(fresh, it)
		}
	}
	return fresh, nil
}

// refusal reports whether the error is about what an item asks for, rather than
// about the connection or the moment.
func refusal(err error) bool {
	var pg *pgconn.PgError
	if !errors.As(err, &pg) {
		return encodingProblem(err)
	}
	switch pg.Code[:2] {
	case "22", "23": // data exception, integrity violation
		return true
	}
	return false
}

// encodingProblem reports whether the driver could not encode a value.
func encodingProblem(err error) bool {
	return !lostConnection(err) && !errors.Is(err, context.Canceled) && !errors.Is(err, context.DeadlineExceeded)
}
