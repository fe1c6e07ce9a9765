package postgres

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"millbase/inventory/ledger"
	"millbase/inventory/mass"
	"millbase/server/app"
)

// stock implements app.StockReader.
type stock struct {
	t pgx.Tx
	x *tx
}

var balanceFilters = filters{
	"lot": text("b.lot"), "material": text("l.material"), "location": text("b.location"), "status": text("l.status"),
}

// Balances are in order of lot and location. As of a past moment they are summed
// up from the entries that were posted until then. Query.After is "lot" or
// "lot/location".
func (s stock) Balances(ctx context.Context, q app.Query, asOf time.Time) ([]app.LotBalance, error) {
	p, err := s.balances(q, asOf)
	if err != nil {
		return nil, err
	}
	if there, ok := s.x.ahead[p.key].([]app.LotBalance); ok {
		return slices.Clone(there), nil
	}
	if err := readAll(ctx, s.t, p); err != nil {
		return nil, translate(err)
	}
	p.result()
	return slices.Clone(p.out), nil
}

func (s stock) balances(q app.Query, asOf time.Time) (*stamped[app.LotBalance], error) {
	source := "balance"
	var args []any
	if !asOf.IsZero() {
		args = append(args, timeArg(asOf))
		source = `(SELECT e.lot, e.location, sum(e.quantity_mg)::bigint AS on_hand_mg, 0::bigint AS reserved_mg
			FROM entry e JOIN movement m ON m.id = e.movement_id
			WHERE e.account = 'stock' AND m.posted_at <= $1 GROUP BY e.lot, e.location)`
	}
	parts, args, err := balanceFilters.conditions("balance", q.Where, args)
	if err != nil {
		return nil, err
	}
	named := false
	for _, c := range q.Where {
		named = named || c.Field == "lot" && c.Op == "="
	}
	if !named {
		parts = append(parts, "b.on_hand_mg <> 0")
	}
	if q.After != "" {
		args = append(args, q.After)
		parts = append(parts, fmt.Sprintf("b.lot || '/' || b.location > $%d", len(args)))
	}
	p := &stamped[app.LotBalance]{cols: "b.lot, b.location, b.on_hand_mg, b.reserved_mg, l.material",
		of: "b.lot, b.location, b.on_hand_mg, b.reserved_mg, l.material", from: source + " b JOIN lot l ON l.id = b.lot" + clause(parts),
		tail: " ORDER BY b.lot || '/' || b.location", args: args, scan: scanBalance, kept: &s.x.kept.balances}
	if q.Limit > 0 {
		p.tail += " LIMIT " + strconv.Itoa(q.Limit)
	}
	p.key = keyOf("", p.from+p.tail, args)
	return p, nil
}

func scanBalance(row pgx.CollectableRow) (app.LotBalance, error) {
	var b app.LotBalance
	err := row.Scan(&b.Lot, &b.Location, massRef{&b.OnHand}, massRef{&b.Reserved}, &b.Material)
	return b, err
}

const movementColumns = `m.id, m.kind, m.reverses, m.batch, m.note, m.actor, m.posted_at,
	(SELECT json_agg(json_build_object('kind', e.account, 'location', e.location, 'party', e.party, 'lot', e.lot, 'quantity_mg', e.quantity_mg) ORDER BY e.line)
	 FROM entry e WHERE e.movement_id = m.id),
	(SELECT json_agg(json_build_object('reservation', u.reservation, 'quantity_mg', u.quantity_mg) ORDER BY u.line)
	 FROM reservation_use u WHERE u.movement_id = m.id AND m.use_count > 0)`

type entryRow struct {
	Kind     ledger.AccountKind `json:"kind"`
	Location string             `json:"location"`
	Party    string             `json:"party"`
	Lot      string             `json:"lot"`
	Quantity mass.Mass          `json:"quantity_mg"`
}

type useRow struct {
	Reservation string    `json:"reservation"`
	Quantity    mass.Mass `json:"quantity_mg"`
}

func scanMovement(row pgx.CollectableRow) (ledger.Movement, error) {
	var m ledger.Movement
	var id uuid.UUID
	var reverses pgtype.UUID
	err := row.Scan((*[16]byte)(&id), &m.Kind, &reverses, &m.Batch, &m.Note, &m.Actor, timeRef{&m.PostedAt},
		jsonRef[ledger.Entry, entryRow]{&m.Entries, func(r entryRow) ledger.Entry {
			return ledger.Entry{Account: ledger.Account{Kind: r.Kind, Location: r.Location, Party: r.Party}, Lot: r.Lot, Quantity: r.Quantity}
		}},
		jsonRef[ledger.ReservationUse, useRow]{&m.Uses, func(r useRow) ledger.ReservationUse { return ledger.ReservationUse(r) }})
	m.ID = id.String()
	if reverses.Valid {
		m.Reverses = uuid.UUID(reverses.Bytes).String()
	}
	return m, err
}

func (s stock) Movement(ctx context.Context, id string) (ledger.Movement, error) {
	parsed, err := parseID("id", id)
	if err != nil {
		return ledger.Movement{}, err
	}
	rows, err := s.t.Query(ctx, "SELECT "+movementColumns+" FROM movement m WHERE m.id = $1", pgtype.UUID{Bytes: parsed, Valid: true})
	if err != nil {
		return ledger.Movement{}, translate(err)
	}
	m, err := pgx.CollectExactlyOneRow(rows, scanMovement)
	if errors.Is(err, pgx.ErrNoRows) {
		return m, app.Faultf(app.ErrNotFound, "NOT_FOUND", "movements/"+id, "there is no movement %s", id)
	}
	return m, translate(err)
}

var movementFilters = filters{
	"batch": text("m.batch"), "kind": text("m.kind"), "posted_at": moment("m.posted_at"), "actor": text("m.actor"),
	"reverses": uuidText("m.reverses"),
}

func uuidText(column string) filter { return text("coalesce(" + column + "::text, '')") }

// Movements are newest first; After is the id of the last one of the page
// before.
func (s stock) Movements(ctx context.Context, q app.Query) ([]ledger.Movement, error) {
	var args []any
	var parts []string
	var plainly []app.Condition
	for _, c := range q.Where {
		if c.Field != "lot" {
			plainly = append(plainly, c)
			continue
		}
		if c.Op != "=" {
			return nil, app.InvalidField("filter", "movements can be asked for by lot with = only")
		}
		args = append(args, c.Value)
		parts = append(parts, fmt.Sprintf("EXISTS (SELECT FROM entry x WHERE x.movement_id = m.id AND x.account = 'stock' AND x.lot = $%d)", len(args)))
	}
	more, args, err := movementFilters.conditions("movement", plainly, args)
	if err != nil {
		return nil, err
	}
	parts = append(parts, more...)
	if q.After != "" {
		after, err := parseID("page_token", q.After)
		if err != nil {
			return nil, err
		}
		args = append(args, pgtype.UUID{Bytes: after, Valid: true})
		parts = append(parts, fmt.Sprintf("(m.posted_at, m.id) < (SELECT posted_at, id FROM movement WHERE id = $%d)", len(args)))
	}
	sql := "SELECT " + movementColumns + " FROM movement m" + clause(parts) + " ORDER BY m.posted_at DESC, m.id DESC"
	if q.Limit > 0 {
		sql += " LIMIT " + strconv.Itoa(q.Limit)
	}
	rows, err := s.t.Query(ctx, sql, args...)
	if err != nil {
		return nil, translate(err)
	}
	out, err := pgx.CollectRows(rows, scanMovement)
	return out, translate(err)
}

func (s stock) Reservation(ctx context.Context, id string) (ledger.Reservation, error) {
	parsed, err := parseID("id", id)
	if err != nil {
		return ledger.Reservation{}, err
	}
	rows, err := s.t.Query(ctx, "SELECT "+reservationColumns+" FROM reservation WHERE id = $1", pgtype.UUID{Bytes: parsed, Valid: true})
	if err != nil {
		return ledger.Reservation{}, translate(err)
	}
	r, err := pgx.CollectExactlyOneRow(rows, scanReservation)
	if errors.Is(err, pgx.ErrNoRows) {
		return r, noReservation(id)
	}
	return r, translate(err)
}

var reservationFilters = filters{
	"lot": text("lot"), "location": text("location"), "batch": text("batch"), "open": yesNo("(remaining_mg > 0)"),
}

// Reservations are in id order.
func (s stock) Reservations(ctx context.Context, q app.Query) ([]ledger.Reservation, error) {
	parts, args, err := reservationFilters.conditions("reservation", q.Where, nil)
	if err != nil {
		return nil, err
	}
	if q.After != "" {
		after, err := parseID("page_token", q.After)
		if err != nil {
			return nil, err
		}
		args = append(args, pgtype.UUID{Bytes: after, Valid: true})
		parts = append(parts, fmt.Sprintf("id > $%d", len(args)))
	}
	sql := "SELECT " + reservationColumns + " FROM reservation" + clause(parts) + " ORDER BY id"
	if q.Limit > 0 {
		sql += " LIMIT " + strconv.Itoa(q.Limit)
	}
	rows, err := s.t.Query(ctx, sql, args...)
	if err != nil {
		return nil, translate(err)
	}
	out, err := pgx.CollectRows(rows, scanReservation)
	return out, translate(err)
}
