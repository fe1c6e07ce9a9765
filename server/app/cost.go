package app

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/rollup"
	"millbase/costing/valuation"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
)

// CostKind says what a line of a cost is for; the words are those of the API.
type CostKind string

// The kinds of cost lines.
const (
	CostMaterial   CostKind = "material"
	CostProcess    CostKind = "process"
	CostWashUp     CostKind = "wash_up"
	CostPackaging  CostKind = "packaging"
	CostOverhead   CostKind = "overhead"
	CostLaboratory CostKind = "laboratory"
)

// CostLine is one line of a cost. The amounts of all lines add up to the total
// exactly: what is inside a base ink stands line by line at level 1, and the
// base ink itself has no line of its own.
type CostLine struct {
	Kind     CostKind
	Title    string
	Level    int
	Quantity mass.Mass
	Time     time.Duration
	Rate     money.Money // per kg, or per hour
	Amount   money.Money
}

// CostQuery asks what a quantity costs.
type CostQuery struct {
	Formula  string // "id", the newest revision, or "id@3"
	Quantity mass.Mass
	Basis    valuation.Basis // 0: lot
	Date     time.Time       // zero: today at the plant
	Pack     string          // ids of containers, with commas between; empty: no packaging
	Sequence Sequence        // of shades, for washing up
}

// FormulaCost is what a quantity costs, in the plant's currency.
type FormulaCost struct {
	Formula     string // "id@3"
	Quantity    mass.Mass
	Charge      mass.Mass
	Lines       []CostLine
	Total       money.Money
	PerKg       money.PerKg // rounded half even to costPlaces
	Basis       valuation.Basis
	Assumptions []string
	ByBasis     []BasisCost // the basis asked for first
	lacks       []string    // of Assumptions, those that say that the basis had no figure
}

// costPlaces is how many decimal places a cost per kg is shown with.
const costPlaces = 6

// CostFormula works out what a quantity costs to make, through all levels.
func (b *Book) CostFormula(ctx context.Context, q CostQuery) (FormulaCost, error) {
	basis, err := checkBasis(q.Basis)
	if err != nil {
		return FormulaCost{}, err
	}
	if q.Quantity <= 0 {
		return FormulaCost{}, InvalidField("quantity_kg", "give a quantity above zero.")
	}
	var s *supply
	var f formula.Formula
	err = b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		rec, err := tx.Formulas().Get(ctx, q.Formula)
		if err != nil {
			return absent(err, "formulas/"+q.Formula)
		}
		f = rec.Value
		s, err = b.loadStock(ctx, tx)
		return err
	})
	if err != nil {
		return FormulaCost{}, err
	}
	date, err := onDate(q.Date, s.today, "date")
	if err != nil {
		return FormulaCost{}, err
	}
	cans, err := s.cans(q.Pack, "pack")
	if err != nil {
		return FormulaCost{}, err
	}
	c := s.costing(basis, date)
	c.sequence = q.Sequence
	result, err := c.cost(f, q.Quantity, cans)
	if err != nil {
		return FormulaCost{}, err
	}
	out, err := c.answer(f, result)
	if err != nil {
		return FormulaCost{}, err
	}
	out.ByBasis, err = c.byBasis(f, out, cans)
	return out, err
}

// cans are the packs of a list of ids with commas between; none for an empty one.
func (s *supply) cans(packs, field string) ([]rollup.Can, error) {
	if packs == "" {
		return nil, nil
	}
	known := ""
	by := map[string]Pack{}
	for _, p := range s.plant.Packs {
		known += " " + p.ID
		by[p.ID] = p
	}
	var out []rollup.Can
	for id := range strings.SplitSeq(packs, ",") {
		p, ok := by[strings.TrimSpace(id)]
		if !ok {
			return nil, InvalidField(field, "the plant has no pack %q; its packs are:%s. Give one, or several with commas between for the cheapest mix.", strings.TrimSpace(id), known)
		}
		out = append(out, rollup.Can{ID: p.ID, Holds: p.Holds, Cost: money.Money{Currency: s.plant.Currency, Amount: p.Cost}})
	}
	return out, nil
}

// cost rolls a formula up.
func (c *costing) cost(f formula.Formula, quantity mass.Mass, cans []rollup.Can) (rollup.Result, error) {
	book, err := c.book(f, quantity)
	if err != nil {
		return rollup.Result{}, err
	}
	r, err := book.Cost(revisionID(f.ID, f.Revision), quantity, cans)
	return r, costFault(err, f)
}

// costFault turns what the roll-up can't do into a sentence; faults of this
// package pass.
func costFault(err error, f formula.Formula) error {
	var fault *Fault
	name := "formulas/" + revisionID(f.ID, f.Revision)
	switch {
	case err == nil, errors.As(err, &fault):
		return err
	case errors.Is(err, rollup.ErrQuantity):
		return InvalidField("quantity_kg", "the quantity is too large to be made: %v.", err)
	case errors.Is(err, rollup.ErrCycle), errors.Is(err, rollup.ErrFormula), errors.Is(err, rollup.ErrTooDeep):
		return Faultf(ErrNotReady, "FORMULA_NOT_VALID", name, "%s can't be costed: %v.", name, err)
	}
	return fmt.Errorf("costing %s: %w", name, err)
}

// answer writes the result line by line.
func (c *costing) answer(f formula.Formula, r rollup.Result) (FormulaCost, error) {
	lines, err := c.lines(r)
	if err != nil {
		return FormulaCost{}, err
	}
	perKg, err := r.PerKg(costPlaces, money.RoundHalfEven)
	if err != nil {
		return FormulaCost{}, err
	}
	return FormulaCost{Formula: revisionID(f.ID, f.Revision), Quantity: r.Quantity, Charge: r.Charge, Lines: lines,
		Total: r.Total, PerKg: perKg, Basis: c.basis, Assumptions: c.assumed(f, r), lacks: c.lacks}, nil
}

// percent writes parts per million as a percentage.
func percent(ppm int64) string { return decimal.New(ppm, -4).String() + " %" }

// assumed is what was taken for granted, in sentences.
func (c *costing) assumed(f formula.Formula, r rollup.Result) []string {
	out := []string{fmt.Sprintf("Materials are valued on the %s basis on %s, in %s.", c.basis, c.date.Format(time.DateOnly), c.s.plant.Currency)}
	if y := f.YieldPartsPerMillion; y > 0 && y < formula.Whole {
		out = append(out, fmt.Sprintf("Yield is %s: %s are weighed in for %s; the loss is taken at the end of the route.", percent(y), r.Charge, r.Quantity))
	}
	if len(f.Route) == 0 {
		out = append(out, "The formula has no route: no process time, labour or wash-up is counted.")
	}
	var kept mass.Mass
	for k, s := range r.Steps {
		if c.steps[r.Formula][k].kind != "" {
			kept += s.Loss
		}
		if s.Runs > 1 {
			out = append(out, fmt.Sprintf("The step %s takes %d charges: no machine that does it holds %s.", s.Name, s.Runs, s.In))
		}
	}
	if kept > 0 {
		out = append(out, fmt.Sprintf("The machines keep back %s of what is weighed in.", kept))
	}
	if o := c.s.plant.OverheadPercent; o.Sign() > 0 {
		out = append(out, fmt.Sprintf("Overhead is %s %% on bought materials and on machine time with wash-up, at each level on its own.", o))
	}
	if len(r.Packaging) == 0 {
		out = append(out, "Packaging is not counted.")
	}
	return append(out, c.notes...)
}
