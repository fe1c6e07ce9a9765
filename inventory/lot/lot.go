package lot

import (
	"time"

	"millbase/inventory/property"
)

// Status is where quality control left the lot.
type Status string

// The statuses. Expired is not one of them: it follows from the date.
const (
	Quarantined Status = "quarantined"
	Released    Status = "released"
	Held        Status = "held"
	Rejected    Status = "rejected"
)

// Valid reports whether s is a known status.
func (s Status) Valid() bool {
	return s == Quarantined || s == Released || s == Held || s == Rejected
}

// Lot is one lot of one material. Dates are calendar dates at midnight UTC.
type Lot struct {
	ID           string
	Material     string // id of the material
	SupplierLot  string // the supplier's own lot number
	Supplier     string // id; empty for a lot made here
	Status       Status
	Certificate  property.Set // overrides the material's nominal values
	Tested       property.Set // results of quality control that count; they go before the certificate
	Deviations   property.Set // standard deviations, overrides the material's
	ReceivedDate time.Time
	ExpiryDate   time.Time // zero: does not expire
	// Batch is the id of the batch that made the lot; empty for a bought one.
	Batch string
	Note  string
}

// Values are what is known of the lot itself: test results, else the certificate.
func (l Lot) Values() property.Set {
	if len(l.Tested) == 0 {
		return l.Certificate
	}
	return l.Certificate.Merge(l.Tested)
}

// ExpiredOn reports whether the lot may no longer be used on the date: its last
// day of use is the expiry date itself.
func (l Lot) ExpiredOn(date time.Time) bool {
	return !l.ExpiryDate.IsZero() && date.After(l.ExpiryDate)
}

// UsableOn reports whether the lot may go into an ink on the date, and if not
// why, in words for people.
func (l Lot) UsableOn(date time.Time) (ok bool, why string) {
	if l.Status != Released {
		return false, string(l.Status)
	}
	if l.ExpiredOn(date) {
		return false, "expired on " + l.ExpiryDate.Format(time.DateOnly)
	}
	return true, ""
}
