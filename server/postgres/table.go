package postgres

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"

	"millbase/server/app"
)

// column is one column of an aggregate's table besides id, version and times.
type column[T any] struct {
	name string
	arg  func(v *T) any // as an argument
	into func(v *T) any // as a scan target
}

// table says how an aggregate is kept; repo does the rest.
type table[T any] struct {
	name    string // of the table
	noun    string // in sentences: "purchase order"
	path    string // of the resource: "purchaseOrders"
	id      func(v *T) string
	setID   func(v *T, id string)
	columns []column[T]
	filters filters
	// refs are the foreign keys by the name of the constraint.
	refs map[string]ref[T]
}

// ref is a field that names something else.
type ref[T any] struct {
	field, noun string
	value       func(v *T) string
}

// repo implements app.Repo for a table in a transaction.
type repo[T any] struct {
	*table[T]
	d db
}

func (t *table[T]) selected() string {
	return "id, " + strings.Join(t.names(), ", ") + ", version, created_at, updated_at"
}

func (t *table[T]) names() []string {
	names := make([]string, len(t.columns))
	for i, c := range t.columns {
		names[i] = c.name
	}
	return names
}

func (t *table[T]) args(v *T) ([]any, error) {
	args := []any{t.id(v)}
	for _, c := range t.columns {
		args = append(args, c.arg(v))
	}
	return args, argsProblem(append([]string{"id"}, t.names()...), args)
}

func (t *table[T]) scan(row pgx.CollectableRow) (app.Record[T], error) {
	var r app.Record[T]
	var id string
	targets := []any{&id}
	for _, c := range t.columns {
		targets = append(targets, c.into(&r.Value))
	}
	targets = append(targets, &r.Version, timeRef{&r.CreatedAt}, timeRef{&r.UpdatedAt})
	err := row.Scan(targets...)
	t.setID(&r.Value, id)
	return r, err
}

func (r repo[T]) one(ctx context.Context, sql string, args ...any) (app.Record[T], error) {
	rows, err := r.d.Query(ctx, sql, args...)
	if err != nil {
		return app.Record[T]{}, err
	}
	return pgx.CollectExactlyOneRow(rows, r.scan)
}

func (r repo[T]) Get(ctx context.Context, id string) (app.Record[T], error) {
	rec, err := r.one(ctx, "SELECT "+r.selected()+" FROM "+r.name+" WHERE id = $1", id)
	if errors.Is(err, pgx.ErrNoRows) {
		return rec, r.missing(id)
	}
	return rec, translate(err)
}

func (r repo[T]) missing(id string) error {
	return app.Faultf(app.ErrNotFound, "NOT_FOUND", r.path+"/"+id, "there is no %s %q", r.noun, id)
}

func (r repo[T]) List(ctx context.Context, q app.Query) ([]app.Record[T], error) {
	where, args, err := r.filters.where(r.noun, q)
	if err != nil {
		return nil, err
	}
	sql := "SELECT " + r.selected() + " FROM " + r.name + where + " ORDER BY id"
	if q.Limit > 0 {
		sql += " LIMIT " + strconv.Itoa(q.Limit)
	}
	rows, err := r.d.Query(ctx, sql, args...)
	if err != nil {
		return nil, translate(err)
	}
	recs, err := pgx.CollectRows(rows, r.scan)
	return recs, translate(err)
}

func (r repo[T]) Create(ctx context.Context, v T) (app.Record[T], error) {
	args, err := r.args(&v)
	if err != nil {
		return app.Record[T]{}, err
	}
	rec, err := r.one(ctx, r.insert(len(args))+" RETURNING "+r.selected(), args...)
	return rec, r.fault(err, &v)
}

// insert is the statement that takes the n arguments of a row.
func (t *table[T]) insert(n int) string {
	places := make([]string, n)
	for i := range places {
		places[i] = "$" + strconv.Itoa(i+1)
	}
	return fmt.Sprintf("INSERT INTO %s (id, %s) VALUES (%s)", t.name, strings.Join(t.names(), ", "), strings.Join(places, ", "))
}

func (r repo[T]) Update(ctx context.Context, v T, version int64) (app.Record[T], error) {
	args, err := r.args(&v)
	if err != nil {
		return app.Record[T]{}, err
	}
	sets := make([]string, len(r.columns))
	for i, c := range r.columns {
		sets[i] = c.name + " = $" + strconv.Itoa(i+2)
	}
	args = append(args, version)
	n := strconv.Itoa(len(args))
	sql := fmt.Sprintf("UPDATE %s SET %s, version = version + 1, updated_at = clock_timestamp() WHERE id = $1 AND ($%s::bigint = 0 OR version = $%s) RETURNING %s",
		r.name, strings.Join(sets, ", "), n, n, r.selected())
	rec, err := r.one(ctx, sql, args...)
	if errors.Is(err, pgx.ErrNoRows) {
		return rec, r.staleOrMissing(ctx, r.id(&v))
	}
	return rec, r.fault(err, &v)
}

func (r repo[T]) staleOrMissing(ctx context.Context, id string) error {
	now, err := r.Get(ctx, id)
	if err != nil {
		return err
	}
	return stale(r.noun, r.path+"/"+id, id, now.Version)
}

func stale(noun, resource, id string, version int64) error {
	return app.Faultf(app.ErrStale, "STALE", resource,
		"%s %q has changed since you read it (it is at version %d now): read it again and repeat your change", noun, id, version)
}

// fault is translate with what only the aggregate knows: its id and the things
// that it names.
func (r repo[T]) fault(err error, v *T) error {
	switch rule := constraintOf(err); {
	case rule == "":
		return translate(err)
	case rule == r.name+"_pkey":
		return app.Faultf(app.ErrExists, "ALREADY_EXISTS", r.path+"/"+r.id(v),
			"%s %q exists already: choose another id, or update it", r.noun, r.id(v))
	default:
		if f, ok := r.refs[rule]; ok {
			return app.InvalidField(f.field, "there is no %s %q: create it first, or correct the id", f.noun, f.value(v))
		}
		return translate(err)
	}
}
