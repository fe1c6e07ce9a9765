package app

import (
	"context"
	"time"
)

// Balances is stock now or, with a moment that is not zero, as of then;
// conditions: lot, material, location, status. A moment to come is refused.
func (b *Book) Balances(ctx context.Context, q Query, asOf time.Time) ([]LotBalance, error) {
	if asOf.After(b.clock()) {
		return nil, InvalidField("as_of", "lies in the future; leave it out for the stock now")
	}
	var out []LotBalance
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		out, err = tx.Stock().Balances(ctx, q, asOf)
		return err
	})
	return out, err
}

// CheckLedger rebuilds every balance from the ledger and compares.
func (b *Book) CheckLedger(ctx context.Context) (LedgerCheck, error) {
	var out LedgerCheck
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		out, err = tx.Stock().Check(ctx)
		return err
	})
	return out, err
}

// Ready reports whether the database answers.
func (b *Book) Ready(ctx context.Context) error { return b.store.Ping(ctx) }
