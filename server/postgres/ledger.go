package postgres

import (
	"context"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"millbase/inventory/ledger"
	"millbase/server/app"
)

// Post appends one movement, together with those of other callers that wait at
// the same moment. When ctx ends while the database is at work, the movement may
// or may not be posted, and the error says so.
func (s *Store) Post(ctx context.Context, m ledger.Movement) (ledger.Movement, bool, error) {
	it, err := newMovementItem(m)
	if err != nil {
		return ledger.Movement{}, false, err
	}
	if err := s.posts.post(ctx, it); err != nil {
		return ledger.Movement{}, false, err
	}
	return it.posted(), it.replayed, nil
}

// Reserve sets mass aside, gathered like Post.
func (s *Store) Reserve(ctx context.Context, r ledger.Reservation) (ledger.Reservation, bool, error) {
	it, err := newReservationItem(r)
	if err != nil {
		return ledger.Reservation{}, false, err
	}
	if err := s.reservations.post(ctx, it); err != nil {
		return ledger.Reservation{}, false, err
	}
	return it.made(), it.replayed, nil
}

// PostAll appends all movements in one transaction, or none. The error names
// the first that was refused.
func (s *Store) PostAll(ctx context.Context, ms []ledger.Movement) ([]ledger.Movement, error) {
	var items []*item
	err := again(ctx, func() error {
		var err error
		if items, err = newMovementItems(ms); err != nil {
			return err
		}
		return translate(pgx.BeginFunc(ctx, s.pool, func(t pgx.Tx) error { return settleAll(ctx, t, movements{}, items) }))
	})
	if err != nil {
		return nil, err
	}
	out := make([]ledger.Movement, len(items))
	for i, it := range items {
		out[i] = it.posted()
	}
	return out, nil
}

func newMovementItems(ms []ledger.Movement) ([]*item, error) {
	items := make([]*item, len(ms))
	for i, m := range ms {
		it, err := newMovementItem(m)
		if err != nil {
			return nil, inList(movements{}, i, len(ms), err)
		}
		items[i] = it
	}
	return items, nil
}

// settleAll settles all items or fails. An id that comes twice is taken once
// when its content is the same.
func settleAll(ctx context.Context, t pgx.Tx, kind record, items []*item) error {
	first := make(map[uuid.UUID]*item, len(items))
	unique := make([]*item, 0, len(items))
	index := make(map[*item]int, len(items))
	for i, it := range items {
		index[it] = i
		if f, ok := first[it.id]; !ok {
			first[it.id] = it
			unique = append(unique, it)
		} else if it.settleStored(kept{digest: f.digest}, kind.noun()); it.err != nil {
			return inList(kind, i, len(items), it.err)
		}
	}
	if err := settle(ctx, t, kind, unique, true); err != nil {
		return err
	}
	if it := firstRefused(unique); it != nil {
		return inList(kind, index[it], len(items), it.err)
	}
	for _, it := range items {
		it.kept = first[it.id].kept
	}
	return nil
}

// inList says which of several the error is about.
func inList(kind record, i, n int, err error) error {
	if n == 1 {
		return err
	}
	var v app.Invalid
	if errors.As(err, &v) {
		out := make(app.Invalid, len(v))
		for k, f := range v {
			out[k] = app.FieldError{Field: fmt.Sprintf("%ss[%d].%s", kind.noun(), i, f.Field), Problem: f.Problem}
		}
		return out
	}
	var f *app.Fault
	if errors.As(err, &f) {
		g := *f
		g.Message = fmt.Sprintf("%s %d of the list: %s", kind.noun(), i+1, f.Message)
		return &g
	}
	return err
}

// Release gives back what is left of a reservation.
func (s *Store) Release(ctx context.Context, id string) (ledger.Reservation, error) {
	ids, err := parseIDs("id", []string{id})
	if err != nil {
		return ledger.Reservation{}, err
	}
	var released map[uuid.UUID]ledger.Reservation
	err = again(ctx, func() error {
		var err error
		released, err = release(ctx, s.ledgerPool, ids)
		return translate(err)
	})
	if err != nil {
		return ledger.Reservation{}, err
	}
	r, ok := released[ids[0].Bytes]
	if !ok {
		return ledger.Reservation{}, noReservation(id)
	}
	return r, nil
}

// txLedger posts inside a transaction.
type txLedger struct{ t pgx.Tx }

var _ app.TxLedger = txLedger{}

func (l txLedger) Post(ctx context.Context, ms ...ledger.Movement) error {
	items, err := newMovementItems(ms)
	if err != nil {
		return err
	}
	return translate(settleAll(ctx, l.t, movements{}, items))
}

func (l txLedger) Reserve(ctx context.Context, rs ...ledger.Reservation) error {
	items := make([]*item, len(rs))
	for i, r := range rs {
		it, err := newReservationItem(r)
		if err != nil {
			return err
		}
		items[i] = it
	}
	return translate(settleAll(ctx, l.t, reservations{}, items))
}

func (l txLedger) Release(ctx context.Context, ids ...string) error {
	parsed, err := parseIDs("id", ids)
	if err != nil {
		return err
	}
	released, err := release(ctx, l.t, parsed)
	if err != nil {
		return translate(err)
	}
	for i, id := range parsed {
		if _, ok := released[id.Bytes]; !ok {
			return noReservation(ids[i])
		}
	}
	return nil
}
