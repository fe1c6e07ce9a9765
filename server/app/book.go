package app

import (
	"context"
	"sync/atomic"
	"time"

	"millbase/solver"
)

// Clock tells the time; tests set their own.
type Clock func() time.Time

// Book is the plant's book with its use cases, each in a file of its own.
type Book struct {
	store  Store
	engine solver.Engine
	clock  Clock
	kept   atomic.Pointer[keptBook] // the last repriced book

	keptStock atomic.Pointer[keptStock]
	keptRoom  atomic.Pointer[keptRoom]
	keptPlans atomic.Pointer[keptPlans]
}

// New wires the use cases to a store, a solver engine and a clock.
func New(store Store, engine solver.Engine, clock Clock) *Book {
	return &Book{store: store, engine: engine, clock: clock}
}

// Role names who a caller is; the names are those of the proto enum Role in
// lower case.
type Role string

// The roles.
const (
	OrderDesk  Role = "order_desk"
	Purchasing Role = "purchasing"
	InkMaker   Role = "ink_maker"
	Quality    Role = "quality"
	Floor      Role = "floor"
	Admin      Role = "admin"
)

// SeesCost reports whether the role may see what things cost.
func (r Role) SeesCost() bool { return r == Purchasing || r == InkMaker || r == Admin }

// SeesFormula reports whether the role may see what an ink is made of.
func (r Role) SeesFormula() bool { return r != OrderDesk && r != "" }

// ReadsFormulas reports whether the role may read the formula book.
func (r Role) ReadsFormulas() bool { return r == InkMaker || r == Quality || r == Admin }

// Caller is who calls: the API key and its role.
type Caller struct {
	Key   string // id of the key
	Title string
	Role  Role
}

type callerKey struct{}

// WithCaller puts the caller into the context.
func WithCaller(ctx context.Context, c Caller) context.Context {
	return context.WithValue(ctx, callerKey{}, c)
}

// CallerOf returns the caller of the context; the zero Caller when there is none.
func CallerOf(ctx context.Context) Caller {
	c, _ := ctx.Value(callerKey{}).(Caller)
	return c
}

// today is the calendar date at the plant, at midnight UTC.
func (b *Book) today(p Plant) (time.Time, error) {
	zone, err := time.LoadLocation(p.TimeZone)
	if err != nil {
		return time.Time{}, InvalidField("time_zone", "time zone %q is not known; use an IANA name such as Europe/Lisbon", p.TimeZone)
	}
	y, m, d := b.clock().In(zone).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC), nil
}
