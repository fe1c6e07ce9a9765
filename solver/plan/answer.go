package plan

import "millbase/solver/certify"

// Outcome is how a planning ended.
type Outcome string

// The outcomes. There is always a plan: a batch that can't be made is left unmade
// at its penalty, and said to be.
const (
	Optimal  Outcome = "optimal"  // within Problem.Gap of the best
	Feasible Outcome = "feasible" // the time was up before that was proved: see Plan.Gap
)

// Plan is the answer.
type Plan struct {
	Outcome Outcome
	// Cost is the objective, money: lots used, orders, storage, scrap, penalties, less
	// worth and salvage. Bound is proved: no plan costs less. Gap is their distance as
	// a part of Cost.
	Cost, Bound, Gap float64
	Parts            Parts
	Batches          []BatchPlan
	Orders           []Order
	// Worth is what one more kilogram of a supply would save, money per kg, for those
	// that are used up; what one more kilogram would cost beyond its price.
	Worth []Scarce
	// BudgetPrice is what one more unit of money in a period's budget would save.
	BudgetPrice []float64
	// Stock is the kilograms in store at the end of each period, per material.
	Stock   [][]float64
	Size    Size
	Proof   certify.Certificate // of the linear program with the orders as they are
	Assumed []string
}

// Parts are what Cost is made of, money.
type Parts struct {
	Lots, Orders, Charges, Storage, Scrap, Late, Unmade, Safety, Worth, Salvage float64
}

// BatchPlan is one batch.
type BatchPlan struct {
	Batch int
	// Made is kg per run: a batch may be made in several periods where that is
	// cheaper or quicker.
	Runs []Run
	// Unmade is the kg that can't be made, and Why in words.
	Unmade float64
	Why    string
	// CostPerKg is of what is used, at lot costs and order prices, money.
	CostPerKg float64
	// Marginal is what one more kilogram of the batch would cost the plan, money.
	Marginal float64
}

// Run is what is made of a batch in one period.
type Run struct {
	Period     int
	Kg         float64
	Components []Component
}

// Component is what goes into a run.
type Component struct {
	Supply, Offer int     // index, the other one is -1
	Kg            float64 // put in
}

// Order is a suggested purchase.
type Order struct {
	Offer      int
	Period     int // in which it is to be placed
	Arrival    int
	Kg         float64
	PricePerKg float64 // with its break
	For        []int   // batches that use it
}

// Scarce is a supply that is worth more than it costs.
type Scarce struct {
	Supply, Offer int // index, the other one is -1
	PerKg         float64
}

// Size is how large the problem was.
type Size struct {
	Columns, Rows, Integers int // Integers of the search for whole orders, 0 without one
	Merged                  int // supplies that were merged with others like them
	Iterations              int
}
