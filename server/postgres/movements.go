package postgres

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"millbase/inventory/mass"
	"millbase/server/app"
)

// movements is the record kind of movements.
type movements struct{}

func (movements) primaryKey() string { return "movement_pkey" }
func (movements) noun() string       { return "movement" }

// A movement, its entries and its uses go in by one statement: the triggers
// look at them together.
const insertMovements = `
WITH e AS (
    INSERT INTO entry (movement_id, line, account, location, party, lot, quantity_mg)
    SELECT * FROM unnest($9::uuid[], $10::int[], $11::text[], $12::text[], $13::text[], $14::text[], $15::bigint[])
), u AS (
    INSERT INTO reservation_use (movement_id, line, reservation, quantity_mg)
    SELECT * FROM unnest($16::uuid[], $17::int[], $18::uuid[], $19::bigint[])
)
INSERT INTO movement (id, kind, reverses, batch, note, actor, digest, entry_count, use_count)
SELECT i, k, r, b, n, a, d, cardinality_of_entries, cardinality_of_uses
FROM unnest($1::uuid[], $2::text[], $3::uuid[], $4::text[], $5::text[], $6::text[], $7::bytea[], $8::int[], $20::int[])
     AS m (i, k, r, b, n, a, d, cardinality_of_entries, cardinality_of_uses)
RETURNING id, posted_at`

// insertPlain is the same for movements that use no reservation, the common
// case: one insertion less to carry out.
const insertPlain = `
WITH e AS (
    INSERT INTO entry (movement_id, line, account, location, party, lot, quantity_mg)
    SELECT * FROM unnest($9::uuid[], $10::int[], $11::text[], $12::text[], $13::text[], $14::text[], $15::bigint[])
)
INSERT INTO movement (id, kind, reverses, batch, note, actor, digest, entry_count)
SELECT * FROM unnest($1::uuid[], $2::text[], $3::uuid[], $4::text[], $5::text[], $6::text[], $7::bytea[], $8::int[])
RETURNING id, posted_at`

// columns are the movements column by column, as unnest takes them.
type columns struct {
	id, reverses                  []pgtype.UUID
	kind, batch, note, actor      []string
	digest                        [][]byte
	entries, uses                 []int32
	entryOf                       []pgtype.UUID
	line                          []int32
	account, location, party, lot []string
	quantity                      []int64
	useOf, reservation            []pgtype.UUID
	useLine                       []int32
	useQuantity                   []int64
}

func (c *columns) add(it *item) {
	m := &it.movement
	id := pgtype.UUID{Bytes: it.id, Valid: true}
	c.id = append(c.id, id)
	c.reverses = append(c.reverses, uuidOrNull(m.Reverses))
	c.kind = append(c.kind, string(m.Kind))
	c.batch = append(c.batch, m.Batch)
	c.note = append(c.note, m.Note)
	c.actor = append(c.actor, m.Actor)
	c.digest = append(c.digest, it.digest[:])
	c.entries = append(c.entries, int32(len(m.Entries)))
	c.uses = append(c.uses, int32(len(m.Uses)))
	for i, e := range m.Entries {
		c.entryOf = append(c.entryOf, id)
		c.line = append(c.line, int32(i+1))
		c.account = append(c.account, string(e.Account.Kind))
		c.location = append(c.location, e.Account.Location)
		c.party = append(c.party, e.Account.Party)
		c.lot = append(c.lot, e.Lot)
		c.quantity = append(c.quantity, int64(e.Quantity))
	}
	for i, u := range m.Uses {
		c.useOf = append(c.useOf, id)
		c.useLine = append(c.useLine, int32(i+1))
		c.reservation = append(c.reservation, uuidOrNull(u.Reservation))
		c.useQuantity = append(c.useQuantity, int64(u.Quantity))
	}
}

func uuidOrNull(s string) pgtype.UUID {
	id, err := uuid.Parse(s)
	return pgtype.UUID{Bytes: id, Valid: err == nil}
}

func (movements) insert(ctx context.Context, d db, items []*item) error {
	var c columns
	byID := make(map[uuid.UUID]*item, len(items))
	for _, it := range items {
		c.add(it)
		byID[it.id] = it
	}
	sql := insertPlain
	args := []any{c.id, c.kind, c.reverses, c.batch, c.note, c.actor, c.digest, c.entries,
		c.entryOf, c.line, c.account, c.location, c.party, c.lot, c.quantity}
	if len(c.useOf) > 0 {
		sql = insertMovements
		args = append(args, c.useOf, c.useLine, c.reservation, c.useQuantity, c.uses)
	}
	rows, err := d.Query(ctx, sql, args...)
	if err != nil {
		return err
	}
	var id uuid.UUID
	var at time.Time
	_, err = pgx.ForEachRow(rows, []any{(*[16]byte)(&id), &at}, func() error {
		it := byID[id]
		it.kept = kept{digest: it.digest, at: at.UTC(), actor: it.movement.Actor}
		return nil
	})
	return err
}

func (movements) stored(ctx context.Context, d db, items []*item) (map[uuid.UUID]kept, error) {
	rows, err := d.Query(ctx, `SELECT id, digest, posted_at, actor, 0::bigint FROM movement WHERE id = ANY ($1::uuid[])`, idsOf(items))
	return scanKept(rows, err)
}

func idsOf(items []*item) []pgtype.UUID {
	ids := make([]pgtype.UUID, len(items))
	for i, it := range items {
		ids[i] = pgtype.UUID{Bytes: it.id, Valid: true}
	}
	return ids
}

func scanKept(rows pgx.Rows, err error) (map[uuid.UUID]kept, error) {
	if err != nil {
		return nil, err
	}
	found := map[uuid.UUID]kept{}
	var id uuid.UUID
	var digest []byte
	var k kept
	_, err = pgx.ForEachRow(rows, []any{(*[16]byte)(&id), &digest, &k.at, &k.actor, &k.remaining}, func() error {
		copy(k.digest[:], digest)
		k.at = k.at.UTC()
		found[id] = k
		return nil
	})
	return found, err
}

// explain names the lot that is short: what is on hand, what of it is free, and
// what the movement asks for.
func (movements) explain(ctx context.Context, d db, it *item, err error) error {
	rule := constraintOf(err)
	translated := translate(err)
	if rule != "balance_on_hand_not_negative" && rule != "balance_reserved_within_on_hand" {
		return name(translated, it)
	}
	for place, change := range netByPlace(it) {
		if change >= 0 {
			continue
		}
		own, ownErr := usedOf(ctx, d, it, place)
		if ownErr != nil {
			return translated
		}
		if f, shortErr := shortage(ctx, d, place, -change, own, rule); shortErr == nil && f != nil {
			return f
		}
	}
	return translated
}

// name adds the thing that the fault is about.
func name(err error, it *item) error {
	if f, ok := err.(*app.Fault); ok && f.Resource == "" && len(it.movement.Entries) > 0 {
		f.Resource = "lots/" + it.movement.Entries[0].Lot
	}
	return err
}

// place is a lot at a location.
type place struct{ lot, location string }

func netByPlace(it *item) map[place]mass.Mass {
	net := map[place]mass.Mass{}
	for _, e := range it.movement.Entries {
		if e.Account.Location != "" {
			net[place{e.Lot, e.Account.Location}] += e.Quantity
		}
	}
	return net
}

// usedOf is how much of the reservations at the place the movement uses.
func usedOf(ctx context.Context, d db, it *item, p place) (mass.Mass, error) {
	var own mass.Mass
	for _, u := range it.movement.Uses {
		var here bool
		err := d.QueryRow(ctx, `SELECT EXISTS (SELECT FROM reservation WHERE id = $1 AND lot = $2 AND location = $3)`,
			uuidOrNull(u.Reservation), p.lot, p.location).Scan(&here)
		if err != nil {
			return 0, err
		}
		if here {
			own += u.Quantity
		}
	}
	return own, nil
}

// shortage is the fault of asking for more than is free at a place; nil when
// there is enough.
func shortage(ctx context.Context, d db, p place, asked, own mass.Mass, rule string) (*app.Fault, error) {
	var onHand, reserved int64
	err := d.QueryRow(ctx, `SELECT coalesce(sum(on_hand_mg), 0)::bigint, coalesce(sum(reserved_mg), 0)::bigint
		FROM balance WHERE lot = $1 AND location = $2`, p.lot, p.location).Scan(&onHand, &reserved)
	if err != nil {
		return nil, err
	}
	free := mg(onHand-reserved) + own
	if asked <= free {
		return nil, nil
	}
	return app.Faultf(rules[rule].kind, rules[rule].reason, "lots/"+p.lot, "%s", shortSentence(p, free, mg(onHand), asked)), nil
}

func shortSentence(p place, free, onHand, asked mass.Mass) string {
	where := fmt.Sprintf("lot %s at %s", p.lot, p.location)
	switch {
	case onHand == 0:
		return fmt.Sprintf("%s has nothing on hand; %s asked: take another lot or location, or post what was received", where, asked)
	case free == onHand:
		return fmt.Sprintf("%s has %s; %s asked: take less, or post what was received or counted", where, onHand, asked)
	default:
		return fmt.Sprintf("%s has %s free of %s; %s asked: take less, or release a reservation", where, free, onHand, asked)
	}
}

func mg(n int64) mass.Mass { return mass.Mass(n) }
