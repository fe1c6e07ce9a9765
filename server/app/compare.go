package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/valuation"
	"millbase/inventory/mass"
	"millbase/solver/formulation"
)

// CompareRequest asks how two formulas differ.
type CompareRequest struct {
	First, Second FormulaRef
	Specification string // whose limits; empty: of the first formula that has one
	Limits        []formulation.Limit
	Basis         valuation.Basis
	Date          time.Time
}

// FormulaRef names a formula to compare: exactly one of the first four.
type FormulaRef struct {
	Formula    string // "x" or "x@3"
	Batch      string
	Question   *OptimiseRequest // its cheapest formula
	Components []PotComponent
	Title      string // shown instead of its own
}

// Compared is the answer to a CompareRequest.
type Compared struct {
	Titles      [2]string
	Currency    string
	Components  []ComparedComponent
	Problem     *formulation.Problem // limits and candidates
	Reports     [2][]formulation.LimitReport
	CostPerKg   [2]decimal.Decimal
	Summary     string
	Assumptions []string
}

// ComparedComponent is one candidate of either formula; shares are kg per kg of ink.
type ComparedComponent struct {
	Candidate  int // index into Compared.Problem.Candidates
	Shares     [2]decimal.Decimal
	PricePerKg decimal.Decimal
	Difference decimal.Decimal // cost per kg of ink, second less first
}

// CompareFormulas sets two formulas side by side: masses, cost at the same prices,
// and every limit, worked out from the masses. Errors are Invalid and ErrNotFound.
func (b *Book) CompareFormulas(ctx context.Context, req CompareRequest) (*Compared, error) {
	if b.store == nil {
		return nil, Faultf(ErrNotReady, "NO_BOOK", "", "There is no book here to compare formulas of.")
	}
	c := &comparing{req: req, at: map[string]int{}}
	var err error
	if c.req.Basis, err = checkBasis(req.Basis); err != nil {
		return nil, err
	}
	if err := c.solveQuestions(ctx, b); err != nil {
		return nil, err
	}
	err = b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		fresh := *c
		fresh.at, fresh.candidates, fresh.prices, fresh.kg, fresh.said = map[string]int{}, nil, nil, [2][]mass.Mass{}, nil
		err := fresh.load(ctx, b, tx)
		if err == nil {
			*c = fresh
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return c.compare()
}

// comparing is a CompareRequest with what the book had to say to it.
type comparing struct {
	req        CompareRequest
	answers    [2]*Optimised // of questions
	room       *correcting
	supply     *supply
	set        *setting
	date       time.Time
	candidates []formulation.Candidate
	prices     []decimal.Decimal
	at         map[string]int // candidates by id
	kg         [2][]mass.Mass
	titles     [2]string
	said       []string
}

func (c *comparing) refs() [2]*FormulaRef { return [2]*FormulaRef{&c.req.First, &c.req.Second} }

var sides = [2]string{"first", "second"}

// solveQuestions finds the cheapest formulas that are asked for.
func (c *comparing) solveQuestions(ctx context.Context, b *Book) error {
	for i, ref := range c.refs() {
		named := 0
		for _, given := range []bool{ref.Formula != "", ref.Batch != "", ref.Question != nil, len(ref.Components) > 0} {
			if given {
				named++
			}
		}
		if named != 1 {
			var bad Invalid
			for _, one := range []string{"formula", "batch", "question", "components"} {
				bad = append(bad, FieldError{sides[i] + "." + one, "say which formula: exactly one of formula, batch, question and components"})
			}
			return bad
		}
		if ref.Question == nil {
			continue
		}
		q := *ref.Question
		q.Basis = c.req.Basis
		if q.Date.IsZero() {
			q.Date = c.req.Date
		}
		o, err := b.Optimise(ctx, q)
		var bad Invalid
		if errors.As(err, &bad) {
			bad = slices.Clone(bad)
			for k := range bad {
				bad[k].Field = sides[i] + ".question." + bad[k].Field
			}
			return bad
		}
		if err != nil {
			return err
		}
		if len(o.Answer.Components) == 0 {
			return InvalidField(sides[i]+".question", "there is no formula to compare: %s", o.Summary)
		}
		c.answers[i] = o
	}
	return nil
}

// load reads both formulas, the limits and the prices.
func (c *comparing) load(ctx context.Context, b *Book, tx Tx) (err error) {
	c.room = &correcting{req: CorrectRequest{}}
	if c.room.room, err = b.loadStockRoom(ctx, tx); err != nil {
		return err
	}
	if c.supply, err = b.loadStock(ctx, tx); err != nil {
		return err
	}
	if c.date, err = onDate(c.req.Date, c.room.room.today, "date"); err != nil {
		return err
	}
	c.set = &setting{plant: c.room.room.plant, catalogue: c.room.room.catalogue, req: OptimiseRequest{Limits: c.req.Limits}}
	spec, own := c.req.Specification, []formulation.Limit(nil)
	for i, ref := range c.refs() {
		of, limits, err := c.loadFormula(ctx, tx, i, ref)
		if err != nil {
			return err
		}
		if ref.Title != "" {
			c.titles[i] = ref.Title
		}
		if spec == "" && own == nil {
			spec, own = of, limits
		}
	}
	if c.req.Specification == "" && own != nil {
		c.set.overlay(own)
		return c.price()
	}
	if spec == "" {
		c.set.overlay(nil)
		return c.price()
	}
	rec, err := tx.Specifications().Get(ctx, spec)
	if err != nil {
		return absent(err, "specifications/"+spec)
	}
	c.set.overlay(rec.Value.Limits)
	return c.price()
}

// loadFormula takes one formula apart; it returns the id of its specification, or
// the limits of its question.
func (c *comparing) loadFormula(ctx context.Context, tx Tx, i int, ref *FormulaRef) (spec string, limits []formulation.Limit, err error) {
	switch {
	case ref.Question != nil:
		o := c.answers[i]
		for _, x := range o.Answer.Components {
			c.add(i, o.Problem.Candidates[x.Candidate], x.Mass, o.Prices[x.Candidate])
		}
		c.titles[i] = "cheapest formula"
		if o.Title != "" {
			c.titles[i] = o.Title + ", cheapest formula"
		}
		return "", o.Problem.Limits, nil
	case ref.Formula != "":
		rec, err := tx.Formulas().Get(ctx, ref.Formula)
		if err != nil {
			return "", nil, absent(err, "formulas/"+ref.Formula)
		}
		f := rec.Value
		c.titles[i] = fmt.Sprintf("%s, formulas/%s", f.Title, revisionID(f.ID, f.Revision))
		for _, x := range f.Ingredients {
			name := "materials/" + x.Material
			if x.Lot != "" {
				name = "lots/" + x.Lot
			}
			if err := c.addNamed(ctx, tx, i, sides[i]+".formula", name, mass.Mass(x.PartsPerMillion)*mass.Milligram); err != nil {
				return "", nil, err
			}
		}
		return f.Specification, nil, nil
	case ref.Batch != "":
		return c.loadBatch(ctx, tx, i, ref.Batch)
	}
	c.titles[i] = "components"
	for k, x := range ref.Components {
		if err := c.addNamed(ctx, tx, i, fmt.Sprintf("%s.components[%d].candidate", sides[i], k), x.Candidate, x.Mass); err != nil {
			return "", nil, err
		}
	}
	return "", nil, nil
}

func (c *comparing) loadBatch(ctx context.Context, tx Tx, i int, id string) (string, []formulation.Limit, error) {
	pot := &correcting{req: CorrectRequest{Batch: id}, room: c.room.room, set: &setting{}, tests: map[string]float64{}}
	if err := pot.loadPot(ctx, tx); err != nil {
		return "", nil, err
	}
	c.titles[i] = "batches/" + id
	for _, x := range pot.pot {
		c.add(i, x.Candidate, x.mass, decimal.NewFromInt(-1))
	}
	for _, s := range pot.set.said {
		c.say(strings.Replace(s, "The pot holds", "Of "+c.titles[i]+" counts", 1))
	}
	spec, err := pot.specification(ctx, tx)
	var bad Invalid
	if errors.As(err, &bad) {
		return "", nil, nil // of no specification: the other formula may have one
	}
	return spec, nil, err
}

// addNamed adds a lot or a material of the book.
func (c *comparing) addNamed(ctx context.Context, tx Tx, i int, field, name string, m mass.Mass) error {
	of, err := c.room.component(ctx, tx, field, name)
	if err != nil {
		return err
	}
	if strings.HasPrefix(name, "materials/") {
		of.Properties = c.supply.typical(c.room.room.materials[of.Material])
	}
	c.add(i, of, m, decimal.NewFromInt(-1))
	return nil
}

// add puts a mass of a candidate into formula i; a price below zero is looked up
// later.
func (c *comparing) add(i int, of formulation.Candidate, m mass.Mass, price decimal.Decimal) {
	j, known := c.at[of.ID]
	if !known {
		j = len(c.candidates)
		c.at[of.ID] = j
		of.Available, of.AtLeast, of.UsePremium = -1, 0, 0
		c.candidates, c.prices = append(c.candidates, of), append(c.prices, decimal.NewFromInt(-1))
	}
	if c.prices[j].Sign() < 0 {
		c.prices[j] = price
	}
	for k := range c.kg {
		for len(c.kg[k]) < len(c.candidates) {
			c.kg[k] = append(c.kg[k], 0)
		}
	}
	c.kg[i][j] += m
}

func (c *comparing) say(s string) {
	if !slices.Contains(c.said, s) {
		c.said = append(c.said, s)
	}
}

// price values what has no price yet, each as if the other did not take from the
// same stock.
func (c *comparing) price() error {
	for j := range c.candidates {
		if c.prices[j].Sign() >= 0 {
			continue
		}
		of := &c.candidates[j]
		costs, need := c.supply.costing(c.req.Basis, c.date), mass.Kilogram
		lot, isLot := strings.CutPrefix(of.ID, "lots/")
		if l, known := c.supply.lots[lot]; isLot && known && c.req.Basis == valuation.Lot && c.supply.costed(l) {
			c.prices[j] = l.Cost.CostPerKg
		} else if isLot {
			cost, err := costs.price(of.Material+"/"+lot, need)
			if err != nil {
				return err
			}
			perKg, err := cost.PerKg(need, pricePlaces, money.RoundHalfEven)
			if err != nil {
				return err
			}
			c.prices[j] = perKg.Amount
		} else {
			price, why, err := costs.perKg(of.Material, need)
			if err != nil {
				return err
			}
			if why != "" {
				return Faultf(ErrNotReady, "NO_COST", "materials/"+of.Material, "%s can't be valued: %s", of.Name(), why)
			}
			c.prices[j] = price
		}
		for _, n := range costs.notes {
			c.say(n)
		}
	}
	return nil
}
