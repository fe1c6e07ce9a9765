package rollup

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/inventory/mass"
)

// Places is the number of decimal places that quotients (time by rate, shares of
// a lower batch) are rounded to, half even.
const Places = 6

const (
	maxDepth  = 20
	maxLevels = 2000 // formulas costed in one question
)

// Book is all that a roll-up looks up.
type Book struct {
	Currency string
	Formulas map[string]Formula
	// Price is what a mass of a bought material costs in Currency. It is asked
	// once for each use of a material.
	Price    func(material string, need mass.Mass) (money.Money, error)
	Overhead Overhead
	// Once is what the question costs whatever the quantity, beside the making
	// (a laboratory match, say). It carries no overhead.
	Once []OverheadLine
}

// Fixed is a Price with one price per kg for each material.
func Fixed(prices map[string]money.PerKg) func(string, mass.Mass) (money.Money, error) {
	return func(material string, need mass.Mass) (money.Money, error) {
		p, ok := prices[material]
		if !ok {
			return money.Money{}, fmt.Errorf("rollup: material %q has no price", material)
		}
		return p.Of(need), nil
	}
}

// Cost rolls a formula up for a finished quantity, packed into the cans (nil:
// not packed). Errors: ErrUnknown, ErrCycle with the path, ErrFormula,
// ErrTooDeep, ErrQuantity, money.ErrMismatch, and those of Price.
func (b Book) Cost(formula string, quantity mass.Mass, cans []Can) (Result, error) {
	if err := money.CheckCurrency(b.Currency); err != nil {
		return Result{}, err
	}
	if err := b.Overhead.check(); err != nil {
		return Result{}, err
	}
	w := walk{book: b, batches: map[string]*Result{}}
	r, err := w.level(formula, quantity)
	if err != nil {
		return Result{}, err
	}
	if len(cans) > 0 {
		if r.Packaging, err = Pack(cans, quantity); err != nil {
			return Result{}, err
		}
	}
	r.Once = b.Once
	if err := w.total(r); err != nil {
		return Result{}, err
	}
	return *r, nil
}

func (o Overhead) check() error {
	if o.MaterialPercent.Sign() < 0 || o.ConversionPercent.Sign() < 0 || o.PerLabourHour.Sign() < 0 || o.PerMachineHour.Sign() < 0 {
		return fmt.Errorf("%w: an overhead must not be negative", ErrFormula)
	}
	return nil
}

// walk is one question: the path down to the level at hand, and the standard
// batches costed so far.
type walk struct {
	book    Book
	path    []string
	batches map[string]*Result
	levels  int
}

func (w *walk) level(id string, quantity mass.Mass) (*Result, error) {
	if quantity <= 0 || quantity > mass.Max {
		return nil, fmt.Errorf("%w: %s of %q", ErrQuantity, quantity, id)
	}
	if slices.Contains(w.path, id) {
		return nil, fmt.Errorf("%w: %s", ErrCycle, strings.Join(append(w.path, id), " > "))
	}
	if w.levels++; w.levels > maxLevels || len(w.path) >= maxDepth {
		return nil, fmt.Errorf("%w: at most %d deep and %d in all", ErrTooDeep, maxDepth, maxLevels)
	}
	f, ok := w.book.Formulas[id]
	if !ok {
		return nil, fmt.Errorf("%w: %q", ErrUnknown, strings.Join(append(w.path, id), " > "))
	}
	if err := f.check(); err != nil {
		return nil, err
	}
	fl, err := backwards(f, quantity)
	if err != nil {
		return nil, err
	}
	w.path = append(w.path, id)
	defer func() { w.path = w.path[:len(w.path)-1] }()
	r := &Result{Formula: id, Quantity: quantity, NotRetained: fl.total - quantity}
	for i, g := range f.Ingredients {
		line, err := w.ingredient(g, fl.need[i])
		if err != nil {
			return nil, err
		}
		r.Charge += line.Mass
		r.Materials = append(r.Materials, line)
	}
	for k, s := range f.Route {
		line := w.book.step(s, fl.steps[k])
		if line.Time == maxSeconds*time.Second {
			return nil, fmt.Errorf("%w %q: step %q would take a hundred years; check its throughput and times", ErrFormula, id, s.Name)
		}
		r.Steps = append(r.Steps, line)
	}
	w.book.overheads(r, f)
	return r, w.total(r)
}

func (w *walk) ingredient(g Ingredient, need mass.Mass) (MaterialLine, error) {
	line := MaterialLine{Material: g.Material, MadeBy: g.MadeBy, Step: g.Step, Mass: need}
	if need == 0 {
		line.Cost = money.Zero(w.book.Currency)
		return line, nil
	}
	var err error
	if g.MadeBy == "" {
		if line.Cost, err = w.book.Price(g.Material, need); err != nil {
			return line, err
		}
		if line.Cost.Currency != w.book.Currency {
			return line, fmt.Errorf("%w: material %q in %s, the roll-up in %s", money.ErrMismatch, g.Material, line.Cost.Currency, w.book.Currency)
		}
		return line, nil
	}
	if line.Level, err = w.made(g.MadeBy, need); err != nil {
		return line, err
	}
	line.Cost = line.Level.Total
	if need != line.Level.Quantity {
		line.Cost.Amount = money.DivDecimal(line.Cost.Amount.Mul(money.Kilograms(need)),
			money.Kilograms(line.Level.Quantity), Places, money.RoundHalfEven)
	}
	return line, nil
}

// made is the batch that an ingredient is taken from: the formula's standard
// batch, costed once, or one of just the mass needed.
func (w *walk) made(formula string, need mass.Mass) (*Result, error) {
	batch := w.book.Formulas[formula].StandardBatch
	if batch == 0 {
		return w.level(formula, need)
	}
	if r, ok := w.batches[formula]; ok {
		return r, nil
	}
	r, err := w.level(formula, batch)
	if err == nil {
		w.batches[formula] = r
	}
	return r, err
}

func (b Book) step(s Step, fl stepFlow) StepLine {
	t := s.Time(fl.in, fl.runs)
	return StepLine{
		Name: s.Name, Kind: s.Kind, Runs: fl.runs, In: fl.in, Out: fl.out, Loss: fl.in - fl.out, Time: t,
		Machine: b.hours(s.Machine, t, decimal.NewFromInt(1)),
		Labour:  b.hours(s.Labour, t, s.Crew),
	}
}

// hours is rate x crew x time. A rate that was left out costs nothing.
func (b Book) hours(rate money.Money, t time.Duration, crew decimal.Decimal) money.Money {
	if rate.Currency == "" && rate.IsZero() {
		return money.Zero(b.Currency)
	}
	seconds := decimal.NewFromInt(int64(t / time.Second))
	return money.Money{Currency: rate.Currency, Amount: money.DivDecimal(
		rate.Amount.Mul(crew).Mul(seconds), decimal.NewFromInt(3600), Places, money.RoundHalfEven)}
}

func (b Book) overheads(r *Result, f Formula) {
	add := func(name string, cost money.Money) {
		if !cost.IsZero() {
			r.Overheads = append(r.Overheads, OverheadLine{name, cost})
		}
	}
	bought, conversion := money.Zero(b.Currency), money.Zero(b.Currency)
	for _, m := range r.Materials {
		if m.Level == nil {
			bought.Amount = bought.Amount.Add(m.Cost.Amount)
		}
	}
	perLabour, perMachine := money.Zero(b.Overhead.PerLabourHour.Currency), money.Zero(b.Overhead.PerMachineHour.Currency)
	for k, s := range r.Steps {
		conversion.Amount = conversion.Amount.Add(s.Machine.Amount).Add(s.Labour.Amount)
		perLabour.Amount = perLabour.Amount.Add(b.hours(b.Overhead.PerLabourHour, s.Time, f.Route[k].Crew).Amount)
		if !f.Route[k].Machine.IsZero() {
			perMachine.Amount = perMachine.Amount.Add(b.hours(b.Overhead.PerMachineHour, s.Time, decimal.NewFromInt(1)).Amount)
		}
	}
	add("on materials", bought.Percent(b.Overhead.MaterialPercent))
	add("on conversion", conversion.Percent(b.Overhead.ConversionPercent))
	add("per labour hour", perLabour)
	add("per machine hour", perMachine)
}

// total adds the lines up, exactly; a rate in another currency is found here.
func (w *walk) total(r *Result) error {
	var bought, made, machine, labour, packing, overhead, once []money.Money
	for _, m := range r.Materials {
		if m.Level == nil {
			bought = append(bought, m.Cost)
		} else {
			made = append(made, m.Cost)
		}
	}
	for _, s := range r.Steps {
		machine, labour = append(machine, s.Machine), append(labour, s.Labour)
	}
	for _, p := range r.Packaging {
		packing = append(packing, p.Cost)
	}
	for _, o := range r.Overheads {
		overhead = append(overhead, o.Cost)
	}
	for _, o := range r.Once {
		once = append(once, o.Cost)
	}
	r.Total = money.Zero(w.book.Currency)
	for _, sum := range []struct {
		to    *money.Money
		lines []money.Money
	}{
		{&r.BoughtTotal, bought}, {&r.MadeTotal, made}, {&r.MachineTotal, machine},
		{&r.LabourTotal, labour}, {&r.PackagingTotal, packing}, {&r.OverheadTotal, overhead}, {&r.OnceTotal, once},
	} {
		var err error
		if *sum.to, err = money.Sum(w.book.Currency, sum.lines...); err != nil {
			return fmt.Errorf("formula %q: %w", r.Formula, err)
		}
		r.Total.Amount = r.Total.Amount.Add(sum.to.Amount)
	}
	return nil
}
