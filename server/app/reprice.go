package app

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/valuation"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/solver/formulation"
	"millbase/solver/reprice"
)

// RepriceRequest asks which formulas of the book other prices change.
type RepriceRequest struct {
	Date     time.Time       // zero: today at the plant
	Basis    valuation.Basis // zero: replacement
	Trials   []PriceTrial    // prices that are tried out; the book keeps its own
	Formulas []string        // ids; empty: all that are released and have a specification
	Quantity mass.Mass       // of ink; 0: each formula's usual batch
	Most     int             // rows; 0: defaultRows
	Progress Progress        // nil: nobody asks
}

// defaultRows is how many formulas an answer lists unless more are asked for.
const defaultRows = 1000

// PriceTrial is a price to try out: by so many per cent, or a price.
type PriceTrial struct {
	Material string
	Percent  decimal.Decimal
	Price    *money.PerKg // nil: by Percent
}

// Repriced is the answer to a RepriceRequest.
type Repriced struct {
	Currency string
	Rows     []RepricedFormula // the largest saving first, at most Most of them
	Count    RepriceCount
	// SavingPerYear is the sum over all formulas, listed or not.
	SavingPerYear money.Money
	Date          time.Time
	Basis         valuation.Basis
	Assumptions   []string
}

// RepriceCount says how many formulas there are and how their answers were found.
type RepriceCount struct {
	Formulas, Unchanged, Proved, Solved int
	Impossible                          int // no formula meets the limits
	Reformulate                         int
}

// RepricedFormula is one formula of the book.
type RepricedFormula struct {
	Formula       string // "id@3"
	Title         string
	Specification string
	// Before and AsIs are the materials of the recipe as it stands, per kg of ink,
	// before and after the trials; Cheapest is that of the cheapest formula after
	// them. Each is nil where there is no such figure.
	Before, AsIs, Cheapest *money.PerKg
	// Saving is AsIs less Cheapest, 0 where that is less than nothing.
	Saving *money.PerKg
	// Reformulate: with trials, they make another formula the cheapest; without, a
	// formula other than the recipe is cheaper.
	Reformulate   bool
	Changes       []ShareChange
	Summary       string // why there is no formula or no saving
	YearlyMass    mass.Mass
	SavingPerYear money.Money
	Way           reprice.Way
}

// ShareChange is the share of a material in the recipe and in the cheapest formula.
type ShareChange struct {
	Material, Title string
	Now, Cheapest   float64 // kg per kg of ink
}

// RepriceBook finds the cheapest formula for every released formula that has a
// specification, at prices as they are and as they are tried out. What was solved
// before is kept and only solved again when neither its old reduced costs nor its
// old basis prove that it is still the cheapest.
func (b *Book) RepriceBook(ctx context.Context, req RepriceRequest) (*Repriced, error) {
	r, err := b.askRepricing(ctx, req)
	if err != nil {
		return nil, err
	}
	r.req.Progress.tell(0.1, fmt.Sprintf("valuing the materials of %d formulas", len(r.asked)))
	if err := r.price(); err != nil {
		return nil, err
	}
	r.req.Progress.tell(0.2, fmt.Sprintf("solving %d formulas", len(r.asked)))
	if err := r.solve(ctx, b.kept.Load()); err != nil {
		return nil, err
	}
	if len(req.Formulas) == 0 && r.next.size() <= mostKept {
		b.kept.Store(r.next)
	}
	r.req.Progress.tell(0.7, fmt.Sprintf("comparing %d recipes with the cheapest formulas", len(r.asked)))
	return r.answer(ctx)
}

// CheckReprice reports what is wrong with a question, without answering it.
func (b *Book) CheckReprice(ctx context.Context, req RepriceRequest) error {
	_, err := b.askRepricing(ctx, req)
	return err
}

// askRepricing reads the book for a question, and checks it.
func (b *Book) askRepricing(ctx context.Context, req RepriceRequest) (*repricing, error) {
	if req.Basis == 0 {
		req.Basis = valuation.Replacement
	}
	if _, err := checkBasis(req.Basis); err != nil {
		return nil, err
	}
	if req.Quantity < 0 {
		return nil, InvalidField("quantity_kg", "give a quantity above zero, or none for each formula's usual batch.")
	}
	if req.Most <= 0 {
		req.Most = defaultRows
	}
	req.Progress.tell(0, "reading the book")
	r := &repricing{}
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		*r = repricing{req: req, engine: b.engine}
		return b.loadRepricing(ctx, tx, r)
	})
	if err != nil {
		return nil, err
	}
	if err := r.checkTrials(); err != nil {
		return nil, err
	}
	return r, r.choose()
}

func (b *Book) loadRepricing(ctx context.Context, tx Tx, r *repricing) (err error) {
	if r.supply, err = b.loadStock(ctx, tx); err != nil {
		return err
	}
	if r.room, err = b.loadStockRoom(ctx, tx); err != nil {
		return err
	}
	if r.date, err = onDate(r.req.Date, r.supply.today, "date"); err != nil {
		return err
	}
	specs, err := tx.Specifications().List(ctx, Query{})
	if err != nil {
		return err
	}
	r.specs = make(map[string]Record[formulation.Specification], len(specs))
	for _, s := range specs {
		r.specs[s.Value.ID] = s
	}
	own, err := tx.Properties().List(ctx, Query{})
	if err != nil {
		return err
	}
	for _, p := range own {
		r.catalogueMark += fmt.Sprintf("%s@%d;", p.Value.Name, p.Version)
	}
	batches, err := tx.Batches().List(ctx, Query{Where: []Condition{{"state", "=", "finished"}}})
	if err != nil {
		return err
	}
	r.yearly = map[string]mass.Mass{}
	from := r.supply.now.AddDate(-1, 0, 0)
	for _, x := range batches {
		if f := x.Value.Formula; f != "" && x.Value.FinishedAt.After(from) {
			r.yearly[f] += x.Value.FinishedMass
		}
	}
	return nil
}

// checkTrials checks the prices to try out.
func (r *repricing) checkTrials() error {
	var bad Invalid
	r.trials = map[string]PriceTrial{}
	for i, t := range r.req.Trials {
		field := fmt.Sprintf("changes[%d]", i)
		if _, known := r.supply.materials[t.Material]; !known {
			bad = append(bad, FieldError{field + ".material", fmt.Sprintf("materials/%s is not in the book", t.Material)})
		}
		if _, twice := r.trials[t.Material]; twice {
			bad = append(bad, FieldError{field + ".material", fmt.Sprintf("materials/%s is named twice; give it one change", t.Material)})
		}
		switch {
		case t.Price == nil && t.Percent.LessThan(decimal.NewFromInt(-100)):
			bad = append(bad, FieldError{field + ".percent", "a price can't fall by more than 100 %"})
		case t.Price != nil && t.Price.Amount.Sign() < 0:
			bad = append(bad, FieldError{field + ".price_per_kg", "must not be below 0"})
		case t.Price != nil && !t.Percent.IsZero():
			bad = append(bad, FieldError{field, "give a per cent or a price, not both"})
		case t.Price != nil:
			rate, ok := r.supply.plant.exchange(t.Price.Currency)
			if !ok {
				bad = append(bad, FieldError{field + ".price_per_kg", fmt.Sprintf("there is no exchange rate from %s to %s", t.Price.Currency, r.supply.plant.Currency)})
			}
			t.Price = &money.PerKg{Currency: r.supply.plant.Currency, Amount: t.Price.Amount.Mul(rate.Value).Round(pricePlaces)}
		}
		r.trials[t.Material] = t
	}
	if len(bad) > 0 {
		return bad
	}
	return nil
}

// of is what a mass that costs so much would cost at the price tried out.
func (t PriceTrial) of(cost money.Money, need mass.Mass) money.Money {
	if t.Price != nil {
		return t.Price.Of(need)
	}
	return money.Money{Currency: cost.Currency, Amount: cost.Amount.Add(cost.Amount.Mul(t.Percent).Shift(-2))}
}

// choose picks the formulas, in the order of their ids, each with its batch.
func (r *repricing) choose() error {
	var bad Invalid
	add := func(f formula.Formula) {
		spec := r.specs[f.Specification]
		q := r.req.Quantity
		if q == 0 {
			if q = r.supply.standardBatch(f); q == 0 {
				q = 100 * mass.Kilogram
			}
		}
		r.asked = append(r.asked, repricedInk{formula: f, spec: spec, quantity: q, without: r.supply.without(f.Material)})
	}
	if len(r.req.Formulas) == 0 {
		for _, f := range r.supply.formulas.released {
			if spec, ok := r.specs[f.Specification]; ok && !spec.Value.Archived {
				add(f)
			}
		}
	}
	for i, id := range r.req.Formulas {
		f, ok := r.supply.formulas.released[id]
		field := fmt.Sprintf("formulas[%d]", i)
		_, specified := r.specs[f.Specification]
		switch {
		case !ok:
			bad = append(bad, FieldError{field, fmt.Sprintf("formulas/%s is not in the book, or not released", id)})
		case !specified:
			bad = append(bad, FieldError{field, fmt.Sprintf("formulas/%s has no specification to meet", id)})
		default:
			add(f)
		}
	}
	if len(bad) > 0 {
		return bad
	}
	slices.SortFunc(r.asked, func(a, b repricedInk) int { return compareIDs(a.formula, b.formula) })
	r.asked = slices.CompactFunc(r.asked, func(a, b repricedInk) bool { return a.formula.ID == b.formula.ID })
	return nil
}
