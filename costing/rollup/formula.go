package rollup

import (
	"errors"
	"fmt"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/inventory/mass"
)

// Errors of this package; test with errors.Is.
var (
	ErrFormula  = errors.New("rollup: bad formula")
	ErrUnknown  = errors.New("rollup: no such formula")
	ErrCycle    = errors.New("rollup: a formula needs itself; take it out of one of them")
	ErrTooDeep  = errors.New("rollup: formulas within formulas are too deep or too many")
	ErrQuantity = errors.New("rollup: the quantity must be above zero and at most 1,000,000 t")
)

// Kind is the kind of a process step.
type Kind uint8

// The kinds of process steps of an ink plant. They decide nothing in the cost;
// they name the line.
const (
	Other Kind = iota
	Premix
	BeadMill
	ThreeRollMill
	LetDown
	QualityTest
	FinalPass
	Canning
)

var kindNames = [...]string{"other", "premix", "bead mill", "three-roll mill", "let-down", "quality test", "final three-roll pass", "canning"}

// String is the kind in the words of the trade.
func (k Kind) String() string {
	if int(k) < len(kindNames) {
		return kindNames[k]
	}
	return fmt.Sprintf("kind %d", uint8(k))
}

// Formula is a finished composition and the way it is made.
type Formula struct {
	ID          string
	Ingredients []Ingredient
	Route       []Step
	// Makes is the finished mass that the parts make; 0: their sum. A smaller
	// one says that some of the mass is not retained (a solvent that leaves).
	Makes mass.Mass
	// StandardBatch is the quantity at which this formula is costed when another
	// formula uses it; 0: in just the quantity that is needed there.
	StandardBatch mass.Mass
}

// Ingredient is a part of a formula. Only the proportions of the parts count,
// to each other and to Makes.
type Ingredient struct {
	Material string
	Part     mass.Mass
	MadeBy   string // formula that makes it; empty: it is bought
	Step     int    // index of the step of the route at which it enters
}

// Step is one process step with the plant's times, rates and losses.
type Step struct {
	Name     string
	Kind     Kind
	Capacity mass.Mass // most that one run takes in; 0: no limit

	SetUp   time.Duration // once for the quantity
	PerRun  time.Duration
	PerHour mass.Mass       // throughput of one pass; 0: no time by mass
	Passes  int             // through a mill; 0 counts as 1
	WashUp  time.Duration   // once for the quantity
	Crew    decimal.Decimal // people who attend; 0.5: half of one's time
	Machine money.Money     // per hour; zero value: none
	Labour  money.Money     // per person and hour; zero value: none

	LossPercent decimal.Decimal // of what goes in, from 0 to below 100
	LossPerRun  mass.Mass
}

// Overhead is what is added to each level's own cost.
type Overhead struct {
	MaterialPercent   decimal.Decimal // on bought materials
	ConversionPercent decimal.Decimal // on machine and labour
	PerLabourHour     money.Money     // zero value: none
	PerMachineHour    money.Money     // zero value: none
}

func (f Formula) check() error {
	bad := func(format string, args ...any) error {
		return fmt.Errorf("%w %q: "+format, append([]any{ErrFormula, f.ID}, args...)...)
	}
	if len(f.Ingredients) == 0 {
		return bad("it has no ingredients")
	}
	if f.StandardBatch < 0 || f.StandardBatch > mass.Max {
		return bad("its standard batch of %s must not be negative", f.StandardBatch)
	}
	first := len(f.Route)
	var total mass.Mass
	for _, g := range f.Ingredients {
		if g.Part <= 0 || g.Part > mass.Max {
			return bad("ingredient %q has a part of %s; give more than zero or take it out", g.Material, g.Part)
		}
		if g.Step < 0 || (g.Step > 0 && g.Step >= len(f.Route)) {
			return bad("ingredient %q enters at step %d of %d", g.Material, g.Step, len(f.Route))
		}
		first = min(first, g.Step)
		if total += g.Part; total > mass.Max {
			return bad("its parts add up to more than 1,000,000 t")
		}
	}
	if f.Makes < 0 || f.Makes > total {
		return bad("its parts of %s cannot make %s", total, f.Makes)
	}
	for k, s := range f.Route {
		if k < first {
			return bad("step %q comes before any ingredient", s.Name)
		}
		if s.Capacity < 0 || s.PerHour < 0 || s.LossPerRun < 0 || s.Passes < 0 || s.Passes > 100 ||
			s.SetUp < 0 || s.PerRun < 0 || s.WashUp < 0 || s.Crew.Sign() < 0 ||
			s.Machine.Sign() < 0 || s.Labour.Sign() < 0 {
			return bad("step %q has a negative figure, or more than 100 passes", s.Name)
		}
		if s.LossPercent.Sign() < 0 || s.LossPercent.GreaterThanOrEqual(hundred) {
			return bad("step %q loses %s %%; give 0 to below 100", s.Name, s.LossPercent)
		}
	}
	return nil
}

var hundred = decimal.NewFromInt(100)
