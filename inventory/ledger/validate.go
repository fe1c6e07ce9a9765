package ledger

import (
	"fmt"

	"millbase/inventory/mass"
)

// Kinds lists every kind of movement.
var Kinds = []Kind{Receipt, Issue, Production, Adjustment, Transfer, Return, Scrap, Reversal}

// Valid reports whether k is one of Kinds.
func (k Kind) Valid() bool {
	for _, known := range Kinds {
		if k == known {
			return true
		}
	}
	return false
}

// Validate checks a movement that was not built here (read from a file, say):
// ErrShape for an unknown kind or account, a stock account without a location or
// another with one, no entries, a reversal that names nothing; ErrQuantity for
// an entry of nothing or of too much; ErrUnbalanced when the sum is not zero.
func (m Movement) Validate() error {
	if !m.Kind.Valid() || len(m.Entries) == 0 || (m.Kind == Reversal) != (m.Reverses != "") {
		return fmt.Errorf("%w: kind %q with %d entries", ErrShape, m.Kind, len(m.Entries))
	}
	var sum mass.Mass
	for i, e := range m.Entries {
		if err := e.validate(); err != nil {
			return fmt.Errorf("entry %d: %w", i+1, err)
		}
		if sum += e.Quantity; sum > entriesMax || sum < -entriesMax {
			return ErrUnbalanced // before it can overflow
		}
	}
	if sum != 0 {
		return fmt.Errorf("%w: the sum is %s", ErrUnbalanced, sum)
	}
	return nil
}

// entriesMax bounds a running sum: far above what a plant has, far below an
// overflow.
const entriesMax = 1000 * mass.Max

func (e Entry) validate() error {
	switch e.Account.Kind {
	case Stock, Supplier, BatchInProcess, Scrapped, CountDifference, Customer:
	default:
		return fmt.Errorf("%w: account %q", ErrShape, e.Account.Kind)
	}
	if e.Lot == "" || (e.Account.Kind == Stock) != (e.Account.Location != "") {
		return fmt.Errorf("%w: a lot, and a location for stock only", ErrShape)
	}
	if e.Quantity == 0 || e.Quantity > mass.Max || e.Quantity < -mass.Max {
		return fmt.Errorf("%w: got %s", ErrQuantity, e.Quantity)
	}
	return nil
}

// Moved is the movement's lot, its place and its quantity as a person would name
// them: what was received, issued, counted more (or less), moved on, made.
func (m Movement) Moved() (at Place, quantity mass.Mass) {
	for _, e := range m.Entries {
		if e.Account.Kind != Stock {
			continue
		}
		at, quantity = Place{e.Lot, e.Account.Location}, e.Quantity
		if m.Kind == Transfer && quantity > 0 {
			continue
		}
		break
	}
	if m.Kind != Adjustment && m.Kind != Reversal && quantity < 0 {
		quantity = -quantity
	}
	return at, quantity
}
