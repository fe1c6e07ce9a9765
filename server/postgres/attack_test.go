package postgres_test

import (
	"context"
	"errors"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"millbase/server/postgres/pgtest"
)

// Ids of the attacked ledger.
const (
	receipt     = "'00000000-0000-4000-8000-000000000001'"
	issue       = "'00000000-0000-4000-8000-000000000002'"
	reservation = "'00000000-0000-4000-8000-000000000003'"
	attack      = "'00000000-0000-4000-8000-00000000000a'"
)

// post is the one statement that posts a movement of two entries: mg of lot l-1
// from one account to another.
func post(id, kind, reverses, from, to, mg string) string {
	return `WITH e AS (INSERT INTO entry (movement_id, line, account, location, party, lot, quantity_mg) VALUES
		(` + id + `, 1, ` + from + `, 'l-1', -(` + mg + `)), (` + id + `, 2, ` + to + `, 'l-1', ` + mg + `))
		INSERT INTO movement (id, kind, reverses, digest, entry_count) VALUES (` + id + `, '` + kind + `', ` + reverses + `, '\x00', 2)`
}

const (
	store    = "'stock', 'main', ''"
	supplier = "'supplier', '', 's-1'"
	pot      = "'batch', '', 'b-1'"
)

// attacked is a database with lot l-1: 1,000 mg received, 100 mg issued, 500 mg
// reserved; lot l-held is held, l-old has expired.
func attacked(t *testing.T) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), pgtest.Database(t))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close(context.Background()) })
	for _, sql := range []string{
		`INSERT INTO material (id, title, class, properties, colour_index, shelf_life_days, safety_stock_mg, cautions, archived)
		 VALUES ('m-1', '', 'oil', '{}', '', 0, 0, '[]', false)`,
		`INSERT INTO lot (id, material, supplier_lot, status, expiry_date, certificate, batch, note, cost_per_kg, price_per_kg, price_currency, freight_per_kg, duty_percent, exchange_rate)
		 SELECT id, 'm-1', '', status, expiry::date, '{}', '', '', 0, 0, '', 0, 0, 1
		 FROM (VALUES ('l-1', 'released', NULL), ('l-held', 'held', NULL), ('l-old', 'released', '2001-01-01')) v (id, status, expiry)`,
		post(receipt, "receipt", "NULL", supplier, store, "1000"),
		post(issue, "issue", "NULL", store, pot, "100"),
		`INSERT INTO reservation (id, lot, location, quantity_mg, remaining_mg, digest) VALUES (` + reservation + `, 'l-1', 'main', 500, 500, '\x00')`,
	} {
		if _, err := conn.Exec(t.Context(), sql); err != nil {
			t.Fatal(err, sql)
		}
	}
	return conn
}

// attacks are statements that any client could send, with the rule that each
// must run into.
var attacks = []struct{ name, rule, sql string }{
	{"take more than is there", "balance_on_hand_not_negative", post(attack, "issue", "NULL", store, pot, "901")},
	{"take what is reserved", "balance_reserved_within_on_hand", post(attack, "issue", "NULL", store, pot, "401")},
	{"reserve more than is free", "balance_reserved_within_on_hand",
		`INSERT INTO reservation (id, lot, location, quantity_mg, remaining_mg, digest) VALUES (` + attack + `, 'l-1', 'main', 401, 401, '\x00')`},
	{"reserve what is nowhere", "reservation_of_stock",
		`INSERT INTO reservation (id, lot, location, quantity_mg, remaining_mg, digest) VALUES (` + attack + `, 'l-1', 'annex', 1, 1, '\x00')`},
	{"reserve in part", "reservation_starts_whole",
		`INSERT INTO reservation (id, lot, location, quantity_mg, remaining_mg, digest) VALUES (` + attack + `, 'l-1', 'main', 100, 1, '\x00')`},
	{"raise a balance", "balance_by_ledger_only", `UPDATE balance SET on_hand_mg = on_hand_mg + 1`},
	{"make a balance", "balance_by_ledger_only", `INSERT INTO balance VALUES ('l-held', 'main', 5, 0)`},
	{"delete a balance", "balance_by_ledger_only", `DELETE FROM balance`},
	{"truncate balances", "balance_by_ledger_only", `TRUNCATE balance`},
	{"edit a movement", "movement_append_only", `UPDATE movement SET note = 'x'`},
	{"delete a movement", "movement_append_only", `DELETE FROM movement WHERE id = ` + issue},
	{"truncate movements", "movement_append_only", `TRUNCATE movement CASCADE`},
	{"edit an entry", "entry_append_only", `UPDATE entry SET quantity_mg = 1`},
	{"delete an entry", "entry_append_only", `DELETE FROM entry`},
	{"truncate entries", "entry_append_only", `TRUNCATE entry`},
	{"a movement without entries", "movement_has_entries", `INSERT INTO movement (id, kind, digest, entry_count) VALUES (` + attack + `, 'issue', '\x00', 2)`},
	{"entries without movement", "entry_of_movement", `INSERT INTO entry VALUES (` + attack + `, 1, 'stock', 'main', '', 'l-1', 5)`},
	{"a third entry later", "entry_of_movement", `INSERT INTO entry VALUES (` + receipt + `, 3, 'stock', 'main', '', 'l-1', 5)`},
	{"an entry twice", "entry_pkey", `INSERT INTO entry VALUES (` + receipt + `, 2, 'stock', 'main', '', 'l-1', 5)`},
	{"entries that do not balance", "movement_balanced",
		`WITH e AS (INSERT INTO entry VALUES (` + attack + `, 1, 'stock', 'main', '', 'l-1', 5), (` + attack + `, 2, 'supplier', '', '', 'l-1', -4))
		 INSERT INTO movement (id, kind, digest, entry_count) VALUES (` + attack + `, 'receipt', '\x00', 2)`},
	{"entries misnumbered", "movement_has_entries",
		`WITH e AS (INSERT INTO entry VALUES (` + attack + `, 1, 'stock', 'main', '', 'l-1', 5), (` + attack + `, 2, 'supplier', '', '', 'l-1', -5))
		 INSERT INTO movement (id, kind, digest, entry_count) VALUES (` + attack + `, 'receipt', '\x00', 3)`},
	{"the same id", "movement_pkey", post(receipt, "receipt", "NULL", supplier, store, "1")},
	{"dated back", "movement_posted_now",
		`WITH e AS (INSERT INTO entry VALUES (` + attack + `, 1, 'stock', 'main', '', 'l-1', 5), (` + attack + `, 2, 'supplier', '', '', 'l-1', -5))
		 INSERT INTO movement (id, kind, digest, entry_count, posted_at) VALUES (` + attack + `, 'receipt', '\x00', 2, now() - interval '1 day')`},
	{"an unlike reversal", "movement_mirrors", post(attack, "reversal", issue, pot, store, "99")},
	{"a reversal of nothing", "movement_reversal_names_one", post(attack, "reversal", "NULL", pot, store, "100")},
	{"a kind of its own", "movement_kind_known", post(attack, "gift", "NULL", supplier, store, "1")},
	{"a movement of nothing", "movement_entry_count_positive", `INSERT INTO movement (id, kind, digest, entry_count) VALUES (` + attack + `, 'receipt', '\x00', 0)`},
	{"fewer uses than none", "movement_use_count_not_negative", entries(`2, -1`, `(`+attack+`, 1, 'stock', 'main', '', 'l-1', 5), (`+attack+`, 2, 'supplier', '', '', 'l-1', -5)`)},
	{"an account of its own", "entry_account_known", entries(`2, 0`, `(`+attack+`, 1, 'stock', 'main', '', 'l-1', 5), (`+attack+`, 2, 'gift', '', '', 'l-1', -5)`)},
	{"an entry of nothing", "entry_quantity_in_bounds", entries(`2, 0`, `(`+attack+`, 1, 'stock', 'main', '', 'l-1', 0), (`+attack+`, 2, 'supplier', '', '', 'l-1', 0)`)},
	{"an entry of everything", "entry_quantity_in_bounds", entries(`2, 0`, `(`+attack+`, 1, 'stock', 'main', '', 'l-1', 1000000000000001), (`+attack+`, 2, 'supplier', '', '', 'l-1', -1000000000000001)`)},
	{"stock nowhere", "entry_location_of_stock", entries(`2, 0`, `(`+attack+`, 1, 'stock', '', '', 'l-1', 5), (`+attack+`, 2, 'supplier', '', '', 'l-1', -5)`)},
	{"scrap of someone", "entry_party_of_account", entries(`2, 0`, `(`+attack+`, 1, 'stock', 'main', '', 'l-1', -5), (`+attack+`, 2, 'scrap', '', 'b', 'l-1', 5)`)},
	{"an entry before the first", "entry_line_positive", `INSERT INTO entry VALUES (` + receipt + `, 0, 'stock', 'main', '', 'l-1', 5)`},
	{"an unknown lot", "entry_lot_known",
		`WITH e AS (INSERT INTO entry VALUES (` + attack + `, 1, 'stock', 'main', '', 'l-9', 5), (` + attack + `, 2, 'supplier', '', '', 'l-9', -5))
		 INSERT INTO movement (id, kind, digest, entry_count) VALUES (` + attack + `, 'receipt', '\x00', 2)`},
	{"issue a held lot", "lot_released",
		`WITH e AS (INSERT INTO entry VALUES (` + attack + `, 1, 'stock', 'main', '', 'l-held', -5), (` + attack + `, 2, 'batch', '', 'b', 'l-held', 5))
		 INSERT INTO movement (id, kind, digest, entry_count) VALUES (` + attack + `, 'issue', '\x00', 2)`},
	{"issue an expired lot", "lot_not_expired",
		`WITH e AS (INSERT INTO entry VALUES (` + attack + `, 1, 'stock', 'main', '', 'l-old', -5), (` + attack + `, 2, 'batch', '', 'b', 'l-old', 5))
		 INSERT INTO movement (id, kind, digest, entry_count) VALUES (` + attack + `, 'issue', '\x00', 2)`},
	{"raise a reservation", "reservation_remaining_within_quantity", `UPDATE reservation SET remaining_mg = 600`},
	{"move a reservation", "reservation_only_falls", `UPDATE reservation SET lot = 'l-held'`},
	{"raise it again", "reservation_only_falls", `UPDATE reservation SET remaining_mg = 1; UPDATE reservation SET remaining_mg = 2`},
	{"delete a reservation", "reservation_kept", `DELETE FROM reservation`},
	{"truncate reservations", "reservation_kept", `TRUNCATE reservation CASCADE`},
	{"a use without movement", "reservation_use_of_movement", `INSERT INTO reservation_use VALUES (` + attack + `, 1, ` + reservation + `, 5)`},
	{"a use added later", "reservation_use_of_movement", `INSERT INTO reservation_use VALUES (` + issue + `, 1, ` + reservation + `, 5)`},
	{"delete a lot with stock", "balance_lot_fkey", `DELETE FROM lot WHERE id = 'l-1'`},
}

// entries posts a receipt with the given counts and rows of entries.
func entries(counts, rows string) string {
	return `WITH e AS (INSERT INTO entry VALUES ` + rows + `)
		INSERT INTO movement (id, kind, digest, entry_count, use_count) VALUES (` + attack + `, 'receipt', '\x00', ` + counts + `)`
}

func TestWhateverClientConnects(t *testing.T) {
	conn := attacked(t)
	for _, mode := range []string{"origin", "replica"} { // replica switches ordinary triggers off
		if _, err := conn.Exec(t.Context(), "SET session_replication_role = "+mode); err != nil {
			t.Fatal(err)
		}
		for _, a := range attacks {
			if mode == "replica" && a.rule == "balance_lot_fkey" {
				continue // a superuser who switches foreign keys off
			}
			_, err := conn.Exec(t.Context(), a.sql, pgx.QueryExecModeSimpleProtocol)
			var pg *pgconn.PgError
			if !errors.As(err, &pg) || pg.ConstraintName != a.rule {
				t.Errorf("%s (%s): got %v, want %s", a.name, mode, err, a.rule)
			}
		}
	}
	var onHand, reserved, n int
	err := conn.QueryRow(t.Context(), `SELECT on_hand_mg, reserved_mg, (SELECT count(*) FROM movement) FROM balance`).Scan(&onHand, &reserved, &n)
	if err != nil || onHand != 900 || reserved != 500 || n != 2 {
		t.Errorf("after the attacks: %d mg on hand, %d reserved, %d movements, %v", onHand, reserved, n, err)
	}
}

func TestReversedOnce(t *testing.T) {
	conn := attacked(t)
	if _, err := conn.Exec(t.Context(), post(attack, "reversal", issue, pot, store, "100")); err != nil {
		t.Fatal(err)
	}
	second := "'00000000-0000-4000-8000-00000000000b'"
	for rule, sql := range map[string]string{
		"movement_reversed_once":        post(second, "reversal", issue, pot, store, "100"),
		"movement_reverses_no_reversal": post(second, "reversal", attack, store, pot, "100"),
	} {
		_, err := conn.Exec(t.Context(), sql)
		var pg *pgconn.PgError
		if !errors.As(err, &pg) || pg.ConstraintName != rule {
			t.Errorf("got %v, want %s", err, rule)
		}
	}
}
