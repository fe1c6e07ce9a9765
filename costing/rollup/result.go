package rollup

import (
	"time"

	"millbase/costing/money"
	"millbase/inventory/mass"
)

// Result is what a quantity costs, line by line. All money is in one currency.
type Result struct {
	Formula  string
	Quantity mass.Mass // finished
	Charge   mass.Mass // weighed in: Quantity, the losses of all steps, and NotRetained
	// NotRetained is what leaves on its own, as Formula.Makes says.
	NotRetained mass.Mass
	Materials   []MaterialLine
	Steps       []StepLine
	Packaging   []PackLine
	Overheads   []OverheadLine
	Once        []OverheadLine // of the level asked about only

	// The sums of the lines. MadeTotal are the ingredients that are made by
	// formulas, with all that their own levels cost.
	BoughtTotal    money.Money
	MadeTotal      money.Money
	MachineTotal   money.Money
	LabourTotal    money.Money
	PackagingTotal money.Money
	OverheadTotal  money.Money
	OnceTotal      money.Money
	Total          money.Money
}

// MaterialLine is one ingredient.
type MaterialLine struct {
	Material string
	MadeBy   string
	Step     int
	Mass     mass.Mass // weighed in
	Cost     money.Money
	Level    *Result // the batch that it is shared out of, when it is made
}

// StepLine is one process step.
type StepLine struct {
	Name    string
	Kind    Kind
	Runs    int64
	In, Out mass.Mass
	Loss    mass.Mass // In - Out
	Time    time.Duration
	Machine money.Money
	Labour  money.Money
}

// PackLine is the cans of one size.
type PackLine struct {
	Can   string
	Count int64
	Cost  money.Money
}

// OverheadLine is one overhead, or one cost that comes once, by name.
type OverheadLine struct {
	Name string
	Cost money.Money
}

// PerKg is the total per finished kg, rounded once.
func (r Result) PerKg(places int32, mode money.Rounding) (money.PerKg, error) {
	return r.Total.PerKg(r.Quantity, places, mode)
}

// Time is the working time of all steps of this level, one after the other.
func (r Result) Time() time.Duration {
	var t time.Duration
	for _, s := range r.Steps {
		t += s.Time
	}
	return t
}

// Requirements adds up the bought materials of this level and, in proportion,
// of the levels below: what the quantity takes out of the stock of materials.
// Shares of a lower batch are rounded up to a whole milligram.
func (r Result) Requirements() map[string]mass.Mass {
	need := map[string]mass.Mass{}
	for _, m := range r.Materials {
		if m.Level == nil {
			need[m.Material] += m.Mass
			continue
		}
		for material, below := range m.Level.Requirements() {
			need[material] += mass.MulDiv(below, int64(m.Mass), int64(m.Level.Quantity), mass.RoundUp)
		}
	}
	return need
}
