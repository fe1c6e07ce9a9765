package ledger

import (
	"time"

	"millbase/inventory/mass"
)

// Kind says what happened.
type Kind string

// The kinds of movement.
const (
	Receipt    Kind = "receipt"    // supplier -> stock
	Issue      Kind = "issue"      // stock -> batch in process, or customer
	Production Kind = "production" // batch in process -> stock, loss -> scrap
	Adjustment Kind = "adjustment" // stock <-> count difference
	Transfer   Kind = "transfer"   // stock -> stock at another location
	Return     Kind = "return"     // stock -> supplier, or batch in process -> stock
	Scrap      Kind = "scrap"      // stock -> scrap
	Reversal   Kind = "reversal"   // undoes another movement, entry by entry
)

// AccountKind says what kind of place mass can be in.
type AccountKind string

// The kinds of account.
const (
	Stock           AccountKind = "stock" // a lot at a location
	Supplier        AccountKind = "supplier"
	BatchInProcess  AccountKind = "batch"
	Scrapped        AccountKind = "scrap"
	CountDifference AccountKind = "count_difference"
	Customer        AccountKind = "customer"
)

// Account is where mass is. Party is the supplier, batch or customer id; it is
// empty for stock, scrap and count difference.
type Account struct {
	Kind     AccountKind
	Location string // Stock only
	Party    string
}

// Entry is one line of a movement: Quantity of Lot goes into (positive) or out
// of (negative) Account.
type Entry struct {
	Account  Account
	Lot      string
	Quantity mass.Mass
}

// ReservationUse says how much of a reservation the movement uses up.
type ReservationUse struct {
	Reservation string
	Quantity    mass.Mass
}

// Movement is one immutable fact of the ledger.
type Movement struct {
	ID       string // a UUID chosen by the client
	Kind     Kind
	Entries  []Entry
	Uses     []ReservationUse
	Reverses string // id of the movement undone by a Reversal
	Batch    string
	Note     string
	Actor    string    // who posted it: the name of the API key
	PostedAt time.Time // set by the database
}

// Reservation sets mass of a lot at a location aside.
type Reservation struct {
	ID        string // a UUID chosen by the client
	Lot       string
	Location  string
	Quantity  mass.Mass // as first reserved
	Remaining mass.Mass // not yet used or released
	Batch     string
	Note      string
	Actor     string
	CreatedAt time.Time
}

// Balance is what is on hand of a lot at a location.
type Balance struct {
	Lot      string
	Location string
	OnHand   mass.Mass
	Reserved mass.Mass
}

// Free is what is on hand and not reserved.
func (b Balance) Free() mass.Mass { return b.OnHand - b.Reserved }
