package formula

import (
	"time"

	"millbase/inventory/mass"
)

// Step names a process step of the route, in the words of the mill floor.
type Step string

// The steps of a paste ink's route (common practice).
const (
	Premix       Step = "premix"
	BeadMill     Step = "bead_mill"
	ThreeRoll    Step = "three_roll_mill"
	QualityTest  Step = "quality_test"
	LetDown      Step = "let_down"
	FinalPass    Step = "final_three_roll_pass"
	Canning      Step = "canning"
	AllStepsText      = "premix, bead_mill, three_roll_mill, quality_test, let_down, final_three_roll_pass, canning"
)

// Ingredient is one line of a formula: a material, or one lot of it.
type Ingredient struct {
	Material string
	Lot      string // empty: any released lot of Material
	// PartsPerMillion of the finished mass by weight, whole: the shares of a
	// formula add up to exactly 1,000,000 unless some of the mass is not
	// retained.
	PartsPerMillion int64
}

// RouteStep is one step as this formula runs it.
type RouteStep struct {
	Step   Step
	Passes int // over the mill; 1 for the other steps
}

// Formula is one revision of a formula. A revision never changes; an edit makes
// the next one.
type Formula struct {
	ID            string
	Revision      int // 1, 2, ...
	Title         string
	Material      string // the material that it makes
	Specification string // id of the specification that it answers; may be empty
	Ingredients   []Ingredient
	Route         []RouteStep
	// YieldPartsPerMillion is the share of the charge that ends up canned.
	YieldPartsPerMillion int64
	// Released formulas may be made; others are drafts.
	Released bool
	Note     string
	Created  time.Time
}

// Charge is how much of ingredient i is weighed for a finished quantity, before
// rounding to a scale's division: quantity * parts / yield, rounded half-even to
// the milligram.
func (f Formula) Charge(i int, quantity mass.Mass) mass.Mass {
	return mass.MulDiv(quantity, f.Ingredients[i].PartsPerMillion, f.yield(), mass.RoundHalfEven)
}

func (f Formula) yield() int64 {
	if f.YieldPartsPerMillion <= 0 {
		return 1_000_000
	}
	return f.YieldPartsPerMillion
}
