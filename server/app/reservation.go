package app

import (
	"context"

	"millbase/inventory/ledger"
	"millbase/inventory/lot"
)

// Reserve sets mass of a lot aside. A rejected lot can't be: it will not go into
// an ink. One in quarantine or on hold can, for when it is released.
func (b *Book) Reserve(ctx context.Context, r ledger.Reservation) (ledger.Reservation, error) {
	if r.Quantity <= 0 {
		return ledger.Reservation{}, InvalidField("reservation.quantity_kg", "must be above 0 kg")
	}
	r.Actor = CallerOf(ctx).Title
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		rec, err := tx.Lots().Get(ctx, r.Lot)
		if err != nil {
			return missing(err, "reservation.lot", "lots/"+r.Lot)
		}
		if rec.Value.Status == lot.Rejected {
			return Faultf(ErrConflict, "LOT_REJECTED", "lots/"+r.Lot, "lot %s was rejected; it can only be scrapped or returned", r.Lot)
		}
		if r.Batch == "" {
			return nil
		}
		_, err = tx.Batches().Get(ctx, r.Batch)
		return missing(err, "reservation.batch", "batches/"+r.Batch)
	})
	if err != nil {
		return ledger.Reservation{}, err
	}
	made, _, err := b.store.Reserve(ctx, r)
	return made, err
}

// ReleaseReservation gives back what is left of a reservation.
func (b *Book) ReleaseReservation(ctx context.Context, id string) (ledger.Reservation, error) {
	return b.store.Release(ctx, id)
}

// Reservation reads one reservation.
func (b *Book) Reservation(ctx context.Context, id string) (ledger.Reservation, error) {
	var r ledger.Reservation
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		r, err = tx.Stock().Reservation(ctx, id)
		return err
	})
	return r, err
}

// Reservations lists reservations; conditions: lot, batch, open.
func (b *Book) Reservations(ctx context.Context, q Query) ([]ledger.Reservation, error) {
	var rs []ledger.Reservation
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		rs, err = tx.Stock().Reservations(ctx, q)
		return err
	})
	return rs, err
}
