package postgres

import (
	"context"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"

	"millbase/server/app"
)

// pending is a list on its way, whatever it lists.
type pending interface {
	name() string // the key of the query
	// askStamp asks for one row with one text, the stamp.
	askStamp() (string, []any)
	takeStamp(string)
	// askMarks and askRows are empty where there is no need to ask.
	askMarks() (string, []any)
	readMarks(pgx.Rows) error
	askRows() (string, []any)
	readRows(pgx.Rows) error
	// result and seen are known once it is read. What is seen as the same is the
	// same; empty: nothing can be said.
	result() (key string, recs any)
	seen() string
}

// readAll carries lists out in one statement, and in up to two more round trips
// where something has changed.
func readAll(ctx context.Context, d db, all ...pending) error {
	if err := readStamps(ctx, d, all); err != nil {
		return err
	}
	for _, step := range []struct {
		ask  func(pending) (string, []any)
		read func(pending) func(pgx.Rows) error
	}{
		{pending.askMarks, func(p pending) func(pgx.Rows) error { return p.readMarks }},
		{pending.askRows, func(p pending) func(pgx.Rows) error { return p.readRows }},
	} {
		var b pgx.Batch
		for _, p := range all {
			if sql, args := step.ask(p); sql != "" {
				b.Queue(sql, args...).Query(step.read(p))
			}
		}
		if b.Len() == 0 {
			continue
		}
		if err := d.SendBatch(ctx, &b).Close(); err != nil {
			return err
		}
	}
	return nil
}

var parameter = regexp.MustCompile(`\$\d+`)

// readStamps reads all stamps by one statement: eleven of them, each by its own,
// took five times as long.
func readStamps(ctx context.Context, d db, all []pending) error {
	var parts []string
	var args []any
	for i, p := range all {
		sql, own := p.askStamp()
		before := len(args)
		parts = append(parts, fmt.Sprintf("SELECT %d, (%s)", i, parameter.ReplaceAllStringFunc(sql, func(n string) string {
			k, _ := strconv.Atoi(n[1:])
			return "$" + strconv.Itoa(before+k)
		})))
		args = append(args, own...)
	}
	rows, err := d.Query(ctx, strings.Join(parts, " UNION ALL "), args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var i int
		var stamp string
		if err := rows.Scan(&i, &stamp); err != nil {
			return err
		}
		all[i].takeStamp(stamp)
	}
	return rows.Err()
}

// stamped is a query whose rows are few numbers: they have no marks, so the stamp
// is of all that is in them.
type stamped[T any] struct {
	key   string
	cols  string // what scan wants
	of    string // all of a row, as the fields of a record
	from  string // tables and conditions
	tail  string // order and limit
	args  []any
	scan  pgx.RowToFunc[T]
	kept  *keptLists[T]
	stamp string
	out   []T
	known bool
}

func (p *stamped[T]) askStamp() (string, []any) {
	return "SELECT " + stampSQL(p.of, "") + " FROM " + p.from, p.args
}

func (p *stamped[T]) takeStamp(stamp string) {
	p.stamp = stamp
	p.out, p.known = p.kept.list(p.key, stamp)
}

func (p *stamped[T]) askMarks() (string, []any) {
	if p.known {
		return "", nil
	}
	return "SELECT " + stampSQL(p.of, " OVER ()") + ", " + p.cols + " FROM " + p.from + p.tail, p.args
}

func (p *stamped[T]) readMarks(rows pgx.Rows) error {
	p.stamp = "" // unless a row tells
	out, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (T, error) { return p.scan(after{row, &p.stamp}) })
	p.out = out
	return err
}

func (p *stamped[T]) askRows() (string, []any) { return "", nil }
func (p *stamped[T]) readRows(pgx.Rows) error  { return nil }
func (p *stamped[T]) name() string             { return p.key }
func (p *stamped[T]) seen() string             { return p.stamp }

func (p *stamped[T]) result() (string, any) {
	if !p.known && p.stamp != "" {
		p.kept.keepList(p.key, p.stamp, p.out)
	}
	return p.key, p.out
}

// after is a row whose first column goes elsewhere.
type after struct {
	pgx.CollectableRow
	first any
}

func (a after) Scan(into ...any) error {
	return a.CollectableRow.Scan(append([]any{a.first}, into...)...)
}

// ReadAhead reads lists in one statement, but for those that were read ahead
// before.
func (x *tx) ReadAhead(ctx context.Context, lists ...app.Ahead) (string, error) {
	var all []pending
	names := make([]string, len(lists))
	for i, a := range lists {
		p, err := x.pendingOf(a)
		if err != nil {
			return "", err
		}
		if names[i] = p.name(); x.ahead[p.name()] == nil {
			all = append(all, p)
		}
	}
	if len(all) > 0 {
		if err := readAll(ctx, x.t, all...); err != nil {
			return "", translate(err)
		}
	}
	if x.ahead == nil {
		x.ahead, x.stamps = make(map[string]any, len(all)), make(map[string]string, len(all))
	}
	for _, p := range all {
		key, recs := p.result()
		x.ahead[key], x.stamps[key] = recs, p.seen()
	}
	stamp := ""
	for _, name := range names {
		if x.stamps[name] == "" {
			return "", nil
		}
		stamp += name + "\x00" + x.stamps[name] + "\x00"
	}
	return stamp, nil
}
