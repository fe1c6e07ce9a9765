package purchase

import (
	"fmt"
	"time"

	"github.com/shopspring/decimal"
)

// PriceRecord is what an offer cost from the moment on that it was entered. Of the
// offer the prices alone are kept: material, currency, breaks, freight, duty and
// the dates between which it holds.
type PriceRecord struct {
	Offer
	Version int64 // of the offer
}

// Expected is a price per kg that is expected from a week on.
type Expected struct {
	Week       time.Time // a Monday, midnight UTC
	PricePerKg decimal.Decimal
}

// Outlook is what an offer is expected to cost, as the buyer sees it: the price of
// the first break, as the supplier asks it. Until the first week the offer's own
// price holds, after the last one that of the last.
type Outlook struct {
	Supplier string
	Offer    string // id within the supplier
	Currency string
	Weeks    []Expected // ascending
	Note     string
}

// Check says what is wrong with the weeks, by their place in the list; empty: nothing.
func (o Outlook) Check() map[int]string {
	bad := map[int]string{}
	for i, e := range o.Weeks {
		switch {
		case e.Week.Weekday() != time.Monday:
			monday := e.Week.AddDate(0, 0, -(int(e.Week.Weekday())+6)%7)
			bad[i] = fmt.Sprintf("%s is a %s; give the Monday of the week, %s", e.Week.Format(time.DateOnly), e.Week.Weekday(), monday.Format(time.DateOnly))
		case e.PricePerKg.Sign() <= 0:
			bad[i] = "the price must be above zero"
		case i > 0 && !e.Week.After(o.Weeks[i-1].Week):
			bad[i] = "the weeks must ascend"
		}
	}
	return bad
}

// On is the price that is expected on a date; ok is false where the offer's own
// price holds.
func (o Outlook) On(date time.Time) (price decimal.Decimal, ok bool) {
	for _, e := range o.Weeks {
		if e.Week.After(date) {
			break
		}
		price, ok = e.PricePerKg, true
	}
	return price, ok
}
