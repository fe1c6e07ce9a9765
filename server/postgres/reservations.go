package postgres

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"millbase/inventory/ledger"
	"millbase/inventory/mass"
	"millbase/server/app"
)

// reservations is the record kind of reservations.
type reservations struct{}

func (reservations) primaryKey() string { return "reservation_pkey" }
func (reservations) noun() string       { return "reservation" }

const insertReservations = `
INSERT INTO reservation (id, lot, location, quantity_mg, remaining_mg, batch, note, actor, digest)
SELECT i, l, p, q, q, b, n, a, d
FROM unnest($1::uuid[], $2::text[], $3::text[], $4::bigint[], $5::text[], $6::text[], $7::text[], $8::bytea[])
     AS r (i, l, p, q, b, n, a, d)
RETURNING id, created_at`

func (reservations) insert(ctx context.Context, d db, items []*item) error {
	n := len(items)
	lot, location := make([]string, n), make([]string, n)
	batch, note, actor := make([]string, n), make([]string, n), make([]string, n)
	quantity, digest := make([]int64, n), make([][]byte, n)
	byID := make(map[uuid.UUID]*item, n)
	for i, it := range items {
		r := it.reservation
		lot[i], location[i], quantity[i] = r.Lot, r.Location, int64(r.Quantity)
		batch[i], note[i], actor[i], digest[i] = r.Batch, r.Note, r.Actor, it.digest[:]
		byID[it.id] = it
	}
	rows, err := d.Query(ctx, insertReservations, idsOf(items), lot, location, quantity, batch, note, actor, digest)
	if err != nil {
		return err
	}
	var id uuid.UUID
	var at time.Time
	_, err = pgx.ForEachRow(rows, []any{(*[16]byte)(&id), &at}, func() error {
		it := byID[id]
		it.kept = kept{digest: it.digest, at: at.UTC(), actor: it.reservation.Actor, remaining: int64(it.reservation.Quantity)}
		return nil
	})
	return err
}

func (reservations) stored(ctx context.Context, d db, items []*item) (map[uuid.UUID]kept, error) {
	rows, err := d.Query(ctx, `SELECT id, digest, created_at, actor, remaining_mg FROM reservation WHERE id = ANY ($1::uuid[])`, idsOf(items))
	return scanKept(rows, err)
}

func (reservations) explain(ctx context.Context, d db, it *item, err error) error {
	rule := constraintOf(err)
	translated := translate(err)
	if rule == "balance_reserved_within_on_hand" {
		r := it.reservation
		if f, shortErr := shortage(ctx, d, place{r.Lot, r.Location}, r.Quantity, 0, rule); shortErr == nil && f != nil {
			return f
		}
	}
	if f, ok := translated.(*app.Fault); ok && f.Resource == "" {
		f.Resource = "lots/" + it.reservation.Lot
	}
	return translated
}

// release closes reservations and returns them by id. The balances are locked
// before the reservations, as posting does.
func release(ctx context.Context, d db, ids []pgtype.UUID) (map[uuid.UUID]ledger.Reservation, error) {
	var b pgx.Batch
	b.Queue(`SELECT FROM balance b WHERE (b.lot, b.location) IN (SELECT lot, location FROM reservation WHERE id = ANY ($1::uuid[]))
		ORDER BY b.lot, b.location FOR NO KEY UPDATE`, ids)
	b.Queue(`UPDATE reservation SET remaining_mg = 0 WHERE id = ANY ($1::uuid[]) AND remaining_mg > 0`, ids)
	b.Queue(`SELECT `+reservationColumns+` FROM reservation WHERE id = ANY ($1::uuid[])`, ids)
	results := d.SendBatch(ctx, &b)
	defer results.Close()
	for range 2 {
		if _, err := results.Exec(); err != nil {
			return nil, err
		}
	}
	rows, err := results.Query()
	if err != nil {
		return nil, err
	}
	all, err := pgx.CollectRows(rows, scanReservation)
	if err != nil {
		return nil, err
	}
	byID := make(map[uuid.UUID]ledger.Reservation, len(all))
	for _, r := range all {
		byID[uuid.MustParse(r.ID)] = r
	}
	return byID, results.Close()
}

const reservationColumns = `id, lot, location, quantity_mg, remaining_mg, batch, note, actor, created_at`

func scanReservation(row pgx.CollectableRow) (ledger.Reservation, error) {
	var r ledger.Reservation
	var id uuid.UUID
	var quantity, remaining int64
	err := row.Scan((*[16]byte)(&id), &r.Lot, &r.Location, &quantity, &remaining, &r.Batch, &r.Note, &r.Actor, &r.CreatedAt)
	r.ID, r.Quantity, r.Remaining, r.CreatedAt = id.String(), mass.Mass(quantity), mass.Mass(remaining), r.CreatedAt.UTC()
	return r, err
}

func parseIDs(field string, ids []string) ([]pgtype.UUID, error) {
	out := make([]pgtype.UUID, len(ids))
	for i, s := range ids {
		id, err := parseID(field, s)
		if err != nil {
			return nil, err
		}
		out[i] = pgtype.UUID{Bytes: id, Valid: true}
	}
	return out, nil
}

func noReservation(id string) error {
	return app.Faultf(app.ErrNotFound, "NOT_FOUND", "reservations/"+id, "there is no reservation %s", id)
}
