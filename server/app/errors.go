package app

import (
	"errors"
	"fmt"
	"strings"
)

// Sentinels that a use case's error wraps. Package rpc maps each to one status
// code.
var (
	ErrNotFound  = errors.New("not found")
	ErrExists    = errors.New("already exists")
	ErrStale     = errors.New("changed since it was read")
	ErrIDReused  = errors.New("request id used before with other content")
	ErrConflict  = errors.New("the book does not allow it") // a ledger rule: not enough on hand, reserved, wrong status
	ErrNotReady  = errors.New("not in a state for this")
	ErrForbidden = errors.New("not allowed")
	ErrBusy      = errors.New("too busy, try again") // a retry may succeed
)

// Fault is an error with a sentence for the caller that says what to change, and
// optionally the thing it is about. It wraps one of the sentinels.
type Fault struct {
	Kind     error  // one of the sentinels
	Reason   string // UPPER_SNAKE for google.rpc.ErrorInfo: "NEGATIVE_BALANCE"
	Resource string // "lots/l-1042"
	Message  string // a sentence
}

func (f *Fault) Error() string { return f.Message }

// Unwrap gives the sentinel.
func (f *Fault) Unwrap() error { return f.Kind }

// Faultf builds a Fault.
func Faultf(kind error, reason, resource, format string, args ...any) *Fault {
	return &Fault{Kind: kind, Reason: reason, Resource: resource, Message: fmt.Sprintf(format, args...)}
}

// FieldError says what is wrong with one field of a request.
type FieldError struct {
	Field   string // path in the request: "limits[2].upper"
	Problem string // a sentence that says what to change
}

// Invalid is a request that can't be carried out as it stands.
type Invalid []FieldError

func (v Invalid) Error() string {
	parts := make([]string, len(v))
	for i, f := range v {
		parts[i] = f.Field + ": " + f.Problem
	}
	return strings.Join(parts, "; ")
}

// InvalidField builds an Invalid of one field.
func InvalidField(field, format string, args ...any) Invalid {
	return Invalid{{Field: field, Problem: fmt.Sprintf(format, args...)}}
}
