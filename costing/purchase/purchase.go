package purchase

import (
	"time"

	"github.com/shopspring/decimal"

	"millbase/inventory/mass"
)

// Supplier is someone who delivers materials.
type Supplier struct {
	ID           string
	Title        string
	Currency     string // ISO 4217
	LeadTimeDays int    // usual days from order to delivery, calendar days
	Contact      string
	Archived     bool
}

// Break is a price per kg that holds from a quantity on.
type Break struct {
	From       mass.Mass
	PricePerKg decimal.Decimal
}

// Offer is a supplier's standing offer of a material.
type Offer struct {
	ID           string // unique within the supplier
	Supplier     string
	Material     string
	Currency     string
	Breaks       []Break   // ascending; the first From is zero
	PackSize     mass.Mass // 0: any quantity
	MinimumOrder mass.Mass
	LeadTimeDays int
	FreightPerKg decimal.Decimal // in Currency
	DutyPercent  decimal.Decimal // of the price
	ValidFrom    time.Time       // calendar dates; zero: no end
	ValidUntil   time.Time
}

// OrderState is how far a purchase order is.
type OrderState string

// The states of a purchase order.
const (
	Draft        OrderState = "draft"
	Sent         OrderState = "sent"
	PartReceived OrderState = "part_received"
	Received     OrderState = "received"
	Cancelled    OrderState = "cancelled"
)

// Closing says why nothing more is to come of a line that lacks something.
type Closing string

// The ways in which a line is closed. Unset is open, or delivered whole.
const (
	WithinTolerance Closing = "within_tolerance" // so little lacks that it counts as whole
	ClosedShort     Closing = "short"            // someone said that no more is to come
)

// Line is one line of a purchase order.
type Line struct {
	Material   string
	Offer      string // id of the supplier's offer; may be empty
	Quantity   mass.Mass
	Received   mass.Mass // the sum of the deliveries that stand
	PricePerKg decimal.Decimal
	DueDate    time.Time // calendar date, midnight UTC
	Closing    Closing
	Deliveries []Delivery // in the order in which they were booked
}

// Delivery is what one receipt brought of a line.
type Delivery struct {
	Movement string // id of the receipt in the ledger
	Lot      string
	Quantity mass.Mass
	Date     time.Time // received, calendar date
	Reversed bool
}

// Order is a purchase order.
type Order struct {
	ID       string
	Supplier string
	Currency string
	State    OrderState
	Lines    []Line
	Note     string
	SentDate time.Time // calendar date; zero: a draft, or sent before it was kept
}

// Open is what is still to come of the line.
func (l Line) Open() mass.Mass {
	if l.Closing != "" {
		return 0
	}
	return max(0, l.Quantity-l.Received)
}
