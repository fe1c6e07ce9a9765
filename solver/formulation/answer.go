package formulation

import (
	"millbase/inventory/mass"
	"millbase/solver"
	"millbase/solver/certify"
)

// Outcome says what kind of answer this is.
type Outcome string

// The outcomes.
const (
	Optimal    Outcome = "optimal"    // a cheapest formula, proven
	Feasible   Outcome = "feasible"   // a weighable formula, not proven the cheapest: see Weighed
	Infeasible Outcome = "infeasible" // no formula; see Answer.Clash
	Unbounded  Outcome = "unbounded"  // a price is negative without limit
	Unfinished Outcome = "unfinished" // deadline or cancel came first
)

// Answer is the answer to a Problem.
type Answer struct {
	Outcome    Outcome
	Components []Component // the used ones, in weighing order
	Unused     []Unused
	Limits     []LimitReport
	// CostPerKg is of the exact optimum, real money: no premium is taken off.
	CostPerKg float64
	TotalCost float64
	// UseUp is set in an Optimal answer where a candidate has a UsePremium.
	UseUp *UseUp
	// Weighed is set in the answer to a Problem with Weighing that has a formula.
	Weighed *Weighed
	// Safety is set where a limit asks to hold although values deviate.
	Safety *Safety
	// Goals are the aims at the answer, in the order of the problem; PayOff is what
	// the best of each alone does to the others.
	Goals    []GoalReport
	PayOff   []PayOff
	Clash    *Clash   // set when Outcome is Infeasible
	Assumed  []string // what was taken for granted, in sentences
	LeftOut  []LeftOut
	Proof    certify.Certificate
	Solution *solver.Solution
}

// Component is one used candidate.
type Component struct {
	Candidate int       // index into Problem.Candidates
	Mass      mass.Mass // rounded to whole milligrams so that the masses add up
	Share     float64   // kg per kg of ink, unrounded
	CostPerKg float64
	// CostRange is the interval of the candidate's price per kg in which the
	// same candidates stay the cheapest choice.
	CostRange solver.Range
	AtLimit   bool // all that is available is used
	// StockWorth is what one more kg of this candidate would save; 0 when not
	// AtLimit.
	StockWorth float64
	// Division, Balance and Container say how it is weighed; Division is 0 without
	// Problem.Weighing.
	Division  mass.Mass // of the balance, or the content of a container
	Balance   int       // index into Weighing.Balances, -1 for none of them
	Container bool      // Mass is whole containers of Division
}

// Unused is a candidate that is not in the formula.
type Unused struct {
	Candidate int
	// EntryPricePerKg is the price per kg at which it would come in.
	EntryPricePerKg float64
}

// LeftOut is a candidate that could not take part, and why.
type LeftOut struct {
	Candidate int
	Why       string
}

// LimitReport is one limit at the answer, in the limit's own unit.
type LimitReport struct {
	Limit int // index into Problem.Limits
	Value float64
	// Met is true when Value is within the bounds, to one part in 100,000 of the
	// limit (see Evaluate).
	Met bool
	// Why is set when there is no Value to give: a component has no value of a
	// property that counts, or there is nothing to relate to (metal on binder in
	// a blend without binder). In the second case the limit is met when what it
	// limits is absent too.
	Why string
	// Slack is the distance to the nearer bound, less Margin; 0 when binding.
	Slack   float64
	Binding Side
	// ShadowPrice is d(cost per kg of ink)/d(bound), money per kg per unit of
	// the limit: negative where a higher bound would save. Where candidates have
	// a UsePremium, of the cost less what is earned.
	ShadowPrice float64
	// Deviation, Margin and Confidence are set for a limit that asks for safety.
	// Deviation is the standard deviation of Value, from those of the used
	// candidates, to first order.
	Deviation float64
	// Margin is how far inside the bounds Value has to be, in the limit's unit, for
	// the safety asked for; at the nearer bound.
	Margin float64
	// Confidence is the probability with which the limit holds when values vary
	// independently and normally; under a budget what is certain whatever their
	// distributions (see BudgetBound). It is 0 or 1 where nothing deviates.
	Confidence float64
	// PriceHolds is the interval of the binding bound in which the same candidates
	// stay the cheapest choice; only set when the limit binds. On the finished mass
	// ShadowPrice is the same throughout (of a curved property, per unit of its
	// blending index); elsewhere the cost is a quotient of linear functions of the
	// bound: see Frontier. Not set beside
	// safe limits and goals.
	PriceHolds *solver.Range
}

// Side says which bound of a limit binds.
type Side string

// The sides.
const (
	NotBinding Side = ""
	AtLower    Side = "lower"
	AtUpper    Side = "upper"
	AtBoth     Side = "both"
)

// Clash explains why there is no formula.
type Clash struct {
	// Limits and Stock name a smallest clashing set: drop any one of them and
	// the rest can be met.
	Limits []int // indices into Problem.Limits
	Stock  []int // indices into Problem.Candidates whose stock (or AtLeast) takes part
	// Smallest is true when no set with fewer bounds clashes; false when the
	// search for a smaller one was cut short.
	Smallest bool
	// Movements are the least weighted movements that make it possible: a limit
	// weighs 1 per 1 % of its size or its MoveWeight per unit, stock 1 per 1 % of
	// the quantity of ink.
	Movements []Movement
	// Weight is the sum of the weights of Movements.
	Weight float64
	// Proved is true when the movements were applied and a formula was found;
	// MovedCostPerKg is its cost.
	Proved         bool
	MovedCostPerKg float64
	// Single are the ways out that move one thing only, each proved, the lightest
	// first. A member of the clash that is not here can't do it alone.
	Single []Movement
	// Ways are several ways out, each enough by itself and proved, the lightest first.
	Ways []Way
	// Rules are set, and nothing else is, when the limits can be met and only the
	// rules of weighing are in the way.
	Rules *RuleClash
	// Rows is true, and nothing else is set, when the limits can be met and only
	// Problem.Rows are in the way.
	Rows bool
}

// Movement is one limit, or one stock, that has to give.
type Movement struct {
	Limit     int // index into Problem.Limits, or -1
	Candidate int // index into Problem.Candidates, or -1
	Side      Side
	From, To  float64 // in the limit's own unit; kg for stock
	// Weight is how unwelcome the movement is: see Clash.Movements.
	Weight float64
	// Hard is true for a Hard limit: nothing else can give.
	Hard bool
	// CostPerKg is the cost of the cheapest formula after this movement alone;
	// only set in Clash.Single.
	CostPerKg float64
}
