package allocation

import (
	"errors"
	"fmt"
	"sort"
	"time"

	"millbase/inventory/mass"
)

// ErrInput is the answer to a demand or a lot that makes no sense; its text
// says what to change.
var ErrInput = errors.New("allocation: bad input")

// Status is the quality status of a lot.
type Status uint8

// The statuses. Only a released lot may be used.
const (
	Quarantined Status = iota // the zero value: not yet tested
	Released
	Held
	Rejected
)

// Lot is one lot of a material with what is on hand and what of it is reserved.
type Lot struct {
	ID       string
	Material string
	Status   Status
	OnHand   mass.Mass
	Reserved mass.Mass
	Received time.Time
	Expiry   time.Time // first moment at which it is expired; zero: never
}

// Free is what is on hand and not reserved, never below zero.
func (l Lot) Free() mass.Mass { return max(l.OnHand-l.Reserved, 0) }

// Demand is a mass of a material for a day of use.
type Demand struct {
	ID       string
	Material string
	Mass     mass.Mass
	On       time.Time
	// KeepFor is how long a lot must still last from On.
	KeepFor time.Duration
	// OneLot asks for a single lot that covers the demand (a shade that must not
	// vary within a batch): all or nothing.
	OneLot bool
	// Exclude are lots that must not be used, by id, with the reason.
	Exclude map[string]string
}

// Pick is a mass taken from a lot.
type Pick struct {
	Lot  string
	Mass mass.Mass
}

// Reason says why a lot was passed over.
type Reason uint8

// The reasons.
const (
	NotReleased Reason = iota + 1 // quarantined, held or rejected
	Expired                       // on the day of use
	TooOld                        // expires before KeepFor is over
	AllReserved                   // nothing of it is free
	Empty                         // nothing on hand
	Excluded                      // by the caller
	TooSmall                      // OneLot, and it does not cover the demand
	NotNeeded                     // later in the order; the demand was covered
)

var reasons = [...]string{NotReleased: "not released", Expired: "expired on the day of use", TooOld: "does not last long enough",
	AllReserved: "all reserved", Empty: "empty", Excluded: "excluded", TooSmall: "too small for the whole demand", NotNeeded: "not needed"}

// String is the reason in words.
func (r Reason) String() string {
	if r >= NotReleased && int(r) < len(reasons) {
		return reasons[r]
	}
	return fmt.Sprintf("reason %d", uint8(r))
}

// Skip is a lot that was passed over.
type Skip struct {
	Lot    string
	Reason Reason
	Free   mass.Mass // what it would have given
	Note   string    // the caller's reason, with Excluded
}

// Allocation is the answer for one demand. Allocated + Shortfall is the demand.
type Allocation struct {
	Demand    string
	Picks     []Pick // in the order to take them
	Skipped   []Skip // in the same order
	Allocated mass.Mass
	Shortfall mass.Mass
}

// Allocate covers one demand from the lots of its material; lots of other
// materials are ignored. Nothing is changed: reserving is the caller's.
func Allocate(d Demand, lots []Lot) (Allocation, error) {
	all, err := AllocateAll([]Demand{d}, lots)
	if err != nil {
		return Allocation{}, err
	}
	return all[0], nil
}

// AllocateAll covers demands one after the other, in the order given, each from
// what those before it have left. ErrInput on a demand of nothing, negative
// masses, or a lot that is listed twice.
func AllocateAll(demands []Demand, lots []Lot) ([]Allocation, error) {
	free := make(map[string]mass.Mass, len(lots))
	byMaterial := map[string][]Lot{}
	for _, l := range lots {
		if _, twice := free[l.ID]; twice {
			return nil, fmt.Errorf("%w: lot %q is listed twice", ErrInput, l.ID)
		}
		if l.OnHand < 0 || l.Reserved < 0 {
			return nil, fmt.Errorf("%w: lot %q has %s on hand and %s reserved", ErrInput, l.ID, l.OnHand, l.Reserved)
		}
		free[l.ID] = l.Free()
		byMaterial[l.Material] = append(byMaterial[l.Material], l)
	}
	for _, group := range byMaterial {
		sort.Slice(group, func(a, b int) bool { return before(group[a], group[b]) })
	}
	out := make([]Allocation, 0, len(demands))
	for _, d := range demands {
		if d.Mass <= 0 || d.KeepFor < 0 {
			return nil, fmt.Errorf("%w: demand %q for %s must be above zero", ErrInput, d.ID, d.Mass)
		}
		out = append(out, allocate(d, byMaterial[d.Material], free))
	}
	return out, nil
}

func allocate(d Demand, lots []Lot, free map[string]mass.Mass) Allocation {
	a := Allocation{Demand: d.ID, Shortfall: d.Mass}
	for _, l := range lots {
		available := free[l.ID]
		if why, note := d.reject(l, available); why != 0 {
			a.Skipped = append(a.Skipped, Skip{l.ID, why, available, note})
			continue
		}
		if a.Shortfall == 0 {
			a.Skipped = append(a.Skipped, Skip{Lot: l.ID, Reason: NotNeeded, Free: available})
			continue
		}
		take := min(available, a.Shortfall)
		free[l.ID] -= take
		a.Allocated += take
		a.Shortfall -= take
		a.Picks = append(a.Picks, Pick{l.ID, take})
	}
	return a
}

func (d Demand) reject(l Lot, available mass.Mass) (Reason, string) {
	note, excluded := d.Exclude[l.ID]
	switch {
	case excluded:
		return Excluded, note
	case l.OnHand == 0:
		return Empty, ""
	case l.Status != Released:
		return NotReleased, ""
	case !l.Expiry.IsZero() && !l.Expiry.After(d.On):
		return Expired, ""
	case !l.Expiry.IsZero() && l.Expiry.Before(d.On.Add(d.KeepFor)):
		return TooOld, ""
	case available == 0:
		return AllReserved, ""
	case d.OneLot && available < d.Mass:
		return TooSmall, ""
	}
	return 0, ""
}

// before is the order of first expired, first out.
func before(a, b Lot) bool {
	switch {
	case a.Expiry.IsZero() != b.Expiry.IsZero():
		return b.Expiry.IsZero()
	case !a.Expiry.Equal(b.Expiry):
		return a.Expiry.Before(b.Expiry)
	case !a.Received.Equal(b.Received):
		return a.Received.Before(b.Received)
	}
	return a.ID < b.ID
}
