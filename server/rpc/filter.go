package rpc

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"go.einride.tech/aip/filtering"
	expr "google.golang.org/genproto/googleapis/api/expr/v1alpha1"
	"google.golang.org/protobuf/reflect/protoreflect"

	"millbase/server/app"
)

// filterField is a field that a list can be filtered by.
type filterField struct {
	// to is the field's name for the store; empty is the same name.
	to string
	// ordered fields take < <= > >= beside = and !=.
	ordered bool
	// read turns the value as written into that of the store.
	read func(value string) (string, error)
}

// filterFields are the fields of a list's filter by name.
type filterFields map[string]filterField

// text filters by a plain text.
var textField = filterField{read: func(v string) (string, error) { return v, nil }}

// flagField filters by true or false.
var flagField = filterField{read: func(v string) (string, error) {
	if v != "true" && v != "false" {
		return "", fmt.Errorf("%.40q is neither true nor false", v)
	}
	return v, nil
}}

// dateField filters by a calendar date.
var dateField = filterField{ordered: true, read: func(v string) (string, error) {
	if _, err := parseDate(v); err != nil {
		return "", fmt.Errorf("%.40q is not a date; write it like \"2026-03-31\"", v)
	}
	return v, nil
}}

// momentField filters by a moment.
var momentField = filterField{ordered: true, read: func(v string) (string, error) {
	t, err := time.Parse(time.RFC3339Nano, v)
	if err != nil {
		return "", fmt.Errorf("%.40q is not a moment; write it like \"2026-03-31T06:00:00Z\"", v)
	}
	return t.UTC().Format(time.RFC3339Nano), nil
}}

// nameField filters by a resource name, "lots/l-1"; the bare id is understood
// too.
func nameField(collection string) filterField {
	return filterField{read: func(v string) (string, error) {
		id := strings.TrimPrefix(v, collection+"/")
		if strings.Contains(id, "/") {
			return "", fmt.Errorf("%.80q does not name one of the %s; write it like \"%s/...\"", v, collection, collection)
		}
		return id, nil
	}}
}

// enumField filters by an enum value, with or without its prefix, in any case.
func enumField(e protoreflect.Enum) filterField {
	d := e.Descriptor()
	return filterField{read: func(v string) (string, error) {
		short := strings.TrimPrefix(strings.ToUpper(v), prefix(d))
		value := d.Values().ByName(protoreflect.Name(prefix(d) + short))
		if value != nil && value.Number() != 0 {
			return strings.ToLower(short), nil
		}
		var known []string
		for i := 1; i < d.Values().Len(); i++ {
			known = append(known, strings.TrimPrefix(string(d.Values().Get(i).Name()), prefix(d)))
		}
		return "", fmt.Errorf("%.40q is not known; use one of %s", v, strings.Join(known, ", "))
	}}
}

// as is the field under another name of the store.
func (f filterField) as(to string) filterField {
	f.to = to
	return f
}

// conditions reads a filter (AIP-160): comparisons of a field with a value,
// joined by AND. OR, NOT, functions and fields that are not listed are refused.
func (known filterFields) conditions(filter string) ([]app.Condition, error) {
	if strings.TrimSpace(filter) == "" {
		return nil, nil
	}
	var parser filtering.Parser
	parser.Init(filter)
	parsed, err := parser.Parse()
	if err != nil {
		return nil, app.InvalidField("filter", "can't be read; %s", known.hint())
	}
	var out []app.Condition
	if err := known.walk(parsed.GetExpr(), &out); err != nil {
		return nil, err
	}
	return out, nil
}

func (known filterFields) hint() string {
	names := slices.Sorted(maps.Keys(known))
	return fmt.Sprintf("write comparisons such as %s = \"...\", joined by AND; fields: %s", names[0], strings.Join(names, ", "))
}

func (known filterFields) walk(e *expr.Expr, out *[]app.Condition) error {
	call := e.GetCallExpr()
	if call == nil {
		return app.InvalidField("filter", "compare a field with a value; %s", known.hint())
	}
	args := call.GetArgs()
	switch call.GetFunction() {
	case filtering.FunctionAnd:
		for _, arg := range args {
			if err := known.walk(arg, out); err != nil {
				return err
			}
		}
		return nil
	case filtering.FunctionOr, filtering.FunctionNot:
		return app.InvalidField("filter", "%s is not understood here; ask once for each alternative, and join comparisons by AND", call.GetFunction())
	case filtering.FunctionEquals, filtering.FunctionNotEquals, filtering.FunctionLessThan,
		filtering.FunctionLessEquals, filtering.FunctionGreaterThan, filtering.FunctionGreaterEquals:
		condition, err := known.compare(call.GetFunction(), args)
		if err == nil {
			*out = append(*out, condition)
		}
		return err
	}
	return app.InvalidField("filter", "%q is not understood here; %s", call.GetFunction(), known.hint())
}

func (known filterFields) compare(op string, args []*expr.Expr) (app.Condition, error) {
	var none app.Condition
	if len(args) != 2 || args[0].GetIdentExpr() == nil {
		return none, app.InvalidField("filter", "put the field on the left of %s; %s", op, known.hint())
	}
	name := args[0].GetIdentExpr().GetName()
	field, ok := known[name]
	if !ok {
		return none, app.InvalidField("filter", "%.60q is not a field to filter by; use one of %s", name, strings.Join(slices.Sorted(maps.Keys(known)), ", "))
	}
	if !field.ordered && op != filtering.FunctionEquals && op != filtering.FunctionNotEquals {
		return none, app.InvalidField("filter", "%s can only be compared with = and !=", name)
	}
	value, ok := literal(args[1])
	if !ok {
		return none, app.InvalidField("filter", "put a value in quotes on the right of %s %s", name, op)
	}
	read, err := field.read(value)
	if err != nil {
		return none, app.InvalidField("filter", "%s: %s", name, err)
	}
	if field.to != "" {
		name = field.to
	}
	return app.Condition{Field: name, Op: op, Value: read}, nil
}

// literal is a value as it was written; words need no quotes.
func literal(e *expr.Expr) (string, bool) {
	if ident := e.GetIdentExpr(); ident != nil {
		return ident.GetName(), true
	}
	switch c := e.GetConstExpr().GetConstantKind().(type) {
	case *expr.Constant_StringValue:
		return c.StringValue, true
	case *expr.Constant_Int64Value:
		return fmt.Sprint(c.Int64Value), true
	case *expr.Constant_BoolValue:
		return fmt.Sprint(c.BoolValue), true
	}
	return "", false
}
