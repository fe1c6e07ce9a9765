package postgres

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"hash"
	"time"

	"github.com/google/uuid"

	"millbase/inventory/ledger"
	"millbase/server/app"
)

// item is one movement or reservation on its way into the ledger, and what
// became of it.
type item struct {
	movement    ledger.Movement
	reservation ledger.Reservation
	id          uuid.UUID
	digest      [sha256.Size]byte

	kept     kept
	replayed bool
	err      error
}

// kept is what the database adds to an item, and how it tells a replay.
type kept struct {
	digest    [sha256.Size]byte
	at        time.Time
	actor     string
	remaining int64
}

// record is a kind of item: how it gets into the ledger.
type record interface {
	// insert inserts all items by one statement and sets kept.
	insert(ctx context.Context, d db, items []*item) error
	// stored looks up which of the items are in the ledger already.
	stored(ctx context.Context, d db, items []*item) (map[uuid.UUID]kept, error)
	// explain turns the error of one item into a sentence with its quantities.
	explain(ctx context.Context, d db, it *item, err error) error
	// primaryKey is the name of the constraint that a replay runs into.
	primaryKey() string
	noun() string
}

func newMovementItem(m ledger.Movement) (*item, error) {
	id, err := parseID("id", m.ID)
	if err != nil {
		return nil, err
	}
	m.ID = id.String()
	if m.Reverses != "" {
		r, err := parseID("reverses", m.Reverses)
		if err != nil {
			return nil, err
		}
		m.Reverses = r.String()
	}
	if len(m.Entries) == 0 {
		return nil, app.InvalidField("entries", "a movement needs entries")
	}
	for _, u := range m.Uses {
		if _, err := parseID("uses.reservation", u.Reservation); err != nil {
			return nil, err
		}
	}
	return &item{movement: m, id: id, digest: movementDigest(m)}, nil
}

func newReservationItem(r ledger.Reservation) (*item, error) {
	id, err := parseID("id", r.ID)
	if err != nil {
		return nil, err
	}
	r.ID = id.String()
	r.Remaining = r.Quantity
	return &item{reservation: r, id: id, digest: reservationDigest(r)}, nil
}

func parseID(field, s string) (uuid.UUID, error) {
	id, err := uuid.Parse(s)
	if err != nil || len(s) != 36 {
		return uuid.Nil, app.InvalidField(field, "%.80q is not a UUID such as 6f1c0a5e-7d7b-4f0e-9a54-2f4b8f0f5d11", s)
	}
	return id, nil
}

// movementDigest covers what the client chose: everything but id, actor and
// time.
func movementDigest(m ledger.Movement) [sha256.Size]byte {
	d := digester{sha256.New()}
	d.text(string(m.Kind), m.Reverses, m.Batch, m.Note)
	d.number(int64(len(m.Entries)))
	for _, e := range m.Entries {
		d.text(string(e.Account.Kind), e.Account.Location, e.Account.Party, e.Lot)
		d.number(int64(e.Quantity))
	}
	for _, u := range m.Uses {
		d.text(u.Reservation)
		d.number(int64(u.Quantity))
	}
	return d.sum()
}

func reservationDigest(r ledger.Reservation) [sha256.Size]byte {
	d := digester{sha256.New()}
	d.text(r.Lot, r.Location, r.Batch, r.Note)
	d.number(int64(r.Quantity))
	return d.sum()
}

// digester writes fields so that no two contents read the same: each text is
// led by its length.
type digester struct{ h hash.Hash }

func (d digester) text(fields ...string) {
	for _, f := range fields {
		d.number(int64(len(f)))
		d.h.Write([]byte(f))
	}
}

func (d digester) number(n int64) {
	var b [8]byte
	binary.BigEndian.PutUint64(b[:], uint64(n))
	d.h.Write(b[:])
}

func (d digester) sum() (out [sha256.Size]byte) {
	d.h.Sum(out[:0])
	return out
}

// settleStored answers an item that is in the ledger already.
func (it *item) settleStored(k kept, noun string) {
	if k.digest != it.digest {
		it.err = app.Faultf(app.ErrIDReused, "ID_REUSED", noun+"s/"+it.id.String(),
			"%s %s exists with other content: use a new id for a new %s", noun, it.id, noun)
		return
	}
	it.kept, it.replayed, it.err = k, true, nil
}

// posted is the movement as it stands in the ledger.
func (it *item) posted() ledger.Movement {
	m := it.movement
	m.PostedAt, m.Actor = it.kept.at, it.kept.actor
	return m
}

// made is the reservation as it stands.
func (it *item) made() ledger.Reservation {
	r := it.reservation
	r.CreatedAt, r.Actor, r.Remaining = it.kept.at, it.kept.actor, mg(it.kept.remaining)
	return r
}
