package postgres

import (
	"time"

	"millbase/inventory/mass"
)

// plain is a column that the driver carries as it is.
func plain[T, F any](name string, field func(*T) *F) column[T] {
	return column[T]{name,
		func(v *T) any { return *field(v) },
		func(v *T) any { return field(v) }}
}

// date is a calendar date, NULL when zero.
func date[T any](name string, field func(*T) *time.Time) column[T] {
	return column[T]{name,
		func(v *T) any { return dateArg(*field(v)) },
		func(v *T) any { return dateRef{field(v)} }}
}

// instant is a moment, NULL when zero.
func instant[T any](name string, field func(*T) *time.Time) column[T] {
	return column[T]{name,
		func(v *T) any { return timeArg(*field(v)) },
		func(v *T) any { return timeRef{field(v)} }}
}

// milligrams is a mass.
func milligrams[T any](name string, field func(*T) *mass.Mass) column[T] {
	return column[T]{name,
		func(v *T) any { return int64(*field(v)) },
		func(v *T) any { return massRef{field(v)} }}
}

// named is the id of something else, NULL when empty.
func named[T any](name string, field func(*T) *string) column[T] {
	return column[T]{name,
		func(v *T) any { return textArg(*field(v)) },
		func(v *T) any { return textRef[string]{field(v)} }}
}

// object is a jsonb column of a map or a list of plain values.
func object[T, F any](name string, field func(*T) *F) column[T] {
	return column[T]{name,
		func(v *T) any { return jsonArg(*field(v)) },
		func(v *T) any { return setRef[F]{field(v)} }}
}

// parts is a jsonb column of structs D that are kept in the form R, whose tags
// fix the names: renaming a field of the domain must not lose what is kept. The
// conversions compile only while both have the same fields.
func parts[T, D, R any](name string, field func(*T) *[]D, keep func(D) R, back func(R) D) column[T] {
	return column[T]{name,
		func(v *T) any { return jsonArg(rowsOf(*field(v), keep)) },
		func(v *T) any { return jsonRef[D, R]{field(v), back} }}
}
