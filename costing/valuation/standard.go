package valuation

import (
	"fmt"
	"time"

	"millbase/costing/money"
	"millbase/inventory/mass"
)

// StandardPrice is the plant's standard cost of a material from a day on, until
// a later one takes over.
type StandardPrice struct {
	ID   string
	From time.Time
	Cost money.PerKg
}

// StandardOn is the standard in force at that moment: the latest From that is
// not after it, the later in the list on a tie. ErrNoStandard when there is none.
func StandardOn(list []StandardPrice, on time.Time) (StandardPrice, error) {
	found := -1
	for i, s := range list {
		if !s.From.After(on) && (found < 0 || !s.From.Before(list[found].From)) {
			found = i
		}
	}
	if found < 0 {
		return StandardPrice{}, fmt.Errorf("%w: %s", ErrNoStandard, on.Format(time.DateOnly))
	}
	return list[found], nil
}

// PriceVariance is what a purchase cost above (positive) or below its standard:
// (actual - standard) x mass.
func PriceVariance(actual, standard money.PerKg, bought mass.Mass) (money.Money, error) {
	return actual.Of(bought).Sub(standard.Of(bought))
}
