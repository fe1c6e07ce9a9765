package inventory

import (
	"fmt"
	"regexp"

	"millbase/inventory/mass"
	"millbase/inventory/property"
)

// Class says what a material is for. The words are those of the trade.
type Class string

// The classes of material.
const (
	Pigment   Class = "pigment"
	Varnish   Class = "varnish"
	Oil       Class = "oil" // oils and solvents (distillates)
	Drier     Class = "drier"
	Wax       Class = "wax"
	Additive  Class = "additive"
	BaseInk   Class = "base_ink" // a dispersion or finished base that inks are made from
	WorkOff   Class = "work_off" // leftover ink to be worked back in
	Ink       Class = "ink"      // finished ink
	Packaging Class = "packaging"
)

// Classes lists every class in the order in which a formula is weighed.
var Classes = []Class{Varnish, Oil, Pigment, BaseInk, WorkOff, Wax, Drier, Additive, Ink, Packaging}

// Valid reports whether c is one of Classes.
func (c Class) Valid() bool {
	for _, k := range Classes {
		if c == k {
			return true
		}
	}
	return false
}

// Material is a kind of thing that the plant buys, makes or packs in.
type Material struct {
	ID         string // resource id: lower-case letters, digits, hyphens
	Title      string
	Class      Class
	Properties property.Set // nominal values; a lot's certificate overrides them
	// Deviations are standard deviations of values of a lot, by key, where its own
	// certificate gives none.
	Deviations property.Set
	// ColourIndex is the Colour Index generic name of a pigment ("PB15:3").
	ColourIndex string
	// ShelfLifeDays is the usual life after receipt or production; 0 is unknown.
	ShelfLifeDays int
	// SafetyStock is the stock below which purchasing wants to hear of it.
	SafetyStock mass.Mass
	Ordering    Ordering
	Cautions    []string // hazard notes shown on the ticket
	Archived    bool
}

// LotRule says how what is lacking becomes orders.
type LotRule string

// The lot rules. Unset is one order for all that is lacking as far as one looks.
const (
	LotForLot  LotRule = "lot_for_lot" // each lack on its own
	FixedLot   LotRule = "fixed_lot"   // whole lots of Ordering.Lot
	PeriodLots LotRule = "period_lots" // what is lacking within Ordering.PeriodDays
)

// Ordering is how purchasing orders a material. The smallest order and the pack
// are the supplier's. Days are calendar days.
type Ordering struct {
	Rule       LotRule
	Lot        mass.Mass // fixed lots
	PeriodDays int       // period lots
	// LeadTimeDays are counted on where neither the offer nor its supplier says.
	LeadTimeDays int
	// SafetyTimeDays is how long before it is needed an order is to be there.
	SafetyTimeDays int
	// FenceDays are the days from today into which no new order is planned.
	FenceDays int
}

var idPattern = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?$`)

// CheckID reports whether id can name a resource: 1 to 63 lower-case letters,
// digits and hyphens, with a letter or digit at both ends (AIP-122).
func CheckID(id string) error {
	if !idPattern.MatchString(id) {
		return fmt.Errorf("id %q: use 1 to 63 lower-case letters, digits and hyphens, with a letter or digit at both ends", id)
	}
	return nil
}
