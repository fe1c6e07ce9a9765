package plan

import (
	"time"

	"millbase/inventory"
	"millbase/inventory/property"
	"millbase/solver/formulation"
)

// Problem is all that is to be planned together.
type Problem struct {
	Catalogue formulation.Catalogue
	Settings  formulation.Settings
	Currency  string
	Periods   []Period // at least one, at most 120
	Materials []Material
	Supplies  []Supply
	Offers    []Offer
	Batches   []Batch
	Uses      []Use
	// Gap is the relative gap at which the search over whole numbers may stop; 0
	// means 0.01.
	Gap float64
	// TimeLimit bounds the whole search over whole numbers; 0: one minute. Below 0
	// orders are rounded up and nothing is searched.
	TimeLimit time.Duration
}

// Period is a week, a day or a month.
type Period struct {
	Name string // "2026-W49", the first day: for words only
	// Budget is the most that may be spent on orders placed in the period, money;
	// below 0: no limit.
	Budget float64
}

// Material is what supplies and offers are of.
type Material struct {
	ID, Title   string
	Class       inventory.Class
	ColourIndex string
	// StorageCost is money per kg that lies in store at the end of a period.
	StorageCost float64
	// StorageMost is the most that may lie in store at the end of a period, kg;
	// below 0: no limit.
	StorageMost float64
	// ClosingLeast is what must be in store at the end of the last period, kg.
	ClosingLeast float64
	// SafetyStock is wanted in store at the end of every period, kg; what it is short
	// of costs SafetyPenalty per kg and period.
	SafetyStock, SafetyPenalty float64
}

// Supply is a lot in store, or what an open order or a planned batch will bring.
type Supply struct {
	ID         string
	Material   int // index into Materials
	Properties property.Set
	Kg         float64
	// CostPerKg is what using a kilogram counts as: money per kg.
	CostPerKg float64
	// From is the first period in which it can be used, Until the last one (its
	// shelf life); Until beyond the last period: no end.
	From, Until int
	// Batch is the batch that makes it, as index into Batches; -1 for none. Kg is what
	// the whole of that batch brings (its Kg, or where that is 0 its Most): less than
	// it where some is lost on the way. Only as much of it as is made can be used, and From counts from the period in which the
	// batch is made.
	Batch int
	// ScrapCost is what a kilogram costs that is left when Until is over.
	ScrapCost float64
}

// Offer is something that can be bought in any period.
type Offer struct {
	ID, Title  string
	Material   int
	Properties property.Set
	// Price is money per kg, delivered, for an order placed in each period; NaN where
	// none can be placed. One per period.
	Price []float64
	// Breaks are factors on Price from a quantity on, ascending, for the whole order:
	// none means 1 for any quantity.
	Breaks []Break
	// MinimumOrder and Pack in kg, 0 for none; MostPerPeriod below 0: no limit.
	MinimumOrder, Pack, MostPerPeriod float64
	// PerOrder is a charge for each order, money.
	PerOrder float64
	// Lead is the number of periods from the order to the first use: an order of
	// period t can be used from period t+Lead on.
	Lead int
	// ShelfLife is the number of periods in which a delivery can be used; 0: no end.
	ShelfLife int
	// SalvagePerKg is what a kilogram counts as that is still in date at the end of
	// the last period: money per kg.
	SalvagePerKg float64
}

// Break is a price from a quantity on.
type Break struct {
	From   float64 // kg
	Factor float64 // of the price
}

// Batch is ink, or a base ink, to be made.
type Batch struct {
	ID, Title string
	// Kg is the ink that is to be made. With Most above Kg, any amount from Kg to
	// Most may be made.
	Kg, Most float64
	// Worth is what a kilogram made brings, money.
	Worth float64
	// Earliest and Due are the first period in which it can be made and the one in
	// which it should be; it may be made up to MostLate periods later, at LatePerKg
	// money per kg and period, or partly or wholly not at all, at UnmadePerKg.
	Earliest, Due, MostLate int
	LatePerKg, UnmadePerKg  float64
	// Limits are those of its specification; a fixed formula is limits on shares.
	Limits []formulation.Limit
	// Supplies and Offers are those that may go into it, as indices; nil:
	// all.
	Supplies, Offers []int
}

// whole is the quantity that a supply from the batch is counted on.
func (b *Batch) whole() float64 {
	if b.Kg > 0 {
		return b.Kg
	}
	return b.Most
}

// Use limits how much of some materials may be used in all batches together in
// each period: what a machine can work up, say.
type Use struct {
	ID, Title string
	Materials []int
	Most      []float64 // kg, one per period; below 0: no limit
}
