package app

import (
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/rollup"
	"millbase/costing/washup"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
)

// costStep is what a step of the roll-up stands for.
type costStep struct {
	kind  CostKind // empty: costs nothing
	title string
	step  formula.Step
	rate  money.Money
}

var rollupKinds = map[formula.Step]rollup.Kind{
	formula.Premix: rollup.Premix, formula.BeadMill: rollup.BeadMill, formula.ThreeRoll: rollup.ThreeRollMill,
	formula.LetDown: rollup.LetDown, formula.QualityTest: rollup.QualityTest, formula.FinalPass: rollup.FinalPass,
	formula.Canning: rollup.Canning,
}

// book is the roll-up's book: the formula in the quantity asked for, and every
// formula inside it in the batches that the plant makes it in.
func (c *costing) book(f formula.Formula, quantity mass.Mass) (rollup.Book, error) {
	b := rollup.Book{Once: c.once, Currency: c.s.plant.Currency, Formulas: map[string]rollup.Formula{}, Price: c.price,
		Overhead: rollup.Overhead{MaterialPercent: c.s.plant.OverheadPercent, ConversionPercent: c.s.plant.OverheadPercent}}
	return b, c.addFormula(b.Formulas, f, quantity, 0)
}

// addFormula adds a formula and what it is made from. standard is the batch in
// which it is costed as an ingredient; 0 for the formula asked about.
func (c *costing) addFormula(to map[string]rollup.Formula, f formula.Formula, quantity, standard mass.Mass) error {
	id := revisionID(f.ID, f.Revision)
	if _, done := to[id]; done {
		return nil
	}
	route, meaning, err := c.route(f, quantity, standard > 0)
	if err != nil {
		return err
	}
	c.steps[id] = meaning
	// Where something is not retained the parts add up to more than what they
	// make.
	r := rollup.Formula{ID: id, Route: route, StandardBatch: standard, Makes: mass.Mass(min(formula.Whole, partsOf(f)))}
	to[id] = r
	for _, in := range f.Ingredients {
		g := rollup.Ingredient{Material: in.Material, Part: mass.Mass(in.PartsPerMillion)}
		if in.Lot != "" {
			g.Material += "/" + in.Lot
		} else if c.madeHere(in.Material) {
			inner := c.s.formulas.byMaterial[in.Material]
			g.MadeBy = revisionID(inner.ID, inner.Revision)
			batch := c.s.standardBatch(inner)
			if batch > 0 {
				c.note("%s is costed through %s, as part of a batch of %s.", c.s.title(in.Material), "formulas/"+g.MadeBy, batch)
			} else {
				c.note("%s is costed through %s, made in just the quantity needed.", c.s.title(in.Material), "formulas/"+g.MadeBy)
			}
			need := batch
			if need == 0 {
				need = quantity
			}
			if err := c.addFormula(to, inner, need, batch); err != nil {
				return err
			}
		}
		r.Ingredients = append(r.Ingredients, g)
	}
	to[id] = r
	return nil
}

func yieldOf(f formula.Formula) int64 {
	if f.YieldPartsPerMillion <= 0 {
		return formula.Whole
	}
	return f.YieldPartsPerMillion
}

func partsOf(f formula.Formula) int64 {
	var sum int64
	for _, in := range f.Ingredients {
		sum += in.PartsPerMillion
	}
	return max(sum, 1)
}

// route is the steps of the formula on their machines. Washing up is a step of its
// own so that it stands apart; the yield loss is taken at the end.
func (c *costing) route(f formula.Formula, quantity mass.Mass, inner bool) ([]rollup.Step, []costStep, error) {
	picks, err := c.s.picks(f, quantity)
	if err != nil {
		return nil, nil, err
	}
	var route []rollup.Step
	var meaning []costStep
	for k, s := range f.Route {
		m := picks[k].machine
		rate := money.Money{Currency: c.s.plant.Currency, Amount: m.RatePerHour.Add(m.LabourPerHour.Mul(m.Crew))}
		route = append(route, rollup.Step{
			Name: inWords(s.Step), Kind: rollupKinds[s.Step], Capacity: m.Capacity, SetUp: time.Duration(m.SetupMinutes) * time.Minute,
			PerRun: time.Duration(m.MinutesPerBatch) * time.Minute, PerHour: m.perHour(),
			Passes: max(s.Passes, 1), LossPercent: m.LossPercent, LossPerRun: m.LossPerCharge,
			Machine: money.Money{Currency: c.s.plant.Currency, Amount: m.RatePerHour}, Crew: m.Crew,
			Labour: money.Money{Currency: c.s.plant.Currency, Amount: m.LabourPerHour}})
		meaning = append(meaning, costStep{CostProcess, inWords(s.Step) + " on " + m.named(), s.Step, rate})
		if wash := c.washUp(m, inner); wash > 0 {
			route = append(route, rollup.Step{Name: "wash-up of " + m.named(), SetUp: wash, Machine: rate})
			meaning = append(meaning, costStep{CostWashUp, "wash-up of " + m.named(), "", rate})
		}
	}
	if loss := lossPercent(f); loss.Sign() > 0 {
		route = append(route, rollup.Step{Name: "loss", LossPercent: loss})
		meaning = append(meaning, costStep{})
	}
	return route, meaning, nil
}

// Sequence says what is known of the shade of an ink and of the one that is on the
// machines before it: CIE L* of a print; nil: not known.
type Sequence struct{ Lightness, After *float64 }

// washUp is how long a machine is washed for the ink: by the sequence of shades where
// it is known, else in full. What is made to stock inside is washed up for in full.
func (c *costing) washUp(m Machine, inner bool) time.Duration {
	w := washup.Machine{Full: time.Duration(m.WashUpMinutes) * time.Minute, Short: time.Duration(m.ShortWashUp) * time.Minute}
	switch {
	case w.Short == 0 || w.Full == 0:
		return w.Full
	case inner || c.sequence.Lightness == nil || c.sequence.After == nil:
		c.note("Machines are washed up in full: nothing is said of the ink before.")
		return w.Full
	}
	last, next := *c.sequence.After, *c.sequence.Lightness
	if next <= last {
		c.note("Short wash-ups, after an ink that is lighter: L* %.0f, then %.0f.", last, next)
	} else {
		c.note("Full wash-ups, after an ink that is darker: L* %.0f, then %.0f.", last, next)
	}
	return w.Between(last, next)
}

// lossPercent is what of the charge does not end up canned: 100 (1 - yield).
func lossPercent(f formula.Formula) decimal.Decimal {
	return decimal.New(formula.Whole-yieldOf(f), -4)
}

// named is the machine as the floor calls it.
func (m Machine) named() string {
	if m.Title != "" {
		return m.Title
	}
	return m.ID
}
