package postgres

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"millbase/inventory/mass"
	"millbase/server/app"
)

var quoteTable = &table[app.StoredQuote]{
	name: "quote", noun: "quote", path: "quotes",
	id:    func(q *app.StoredQuote) string { return q.ID },
	setID: func(q *app.StoredQuote, id string) { q.ID = id },
	columns: []column[app.StoredQuote]{
		plain("customer", func(q *app.StoredQuote) *string { return &q.Customer }),
		plain("formula", func(q *app.StoredQuote) *string { return &q.Formula }),
		plain("state", func(q *app.StoredQuote) *string { return &q.State }),
		date("valid_until", func(q *app.StoredQuote) *time.Time { return &q.ValidUntil }),
		object("body", func(q *app.StoredQuote) *json.RawMessage { return &q.Body }),
		plain("revision", func(q *app.StoredQuote) *int { return &q.Revision }),
		date("made_date", func(q *app.StoredQuote) *time.Time { return &q.Made }),
		plain("sent_revision", func(q *app.StoredQuote) *int { return &q.SentRevision }),
		date("sent_date", func(q *app.StoredQuote) *time.Time { return &q.Sent }),
		date("accepted_date", func(q *app.StoredQuote) *time.Time { return &q.Accepted }),
		milligrams("accepted_mg", func(q *app.StoredQuote) *mass.Mass { return &q.AcceptedQuantity }),
		date("accepted_due", func(q *app.StoredQuote) *time.Time { return &q.AcceptedDue }),
		named("accepted_batch", func(q *app.StoredQuote) *string { return &q.AcceptedBatch }),
	},
	filters: filters{
		"id": text("id"), "customer": text("customer"), "formula": text("formula"), "state": text("state"),
		"valid_until": day("valid_until"), "quote": text("id"), "sent": yesNo("(revision = sent_revision)"),
	},
}

// quoteRevisions is quoteTable with the revisions that others followed.
var quoteRevisions = func() *table[app.StoredQuote] {
	t := *quoteTable
	t.name = "quote_revision"
	return &t
}()

// quotes implements app.Repo: a quote is its revisions.
type quotes struct{ repo[app.StoredQuote] }

// Get takes "id" or "id@3".
func (q quotes) Get(ctx context.Context, id string) (app.Record[app.StoredQuote], error) {
	name, number, named := strings.Cut(id, "@")
	if !named {
		return q.repo.Get(ctx, id)
	}
	revision, err := strconv.Atoi(number)
	if err != nil {
		return app.Record[app.StoredQuote]{}, q.missing(id)
	}
	rec, err := q.one(ctx, "SELECT "+q.selected()+" FROM quote_revision WHERE id = $1 AND revision = $2", name, revision)
	if errors.Is(err, pgx.ErrNoRows) {
		return rec, q.missing(id)
	}
	return rec, translate(err)
}

// List looks at older revisions only where a condition asks for them.
func (q quotes) List(ctx context.Context, query app.Query) ([]app.Record[app.StoredQuote], error) {
	if !slices.ContainsFunc(query.Where, func(c app.Condition) bool { return c.Field == "quote" || c.Field == "sent" }) {
		return q.repo.List(ctx, query)
	}
	recs, err := repo[app.StoredQuote]{quoteRevisions, q.d}.List(ctx, query)
	slices.SortStableFunc(recs, func(a, b app.Record[app.StoredQuote]) int {
		return cmp.Or(cmp.Compare(a.Value.ID, b.Value.ID), cmp.Compare(a.Value.Revision, b.Value.Revision))
	})
	return recs, err
}

// Create begins with revision 1.
func (q quotes) Create(ctx context.Context, v app.StoredQuote) (app.Record[app.StoredQuote], error) {
	v.Revision = 1
	if v.Inputs == nil {
		return q.repo.Create(ctx, v)
	}
	args, err := q.args(&v)
	if err != nil {
		return app.Record[app.StoredQuote]{}, err
	}
	// One statement, and the body does not travel back: a quote should take little
	// longer than the match in it.
	n := len(args)
	args = append(args, string(v.Inputs))
	rec := app.Record[app.StoredQuote]{Value: v}
	rows, err := q.d.Query(ctx, fmt.Sprintf(`WITH made AS (%s RETURNING id, revision, version, created_at, updated_at),
		kept AS (INSERT INTO quote_inputs (quote, revision, inputs) SELECT id, revision, $%d::json FROM made)
		SELECT version, created_at, updated_at FROM made`, q.insert(n), n+1), args...)
	if err == nil {
		rec, err = pgx.CollectExactlyOneRow(rows, func(row pgx.CollectableRow) (app.Record[app.StoredQuote], error) {
			return rec, row.Scan(&rec.Version, timeRef{&rec.CreatedAt}, timeRef{&rec.UpdatedAt})
		})
	}
	rec.Value.Inputs = nil
	return rec, q.fault(err, &v)
}

// Update keeps the inputs of a revision that is added.
func (q quotes) Update(ctx context.Context, v app.StoredQuote, version int64) (app.Record[app.StoredQuote], error) {
	rec, err := q.repo.Update(ctx, v, version)
	if err != nil || v.Inputs == nil {
		return rec, err
	}
	_, err = q.d.Exec(ctx, "INSERT INTO quote_inputs (quote, revision, inputs) VALUES ($1, $2, $3)", v.ID, v.Revision, string(v.Inputs))
	return rec, translate(err)
}

// Inputs reads what a revision was worked out from.
func (x *tx) Inputs(ctx context.Context, quote string, revision int) (json.RawMessage, error) {
	var text string
	err := x.t.QueryRow(ctx, "SELECT inputs FROM quote_inputs WHERE quote = $1 AND revision = $2", quote, revision).Scan(&text)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, app.Faultf(app.ErrNotFound, "NOT_FOUND", "quotes/"+quote, "what quote %q was worked out from was not kept", quote)
	}
	return json.RawMessage(text), translate(err)
}

var keyTable = &table[app.APIKey]{
	name: "api_key", noun: "key", path: "keys",
	id:    func(k *app.APIKey) string { return k.ID },
	setID: func(k *app.APIKey, id string) { k.ID = id },
	columns: []column[app.APIKey]{
		plain("title", func(k *app.APIKey) *string { return &k.Title }),
		plain("role", func(k *app.APIKey) *string { return &k.Role }),
		plain("digest", func(k *app.APIKey) *[]byte { return &k.Digest }),
		plain("revoked", func(k *app.APIKey) *bool { return &k.Revoked }),
	},
	filters: filters{
		"id": text("id"), "role": text("role"), "digest": hexadecimal("digest"), "revoked": yesNo("revoked"),
	},
}
