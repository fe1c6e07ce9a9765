package postgres

import (
	"sync"
	"time"

	"github.com/jackc/pgx/v5"

	"millbase/server/app"
)

// Most of what reading the book takes goes into decoding rows that have not
// changed. So a list of a whole collection first asks which versions of its rows
// the transaction sees, by Postgres's own mark (the transaction that wrote a row)
// beside our version and time: all of them in one number, and where that is not
// the one of the last list, row by row. Only the rows that are not known yet are
// decoded. A mark is never trusted beyond the transaction that read it, so
// nothing can be out of date.

// mark tells one version of one row from every other.
type mark struct {
	xmin    uint32
	version int64
	at      time.Time
}

type keptRow[T any] struct {
	mark
	rec app.Record[T]
}

// keptRows are the rows of a collection as they were last listed.
type keptRows[T any] struct {
	keptLists[app.Record[T]]
	mu   sync.Mutex
	rows map[string]keptRow[T]
}

// keptLists are whole lists, by the key of their query.
type keptLists[R any] struct {
	listsMu sync.Mutex
	lists   map[string]keptList[R]
}

// keptList is a list with the stamp of its rows.
type keptList[R any] struct {
	stamp string
	recs  []R
}

// mostLists is how many lists of a collection are kept: the whole book is asked
// for in few ways.
const mostLists = 32

// list is the list of a query, if it was last seen with the stamp.
func (k *keptLists[R]) list(key, stamp string) ([]R, bool) {
	k.listsMu.Lock()
	defer k.listsMu.Unlock()
	l, ok := k.lists[key]
	return l.recs, ok && l.stamp == stamp
}

func (k *keptLists[R]) keepList(key, stamp string, recs []R) {
	k.listsMu.Lock()
	defer k.listsMu.Unlock()
	if k.lists == nil || len(k.lists) >= mostLists {
		k.lists = map[string]keptList[R]{}
	}
	k.lists[key] = keptList[R]{stamp, recs}
}

// of picks the records that are known in just that version; missing are the ids
// of the others.
func (k *keptRows[T]) of(ids []string, marks []mark) (recs []app.Record[T], missing []string) {
	k.mu.Lock()
	defer k.mu.Unlock()
	recs = make([]app.Record[T], len(ids))
	for i, id := range ids {
		if row, ok := k.rows[id]; ok && row.xmin == marks[i].xmin && row.version == marks[i].version && row.at.Equal(marks[i].at) {
			recs[i] = row.rec
		} else {
			missing = append(missing, id)
		}
	}
	return recs, missing
}

// keep remembers the rows that were read; where many more are known than the list
// had, those that it did not have are forgotten.
func (k *keptRows[T]) keep(ids []string, read map[string]keptRow[T]) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.rows == nil || len(k.rows)+len(read) > 2*len(ids)+1000 {
		was := k.rows
		k.rows = make(map[string]keptRow[T], len(ids))
		for _, id := range ids {
			if row, ok := was[id]; ok {
				k.rows[id] = row
			}
		}
	}
	for id, row := range read {
		k.rows[id] = row
	}
}

// listing is a list of a whole collection on its way.
type listing[T any] struct {
	key   string // of the query, within the transaction
	table string
	id    string // SQL expression of the id
	of    func(*T) string
	cols  string // of the whole row, as scan wants them
	scan  func(pgx.CollectableRow) (app.Record[T], error)
	order string
	where string
	args  []any
	kept  *keptRows[T]

	stamp   string
	known   bool // the list is the kept one
	moved   bool // others changed it between one statement and the next
	ids     []string
	marks   []mark
	recs    []app.Record[T]
	missing []string
}

// stampSQL is one number that stands for rows: the sum of the hashes of 64 bits of
// what tells them apart, with their count. over makes it a column of every row.
func stampSQL(record, over string) string {
	return "count(*)" + over + " || ' ' || coalesce(sum(hash_record_extended(ROW(" + record + "), 0))" + over + ", 0)"
}

// mark is what the stamp of a listing is of.
func (l *listing[T]) mark() string { return l.id + ", xmin, version, updated_at" }

func (l *listing[T]) askStamp() (string, []any) {
	return "SELECT " + stampSQL(l.mark(), "") + " FROM " + l.table + l.where, l.args
}

func (l *listing[T]) takeStamp(stamp string) {
	l.stamp = stamp
	l.recs, l.known = l.kept.list(l.key, l.stamp)
}

func (l *listing[T]) askMarks() (string, []any) {
	if l.known {
		return "", nil
	}
	// The stamp again, as it is in this very statement's snapshot.
	return "SELECT " + l.id + ", xmin, version, updated_at, " + stampSQL(l.mark(), " OVER ()") + " FROM " + l.table + l.where + " ORDER BY " + l.order, l.args
}

func (l *listing[T]) readMarks(rows pgx.Rows) error {
	defer rows.Close()
	for rows.Next() {
		var id string
		var m mark
		if err := rows.Scan(&id, &m.xmin, &m.version, timeRef{&m.at}, &l.stamp); err != nil {
			return err
		}
		l.ids, l.marks = append(l.ids, id), append(l.marks, m)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	l.recs, l.missing = l.kept.of(l.ids, l.marks)
	return nil
}

func (l *listing[T]) askRows() (string, []any) {
	if len(l.missing) == 0 {
		return "", nil
	}
	return "SELECT xmin, " + l.cols + " FROM " + l.table + " WHERE " + l.id + " = ANY($1)", []any{l.missing}
}

// readRows reads what was missing. Where another transaction has committed a
// change since the marks were read, the newer row stands, as it would have in a
// plain list a moment later; one that is gone is left out.
func (l *listing[T]) readRows(rows pgx.Rows) error {
	defer rows.Close()
	read := make(map[string]keptRow[T], len(l.missing))
	for rows.Next() {
		var m mark
		rec, err := l.scan(after{rows, &m.xmin})
		if err != nil {
			return err
		}
		m.version, m.at = rec.Version, rec.UpdatedAt
		read[l.of(&rec.Value)] = keptRow[T]{m, rec}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	l.kept.keep(l.ids, read)
	lacking := map[string]bool{}
	for _, id := range l.missing {
		lacking[id] = true
	}
	out := l.recs[:0]
	for i, id := range l.ids {
		row, ok := read[id]
		l.moved = l.moved || lacking[id] && (!ok || row.xmin != l.marks[i].xmin || row.version != l.marks[i].version)
		switch {
		case ok:
			out = append(out, row.rec)
		case !lacking[id]:
			out = append(out, l.recs[i])
		}
	}
	l.recs = out
	return nil
}

func (l *listing[T]) name() string { return l.key }

func (l *listing[T]) seen() string {
	if l.moved {
		return ""
	}
	return l.stamp
}

func (l *listing[T]) result() (string, any) {
	if !l.known && !l.moved {
		l.kept.keepList(l.key, l.stamp, l.recs)
	}
	return l.key, l.recs
}
