package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"

	"millbase/server/app"
)

// Check rebuilds every balance from the entries, and every reserved total from
// the reservations, and compares them with what is kept. Run it in a View: one
// snapshot of both.
func (s stock) Check(ctx context.Context) (app.LedgerCheck, error) {
	var c app.LedgerCheck
	err := s.t.QueryRow(ctx, `SELECT (SELECT count(*) FROM movement), (SELECT count(*) FROM entry), (SELECT count(*) FROM balance),
		(SELECT coalesce(sum(quantity_mg), 0)::bigint FROM entry WHERE account = 'stock'), clock_timestamp()`).
		Scan(&c.Movements, &c.Entries, &c.Balances, massRef{&c.InStock}, timeRef{&c.CheckedAt})
	if err != nil {
		return c, translate(err)
	}
	rows, err := s.t.Query(ctx, `
		SELECT lot, location, coalesce(b.on_hand_mg, 0), coalesce(b.reserved_mg, 0), coalesce(e.on_hand_mg, 0), coalesce(r.reserved_mg, 0)
		FROM balance b
		FULL JOIN (SELECT lot, location, sum(quantity_mg)::bigint AS on_hand_mg FROM entry WHERE account = 'stock' GROUP BY lot, location) e
			USING (lot, location)
		FULL JOIN (SELECT lot, location, sum(remaining_mg)::bigint AS reserved_mg FROM reservation GROUP BY lot, location) r
			USING (lot, location)
		WHERE coalesce(b.on_hand_mg, 0) <> coalesce(e.on_hand_mg, 0) OR coalesce(b.reserved_mg, 0) <> coalesce(r.reserved_mg, 0)
		ORDER BY lot, location`)
	if err != nil {
		return c, translate(err)
	}
	c.Differences, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (app.LedgerDifference, error) {
		var d app.LedgerDifference
		err := row.Scan(&d.Lot, &d.Location, massRef{&d.Kept.OnHand}, massRef{&d.Kept.Reserved},
			massRef{&d.Rebuilt.OnHand}, massRef{&d.Rebuilt.Reserved})
		d.Kept.Lot, d.Kept.Location = d.Lot, d.Location
		d.Rebuilt.Lot, d.Rebuilt.Location = d.Lot, d.Location
		return d, err
	})
	return c, translate(err)
}
