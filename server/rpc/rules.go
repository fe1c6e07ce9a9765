package rpc

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"millbase/server/app"
)

// rules checks messages against the rules in the .proto files.
type rules struct {
	once      sync.Once
	validator protovalidate.Validator
	err       error
}

// requestRules is compiled once, at the first use.
var requestRules rules

// ready compiles the rules of every message of this API.
func (r *rules) ready() error {
	r.once.Do(func() {
		var all []protoreflect.MessageDescriptor
		protoregistry.GlobalFiles.RangeFilesByPackage("millbase.v1", func(file protoreflect.FileDescriptor) bool {
			for i := range file.Messages().Len() {
				all = append(all, file.Messages().Get(i))
			}
			return true
		})
		r.validator, r.err = protovalidate.New(protovalidate.WithMessageDescriptors(all...))
	})
	return r.err
}

// check returns app.Invalid with every rule that m breaks. Field names are
// preceded by within.
func (r *rules) check(m proto.Message, within string, options ...protovalidate.ValidationOption) error {
	if err := r.ready(); err != nil {
		return err
	}
	err := r.validator.Validate(m, options...)
	var failed *protovalidate.ValidationError
	if !errors.As(err, &failed) {
		return err
	}
	var out app.Invalid
	for _, v := range failed.Violations {
		out = append(out, app.FieldError{Field: within + protovalidate.FieldPathString(v.Proto.GetField()), Problem: explain(v)})
	}
	return out
}

// validated refuses requests that break a rule. The resource of an update is not
// looked at here but when it is complete, with the patch laid over what stands
// in the book (see applyMask).
func validated(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	m, ok := req.(proto.Message)
	if !ok || open(info.FullMethod) {
		return handler(ctx, req)
	}
	var err error
	if patched := patchedField(m.ProtoReflect().Descriptor()); patched == nil || !m.ProtoReflect().Has(patched) {
		err = requestRules.check(m, "")
	} else {
		err = requestRules.check(m, "", protovalidate.WithFilter(without{patched}))
	}
	if err != nil {
		return nil, statusOf(ctx, err, nil)
	}
	return handler(ctx, req)
}

// patchedField is the resource of an update with a mask; nil for other requests.
func patchedField(d protoreflect.MessageDescriptor) protoreflect.FieldDescriptor {
	if d.Fields().ByName("update_mask") == nil {
		return nil
	}
	for i := range d.Fields().Len() {
		if field := d.Fields().Get(i); field.Name() != "update_mask" && field.Message() != nil {
			return field
		}
	}
	return nil
}

// without leaves one field unchecked.
type without struct{ field protoreflect.FieldDescriptor }

func (w without) ShouldValidate(_ protoreflect.Message, d protoreflect.Descriptor) bool {
	return d.FullName() != w.field.FullName()
}

// explain says in words what to change.
func explain(v *protovalidate.Violation) string {
	rule, value := v.Proto.GetRuleId(), v.RuleValue
	_, kind, _ := strings.Cut(rule, ".")
	switch {
	case rule == "required":
		return "must be given"
	case rule == "string.pattern":
		return patternHint(value.String())
	case rule == "string.uuid" || rule == "string.uuid_empty":
		return "must be a UUID, such as 0190f2c4-7f4e-7c1a-9d3e-5b6a7c8d9e0f"
	case kind == "finite":
		return "must be a finite number"
	case kind == "defined_only" || rule == "enum.not_in":
		return enumHint(v.FieldDescriptor)
	case kind == "min_items" || rule == "string.min_len":
		return "must not be empty"
	case kind == "max_items" || kind == "max_pairs":
		return fmt.Sprintf("has too many entries; at most %v", value)
	case kind == "max_len":
		return fmt.Sprintf("is too long; at most %v characters", value)
	}
	return v.Proto.GetMessage()
}

func enumHint(field protoreflect.FieldDescriptor) string {
	if field == nil || field.Enum() == nil {
		return "must be one of the values of the API"
	}
	var names []string
	for i := range field.Enum().Values().Len() {
		if value := field.Enum().Values().Get(i); value.Number() != 0 {
			names = append(names, string(value.Name()))
		}
	}
	return "must be one of " + strings.Join(names, ", ")
}

// patternHints say in words what the patterns in the .proto files ask for.
var patternHints = map[string]string{
	`^[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?$`:             "use 1 to 63 lower-case letters, digits and hyphens, with a letter or digit at both ends",
	`^[0-9]{4}-[0-9]{2}-[0-9]{2}$`:                     "write a date like 2026-03-31",
	`^[A-Z]{3}$`:                                       "give the three capital letters of ISO 4217, such as EUR",
	`^[0-9]{1,2}(\.[0-9]{1,6})?$`:                      "write a percentage below 100 as a plain decimal number, such as 4.5",
	`^[0-9]{1,3}(\.[0-9]{1,6})?$`:                      "write a percentage as a plain decimal number, such as 4.5",
	`^[0-9]{1,12}(\.[0-9]{1,12})?$`:                    "write a plain decimal number of zero or more, such as 4.5",
	`^P[A-Z][A-Za-z]?[0-9]+(:[0-9]+)?$`:                "give the Colour Index generic name of the pigment, such as PB15:3",
	`^[a-z][a-z0-9]*(_[a-z0-9]+)+$`:                    "use lower-case words joined by underscores, the unit last, such as gloss_units",
	`^[a-z]{2,30}$`:                                    "give the name of the metal in lower-case letters, such as cobalt",
	`^([01][0-9]|2[0-3]):[0-5][0-9]$`:                  "write a time of day like 06:00",
	`^(([01][0-9]|2[0-3]):[0-5][0-9]|24:00)$`:          "write a time of day like 14:00; 24:00 is the end of the day",
	`^suppliers/([a-z0-9-]+|-)$`:                       "write it like suppliers/..., or suppliers/- for all",
	`^suppliers/[a-z0-9-]+/offers/[a-z0-9-]+$`:         "write it like suppliers/.../offers/...",
	`^suppliers/[a-z0-9-]+/offers/[a-z0-9-]+/outlook$`: "write it like suppliers/.../offers/.../outlook",
	`^lots/[a-z0-9-]+/tests/[a-z0-9-]+$`:               "write it like lots/.../tests/...",
	`^[0-9]{1,2}(\.[0-9]{1,3})?$`:                      "write a number below 100 with at most three decimals, such as 0.5",
	`^formulas/[a-z0-9-]+(@[0-9]{1,6})?$`:              "write it like formulas/... or, for one revision, formulas/...@3",
	`^quotes/[a-z0-9-]+(@[0-9]{1,6})?$`:                "write it like quotes/... or, for one revision, quotes/...@3",
	`^(purchaseOrders|batches)/[a-z0-9-]+$`:            "write it like purchaseOrders/... or batches/...",
	`^formulas/[a-z0-9-]+@[0-9]{1,6}$`:                 "name a revision, like formulas/...@3",
}

func patternHint(pattern string) string {
	if hint, ok := patternHints[pattern]; ok {
		return hint
	}
	if collection, rest, ok := strings.Cut(strings.TrimPrefix(pattern, "^"), "/"); ok {
		switch rest {
		case "[a-z0-9-]+$", "[a-z0-9_]+$":
			return "write it like " + collection + "/..."
		case "[0-9a-f-]{36}$":
			return "write it like " + collection + "/ followed by a UUID"
		}
	}
	return "does not have the form of the pattern " + pattern
}
