package netting

import (
	"errors"
	"fmt"

	"millbase/inventory/mass"
)

// ErrInput is the answer to figures that cannot be netted; its text says what
// to change.
var ErrInput = errors.New("netting: bad input")

// Kind names how a net requirement becomes an order.
type Kind uint8

// The lot rules.
const (
	LotForLot  Kind = iota // exactly what is missing
	FixedLot               // a whole number of lots of Rule.Lot
	PeriodLots             // what is missing until the end of Rule.Periods buckets
)

// Rule is a lot rule with the supplier's conditions. Minimum and Multiple apply
// on top of each kind, the minimum first.
type Rule struct {
	Kind     Kind
	Lot      mass.Mass // FixedLot
	Periods  int       // PeriodLots: buckets that one order covers, its own included
	Minimum  mass.Mass // smallest order; 0: none
	Multiple mass.Mass // pack size; 0: any mass
}

func (r Rule) check() error {
	switch {
	case r.Kind > PeriodLots:
		return fmt.Errorf("%w: unknown lot rule %d", ErrInput, r.Kind)
	case r.Kind == FixedLot && (r.Lot <= 0 || r.Lot > mass.Max):
		return fmt.Errorf("%w: a fixed lot must be above zero, got %s", ErrInput, r.Lot)
	case r.Kind == PeriodLots && r.Periods < 1:
		return fmt.Errorf("%w: period lots must cover at least one bucket, got %d", ErrInput, r.Periods)
	case r.Minimum < 0 || r.Multiple < 0 || r.Minimum > mass.Max || r.Multiple > mass.Max:
		return fmt.Errorf("%w: minimum order and pack size must not be negative", ErrInput)
	}
	return nil
}

// lots makes a net requirement above zero into whole lots.
func (r Rule) lots(net mass.Mass) mass.Mass {
	if r.Kind == FixedLot {
		net = net.RoundTo(r.Lot, mass.RoundCeil)
	}
	return net
}

// size makes a net requirement above zero into an order.
func (r Rule) size(net mass.Mass) mass.Mass {
	net = max(r.lots(net), r.Minimum)
	if r.Multiple > 0 {
		net = net.RoundTo(r.Multiple, mass.RoundCeil)
	}
	return net
}
