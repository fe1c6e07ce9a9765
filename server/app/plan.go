package app

import (
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/valuation"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/plan"
)

// PlanRequest asks for a joint plan: of the book, or of what stands in the request.
type PlanRequest struct {
	ID        string // empty: made up from the date
	Book      *PlanBook
	Inline    *InlinePlan
	Gap       float64 // 0: plan's own
	TimeLimit time.Duration
	// Changes are tried out on the book; the plan is compared to one without them
	// and not kept.
	Changes  []PlanChange
	Progress Progress // nil: nobody asks
}

// InlinePlan is a problem that needs nothing of the book. A batch's UnmadePerKg of
// NaN takes the usual penalty. An empty Currency is the plant's.
type InlinePlan struct {
	Problem    *plan.Problem
	Properties []property.Definition
}

// PlanBook says what of the book is planned, and how. A nil amount takes its usual
// value.
type PlanBook struct {
	Weeks        int             // 0: defaultWeeks
	PeriodDays   int             // 0: 7
	Basis        valuation.Basis // of lots; zero: a little under what they cost to buy again
	Storage      *money.PerKg    // at the end of each period
	Budget       *money.Money    // of each period
	Late         *money.PerKg    // for each period
	Unmade       *money.PerKg
	BelowSafety  *money.PerKg // at the end of each period
	PerOrder     *money.Money
	KeepFormulas bool
	Excluded     []string // names of lots, materials, offers, batches
	Batches      []string // ids; empty: all that are planned
	Forecasts    []PriceForecast
	Leftover     float64 // part of its price that what is left over counts as
}

// PriceForecast is a price from a day on: of a material's offers, a supplier's, or
// one offer.
type PriceForecast struct {
	Of      string // name
	From    time.Time
	Percent decimal.Decimal
	Price   *money.PerKg // as the supplier asks it, of the first break; nil: by Percent
}

// PlanChange is one thing that is other than the book has it; one of its parts is
// set.
type PlanChange struct {
	Order   string // comes Days later
	Days    int
	Of      string // a material, supplier or offer whose price moves by Percent
	Percent decimal.Decimal
	Lot     string // can't be used
	Batch   string // is due on DueDate
	DueDate time.Time
}

// PlanState is what has become of a plan.
type PlanState string

// The states of a plan.
const (
	PlanProposed PlanState = "proposed"
	PlanAccepted PlanState = "accepted"
)

// JointPlan is the answer to a PlanRequest. It is kept as JSON: the names in its
// tags are part of the stored data and never change their meaning. Amounts are in
// Currency.
type JointPlan struct {
	ID      string    `json:"-"` // empty: not kept
	State   PlanState `json:"-"`
	Version int64     `json:"-"`
	Created time.Time `json:"-"`

	Outcome  plan.Outcome    `json:"outcome"`
	Currency string          `json:"currency"`
	Date     time.Time       `json:"date"` // zero: of a problem in the request
	Periods  []PlanPeriod    `json:"periods"`
	Batches  []PlannedBatch  `json:"batches"`
	Orders   []PlannedOrder  `json:"orders"`
	Scarce   []ScarceSupply  `json:"scarce,omitempty"`
	Stock    []PlannedStock  `json:"stock,omitempty"`
	Cost     PlanCost        `json:"cost"`
	InTurn   decimal.Decimal `json:"in_turn_cost"` // of planning the batches one by one in due order
	Bound    decimal.Decimal `json:"bound"`
	Gap      float64         `json:"gap"`
	Size     plan.Size       `json:"size"`
	// Certified: the linear program's answer passed its check.
	Certified   bool            `json:"certified"`
	Assumptions []string        `json:"assumptions"`
	LeftOut     []LeftOut       `json:"left_out,omitempty"`
	Difference  *PlanDifference `json:"-"`
	Acceptance  *PlanAcceptance `json:"-"`
}

// PlanPeriod is one period of a plan.
type PlanPeriod struct {
	Title  string           `json:"title"`
	First  time.Time        `json:"first"` // zero: of a problem in the request
	Budget *decimal.Decimal `json:"budget,omitempty"`
	Spent  decimal.Decimal  `json:"spent"`
	Worth  float64          `json:"worth,omitempty"` // of one more unit of its budget
}

// PlannedBatch is what the plan makes of a batch.
type PlannedBatch struct {
	Batch         string          `json:"batch"` // name, or the id in the request
	Title         string          `json:"title"`
	Material      string          `json:"material,omitempty"`
	Formula       string          `json:"formula,omitempty"` // "id@revision"
	Specification string          `json:"specification,omitempty"`
	Quantity      mass.Mass       `json:"quantity_mg"`
	Due           time.Time       `json:"due"`
	BeginBy       time.Time       `json:"begin_by"`
	Runs          []PlannedRun    `json:"runs"`
	Unmade        mass.Mass       `json:"unmade_mg,omitempty"`
	Why           string          `json:"why,omitempty"`
	CostPerKg     decimal.Decimal `json:"cost_per_kg"`
	MarginalPerKg decimal.Decimal `json:"marginal_per_kg"`
	Late          bool            `json:"late,omitempty"`
	ToPlan        bool            `json:"to_plan,omitempty"` // a base ink that is not in the book yet
	Changes       []ShareChange   `json:"changes,omitempty"` // against its formula
	FromStock     bool            `json:"from_stock,omitempty"`
}

// PlannedRun is what is made of a batch in one period.
type PlannedRun struct {
	Period     int                `json:"period"`
	Begin      time.Time          `json:"begin"`
	Mass       mass.Mass          `json:"mass_mg"`
	Components []PlannedComponent `json:"components"`
}

// PlannedComponent is what goes into a run.
type PlannedComponent struct {
	Candidate string    `json:"candidate"` // name, or the id in the request
	Title     string    `json:"title"`
	Material  string    `json:"material"`
	Mass      mass.Mass `json:"mass_mg"`
	Share     float64   `json:"share"` // kg per kg of ink, not rounded
}

// PlannedOrder is a suggested purchase.
type PlannedOrder struct {
	Offer      string          `json:"offer"` // name, or the id in the request
	Supplier   string          `json:"supplier,omitempty"`
	Title      string          `json:"title"`
	Material   string          `json:"material"`
	Quantity   mass.Mass       `json:"quantity_mg"`
	Packs      int64           `json:"packs,omitempty"`
	PricePerKg money.PerKg     `json:"price_per_kg"` // as the supplier asks it
	Landed     decimal.Decimal `json:"landed"`       // of the whole order
	Period     int             `json:"period"`
	Arrival    int             `json:"arrival_period"`
	OrderBy    time.Time       `json:"order_by"`
	Arrives    time.Time       `json:"arrives"`
	Batches    []string        `json:"batches,omitempty"`
	Today      bool            `json:"today,omitempty"`
}

// ScarceSupply is a supply or an offer that is worth more than it costs.
type ScarceSupply struct {
	Candidate string          `json:"candidate"`
	Title     string          `json:"title"`
	Material  string          `json:"material"`
	Worth     decimal.Decimal `json:"worth_per_kg"`
}

// PlannedStock is what lies in store of a material at the end of each period.
type PlannedStock struct {
	Material string      `json:"material"`
	Title    string      `json:"title"`
	Mass     []mass.Mass `json:"mass_mg"`
}

// PlanCost is what the plan costs and what of.
type PlanCost struct {
	Total    decimal.Decimal `json:"total"`
	Lots     decimal.Decimal `json:"lots"`
	Orders   decimal.Decimal `json:"orders"`
	Charges  decimal.Decimal `json:"charges"`
	Storage  decimal.Decimal `json:"storage"`
	Scrap    decimal.Decimal `json:"scrap"`
	Late     decimal.Decimal `json:"late"`
	Unmade   decimal.Decimal `json:"unmade"`
	Safety   decimal.Decimal `json:"below_safety"`
	Worth    decimal.Decimal `json:"worth"`
	Leftover decimal.Decimal `json:"leftover"`
}

// PlanAcceptance is what accepting a plan has done.
type PlanAcceptance struct {
	Orders   []string  `json:"orders"`   // purchase orders drafted
	Reserved []string  `json:"reserved"` // batches whose lots are set aside
	Planned  []string  `json:"planned"`  // base inks planned
	Waiting  []string  `json:"waiting"`  // batches that wait for deliveries or base inks
	At       time.Time `json:"at"`
}

// Saving is what the plan costs less than planning in due order.
func (p *JointPlan) Saving() decimal.Decimal { return p.InTurn.Sub(p.Cost.Total) }
