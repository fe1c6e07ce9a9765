package postgres

import (
	"encoding/json"
	"math"
	"time"

	"github.com/jackc/pgx/v5/pgtype"

	"millbase/inventory/mass"
	"millbase/server/app"
)

// The types below carry a field of a domain value into a column (arg) and back
// (a pointer to the field as a scan target).

// dateRef is a calendar date; zero is NULL.
type dateRef struct{ t *time.Time }

// ScanDate implements pgtype.DateScanner.
func (d dateRef) ScanDate(v pgtype.Date) error {
	*d.t = time.Time{}
	if v.Valid {
		*d.t = v.Time
	}
	return nil
}

func dateArg(t time.Time) pgtype.Date {
	y, m, d := t.Date()
	return pgtype.Date{Time: time.Date(y, m, d, 0, 0, 0, 0, time.UTC), Valid: !t.IsZero()}
}

// timeRef is a moment; zero is NULL.
type timeRef struct{ t *time.Time }

// ScanTimestamptz implements pgtype.TimestamptzScanner.
func (r timeRef) ScanTimestamptz(v pgtype.Timestamptz) error {
	*r.t = time.Time{}
	if v.Valid {
		*r.t = v.Time.UTC()
	}
	return nil
}

func timeArg(t time.Time) pgtype.Timestamptz {
	return pgtype.Timestamptz{Time: t, Valid: !t.IsZero()}
}

// textRef is an id of something else; empty is NULL.
type textRef[S ~string] struct{ s *S }

// ScanText implements pgtype.TextScanner.
func (r textRef[S]) ScanText(v pgtype.Text) error {
	*r.s = S(v.String)
	return nil
}

func textArg(s string) pgtype.Text { return pgtype.Text{String: s, Valid: s != ""} }

// massRef is a mass in milligrams.
type massRef struct{ m *mass.Mass }

// ScanInt64 implements pgtype.Int64Scanner.
func (r massRef) ScanInt64(v pgtype.Int8) error {
	*r.m = mass.Mass(v.Int64)
	return nil
}

// jsonArg writes nested parts. The value is encoded here rather than by the
// driver, so that a number without a JSON form is a clear error.
func jsonArg(v any) any {
	text, err := json.Marshal(v)
	if err != nil {
		return unencodable{err}
	}
	return string(text)
}

// unencodable stands in for an argument that could not be encoded.
type unencodable struct{ err error }

func (u unencodable) problem(field string) error {
	return app.InvalidField(field, "can't be kept, since a number in it is not finite: %v", u.err)
}

// argsProblem reports the first argument that can't be kept.
func argsProblem(names []string, args []any) error {
	for i, a := range args {
		switch v := a.(type) {
		case unencodable:
			return v.problem(names[i])
		case float64:
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return app.InvalidField(names[i], "use a finite number")
			}
		case *float64:
			if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
				return app.InvalidField(names[i], "use a finite number")
			}
		}
	}
	return nil
}

// jsonRef reads nested parts kept as R and converts them to the domain's T.
type jsonRef[T, R any] struct {
	out     *[]T
	convert func(R) T
}

// ScanText implements pgtype.TextScanner for json columns.
func (j jsonRef[T, R]) Scan(src any) error {
	var rows []R
	if err := unmarshal(src, &rows); err != nil {
		return err
	}
	*j.out = nil
	for _, r := range rows {
		*j.out = append(*j.out, j.convert(r))
	}
	return nil
}

func unmarshal(src any, into any) error {
	switch v := src.(type) {
	case string:
		return json.Unmarshal([]byte(v), into)
	case []byte:
		return json.Unmarshal(v, into)
	}
	return nil
}

// rowsOf converts domain parts to the form that they are kept in.
func rowsOf[T, R any](parts []T, convert func(T) R) []R {
	out := make([]R, len(parts))
	for i, p := range parts {
		out[i] = convert(p)
	}
	return out
}

// setRef reads a jsonb object or array of plain values; empty is nil.
type setRef[T any] struct{ out *T }

func (s setRef[T]) Scan(src any) error {
	var v T
	if err := unmarshal(src, &v); err != nil {
		return err
	}
	*s.out = v
	return nil
}
