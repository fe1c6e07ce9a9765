package app

import (
	"context"
	"errors"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/mass"
)

// LeadTimeQuery asks when a quantity of an ink can be had.
type LeadTimeQuery struct {
	Material string
	Quantity mass.Mass
	From     time.Time // not before this calendar date; zero: today
}

// Decides is what decides a lead time; the words are those of the API.
type Decides string

// What can decide.
const (
	ByFinishedStock   Decides = "finished_stock"
	ByMaterial        Decides = "material"
	ByCapacity        Decides = "capacity"
	ByProcessTime     Decides = "process_time"
	ByNothingPossible Decides = "nothing_possible"
)

// LeadTime is the answer. Reason and Steps are fit for the caller's role: the
// order desk reads of no material, formula, supplier, order or machine in them.
type LeadTime struct {
	Material  string
	Quantity  mass.Mass
	Possible  bool
	Ready     time.Time // in the plant's zone; zero when not possible
	ReadyDate time.Time // calendar date, midnight UTC
	DecidedBy Decides
	Reason    string
	FromStock mass.Mass
	ToMake    mass.Mass
	Steps     []LeadTimeStep
	Price     money.PerKg // at the plant's usual margin; zero value: can't be told
}

// LeadTimeStep is one stretch of time on the way.
type LeadTimeStep struct {
	Title      string
	Start, End time.Time
}

// LeadTime works out the earliest date for a quantity: from finished stock, the
// rest made by the newest released formula when its materials are there and the
// machines are free. That it can't be had is an answer, not an error.
func (b *Book) LeadTime(ctx context.Context, q LeadTimeQuery) (LeadTime, error) {
	if q.Quantity <= 0 {
		return LeadTime{}, InvalidField("quantity_kg", "give a quantity above zero.")
	}
	var s *supply
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		s, err = b.loadSupply(ctx, tx)
		return err
	})
	if err != nil {
		return LeadTime{}, err
	}
	role := CallerOf(ctx).Role
	if err := s.isProduct(q.Material, role); err != nil {
		return LeadTime{}, err
	}
	if q.From, err = onDate(q.From, s.today, "from_date"); err != nil {
		return LeadTime{}, err
	}
	p := &promise{s: s, q: q, open: role.SeesFormula()}
	if s.calendar != nil && s.freeOn(q.Material, q.From) < q.Quantity {
		if p.plans, err = b.plansOf(s); err != nil {
			return LeadTime{}, err
		}
	}
	defer p.plans.locked()()
	if err := p.work(); err != nil {
		return LeadTime{}, err
	}
	p.answer.Price, err = s.priceOf(q.Material, q.Quantity)
	return p.answer, err
}

// isProduct refuses what can't be asked for. The order desk hears the same of a
// raw material as of a name that is not in the book.
func (s *supply) isProduct(material string, role Role) error {
	m, known := s.materials[material]
	if known && !m.Archived && (m.Class == inventory.Ink || (role.SeesFormula() && m.Class == inventory.BaseInk)) {
		return nil
	}
	name := "materials/" + material
	if !known || !role.SeesFormula() {
		return Faultf(ErrNotFound, "NOT_A_PRODUCT", name, "%s is not an ink that can be asked for; list the products to see which are.", name)
	}
	if m.Archived {
		return Faultf(ErrNotReady, "ARCHIVED", name, "%s is archived.", name)
	}
	return InvalidField("material", "%s is a %s; ask for an ink or a base ink.", name, inWords(m.Class))
}

// priceOf is the price per kg at the plant's usual margin, rounded up to the
// currency's minor unit; the zero value when it can't be told. The quantity is
// priced as made new, also where it comes from stock, so that the price does not
// hang on what happens to be there; without a formula the stock's own cost
// stands in.
func (s *supply) priceOf(material string, quantity mass.Mass) (money.PerKg, error) {
	keep := decimal.NewFromInt(100).Sub(s.plant.MarginPercent).Shift(-2)
	if keep.Sign() <= 0 {
		return money.PerKg{}, nil
	}
	c := s.costing(valuation.Lot, s.today)
	var cost money.Money
	if f, ok := s.formulas.byMaterial[material]; ok {
		r, err := c.cost(f, quantity, nil)
		if err != nil {
			return money.PerKg{}, unlessKnown(err)
		}
		cost = r.Total
	} else {
		var err error
		if cost, err = c.onBases(material, quantity, []valuation.Basis{valuation.Average, valuation.Standard}); err != nil {
			return money.PerKg{}, unlessKnown(err)
		}
	}
	price := money.DivDecimal(cost.Amount, keep.Mul(money.Kilograms(quantity)), money.MinorUnits(cost.Currency), money.RoundUp)
	return money.PerKg{Currency: cost.Currency, Amount: price}, nil
}

// unlessKnown drops what the book lacks for a cost; anything else is an error.
func unlessKnown(err error) error {
	var fault *Fault
	var invalid Invalid
	if errors.As(err, &fault) || errors.As(err, &invalid) {
		return nil
	}
	return err
}

// Product is an ink that can be asked for.
type Product struct {
	Material string
	Title    string
	InStock  mass.Mass // free, released, in date
}

// Products lists the inks that can be asked for, in order of their ids: those
// with a released formula or something in stock. Only After and Limit of the
// query count.
func (b *Book) Products(ctx context.Context, q Query) ([]Product, error) {
	var s *supply
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		s, err = b.loadStock(ctx, tx)
		return err
	})
	if err != nil {
		return nil, err
	}
	var out []Product
	for _, id := range sortedKeys(s.materials) {
		m := s.materials[id]
		if m.Class != inventory.Ink || m.Archived || id <= q.After {
			continue
		}
		p := Product{Material: id, Title: s.title(id), InStock: s.freeOn(id, s.today)}
		if _, made := s.formulas.byMaterial[id]; !made && p.InStock == 0 {
			continue
		}
		if out = append(out, p); len(out) == q.Limit {
			break
		}
	}
	return out, nil
}

// freeOn is what is free of a material for use on a date.
func (s *supply) freeOn(material string, date time.Time) mass.Mass {
	var out mass.Mass
	for _, i := range s.stock[material] {
		out += i.free(date)
	}
	return out
}
