package postgres

import (
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"millbase/inventory/mass"
	"millbase/server/app"
)

// filters are the fields that a list can be filtered by.
type filters map[string]filter

// filter is one such field: the column (an SQL expression) and how the value of
// a condition is read.
type filter struct {
	column string
	read   func(string) (any, error)
}

func text(column string) filter {
	return filter{column, func(s string) (any, error) { return s, nil }}
}

func yesNo(column string) filter {
	return filter{column, func(s string) (any, error) {
		switch s {
		case "true":
			return true, nil
		case "false":
			return false, nil
		}
		return nil, fmt.Errorf("use true or false")
	}}
}

func whole(column string) filter {
	return filter{column, func(s string) (any, error) {
		n, err := strconv.ParseInt(s, 10, 64)
		if err != nil {
			return nil, fmt.Errorf("use a whole number")
		}
		return n, nil
	}}
}

func day(column string) filter {
	return filter{column, func(s string) (any, error) {
		t, err := time.Parse(time.DateOnly, s)
		if err != nil {
			return nil, fmt.Errorf("use a date such as 2026-03-31")
		}
		return dateArg(t), nil
	}}
}

func moment(column string) filter {
	return filter{column, func(s string) (any, error) {
		if t, err := time.Parse(time.RFC3339, s); err == nil {
			return timeArg(t), nil
		}
		t, err := time.Parse(time.DateOnly, s)
		if err != nil {
			return nil, fmt.Errorf("use a moment such as 2026-03-31T14:00:00Z, or a date")
		}
		return timeArg(t), nil
	}}
}

func kilograms(column string) filter {
	return filter{column, func(s string) (any, error) {
		m, err := mass.Parse(s)
		if err != nil {
			return nil, fmt.Errorf("use kilograms such as 12.5, to the milligram")
		}
		return int64(m), nil
	}}
}

func hexadecimal(column string) filter {
	return filter{column, func(s string) (any, error) {
		b, err := hex.DecodeString(s)
		if err != nil {
			return nil, fmt.Errorf("use hexadecimal digits")
		}
		return b, nil
	}}
}

var operators = []string{"=", "!=", "<", "<=", ">", ">="}

// conditions turns what is asked for into SQL; places are numbered from
// len(args)+1.
func (f filters) conditions(noun string, where []app.Condition, args []any) ([]string, []any, error) {
	var parts []string
	for _, c := range where {
		field, ok := f[c.Field]
		if !ok {
			return nil, nil, app.InvalidField("filter", "a list of %ss can't be filtered by %q: use %s",
				noun, c.Field, strings.Join(slices.Sorted(maps.Keys(f)), ", "))
		}
		if !slices.Contains(operators, c.Op) {
			return nil, nil, app.InvalidField("filter", "unknown comparison %q: use %s", c.Op, strings.Join(operators, " "))
		}
		v, err := field.read(c.Value)
		if err != nil {
			return nil, nil, app.InvalidField("filter", "%s %s %q: %v", c.Field, c.Op, c.Value, err)
		}
		args = append(args, v)
		op := c.Op
		if op == "!=" {
			op = "IS DISTINCT FROM"
		}
		parts = append(parts, fmt.Sprintf("%s %s $%d", field.column, op, len(args)))
	}
	return parts, args, nil
}

// where is the WHERE clause of a query in id order.
func (f filters) where(noun string, q app.Query) (string, []any, error) {
	parts, args, err := f.conditions(noun, q.Where, nil)
	if err != nil {
		return "", nil, err
	}
	if q.After != "" {
		args = append(args, q.After)
		parts = append(parts, fmt.Sprintf("id > $%d", len(args)))
	}
	return clause(parts), args, nil
}

func clause(parts []string) string {
	if len(parts) == 0 {
		return ""
	}
	return " WHERE " + strings.Join(parts, " AND ")
}
