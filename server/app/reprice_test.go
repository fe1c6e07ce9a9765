package app_test

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/server/app"
	"millbase/solver/formulation"
)

// specified is 18 % blue, 70 % varnish, 11.5 % oil, 0.5 % drier for the
// specification cyan, released.
func (x *mill) specified(yield int64) {
	x.released(formula.Formula{ID: "cyan", Title: "Sheetfed cyan", Material: "cyan", Specification: "cyan", YieldPartsPerMillion: yield,
		Ingredients: []formula.Ingredient{{Material: "drier", PartsPerMillion: 5_000}, {Material: "blue", PartsPerMillion: 180_000},
			{Material: "varnish", PartsPerMillion: 700_000}, {Material: "oil", PartsPerMillion: 115_000}}})
}

// reprices asks for the book, which has one formula.
func (x *mill) reprices(req app.RepriceRequest) (*app.Repriced, app.RepricedFormula) {
	x.t.Helper()
	r, err := x.book.RepriceBook(context.Background(), req)
	if err != nil {
		x.t.Fatal(err)
	}
	if len(r.Rows) != 1 {
		x.t.Fatalf("%+v", r.Rows)
	}
	return r, r.Rows[0]
}

// inlineCost is what Optimise says of the mill's materials at their standard costs,
// each times a factor.
func (x *mill) inlineCost(factor map[string]string) money.PerKg {
	x.t.Helper()
	req := app.OptimiseRequest{Specification: "cyan", Quantity: 100 * mass.Kilogram, Currency: "EUR"}
	x.update(func(ctx context.Context, tx app.Tx) error {
		req.Inline = nil
		for _, id := range []string{"blue", "varnish", "oil", "drier"} {
			rec, err := tx.Materials().Get(ctx, id)
			if err != nil {
				return err
			}
			m := rec.Value
			by := decimal.NewFromInt(1)
			if f := factor[id]; f != "" {
				by = dec(f)
			}
			req.Inline = append(req.Inline, app.InlineCandidate{Price: money.PerKg{Currency: "EUR", Amount: m.StandardCostPerKg.Mul(by)},
				Candidate: formulation.Candidate{ID: id, Material: id, Class: m.Class, ColourIndex: m.ColourIndex, Properties: m.Properties, Deviation: m.Deviations, Available: -1}})
		}
		return nil
	})
	return x.optimise(req).CostPerKg
}

func near(a, b money.PerKg) bool {
	return math.Abs(a.Amount.Sub(b.Amount).InexactFloat64()) < 2e-4
}

// TestRepricedIsOptimised: the book's answer at standard cost is that of Optimise
// on the same materials, as it is and at prices tried out, whatever the way.
func TestRepricedIsOptimised(t *testing.T) {
	x := newMill(t)
	x.specification()
	x.specified(800_000)
	std := app.RepriceRequest{Basis: valuation.Standard}
	r, row := x.reprices(std)
	if r.Count != (app.RepriceCount{Formulas: 1, Solved: 1, Reformulate: 1}) && r.Count != (app.RepriceCount{Formulas: 1, Solved: 1}) {
		t.Errorf("%+v", r.Count)
	}
	// 0.18 x 12 + 0.7 x 3.5 + 0.115 x 1.8 + 0.005 x 9 = 4.862, over a yield of 80 %.
	if !row.AsIs.Amount.Equal(dec("6.0775")) || !row.Before.Amount.Equal(row.AsIs.Amount) {
		t.Errorf("the recipe costs %v, before %v", row.AsIs, row.Before)
	}
	at := func(row app.RepricedFormula, factor map[string]string) {
		t.Helper()
		want := x.inlineCost(factor)
		want.Amount = want.Amount.Div(dec("0.8"))
		if row.Cheapest == nil || !near(*row.Cheapest, want) {
			t.Errorf("%v: cheapest %v, Optimise says %v", factor, row.Cheapest, want)
		}
	}
	at(row, nil)
	for _, c := range []struct {
		material, percent, factor string
	}{{"varnish", "0.1", "1.001"}, {"varnish", "-60", "0.4"}, {"oil", "300", "4"}, {"blue", "-50", "0.5"}, {"drier", "5", "1.05"}, {"oil", "-100", "0"}} {
		req := std
		req.Trials = []app.PriceTrial{{Material: c.material, Percent: dec(c.percent)}}
		r, row := x.reprices(req)
		at(row, map[string]string{c.material: c.factor})
		if n := r.Count; n.Unchanged+n.Proved+n.Solved != 1 || row.Saving.Amount.Sign() < 0 {
			t.Errorf("%v: %+v %+v", c, n, row)
		}
		if r, _ := x.reprices(std); r.Count.Unchanged != 1 {
			t.Errorf("%v has touched the book: %+v", c, r.Count)
		}
	}
	// A price of its own, in another currency: 7 USD are 6.30 EUR.
	req := std
	req.Trials = []app.PriceTrial{{Material: "varnish", Price: &money.PerKg{Currency: "USD", Amount: dec("7")}}}
	_, row = x.reprices(req)
	at(row, map[string]string{"varnish": "1.8"})
	if want := dec("6.0775").Add(dec("2.80").Mul(dec("0.7")).Div(dec("0.8"))); !row.AsIs.Amount.Equal(want) {
		t.Errorf("the recipe costs %v, want %s", row.AsIs, want)
	}
}

// TestRepricedFollowsTheBook: new properties, other limits and stock that goes are
// in the next answer, and a price that moved is not solved for nothing.
func TestRepricedFollowsTheBook(t *testing.T) {
	x := newMill(t)
	x.specification()
	x.specified(1_000_000)
	std := app.RepriceRequest{Basis: valuation.Standard}
	x.reprices(std)
	x.change("varnish", func(m *app.BookMaterial) { m.StandardCostPerKg = dec("3.51") })
	r, row := x.reprices(std)
	if r.Count.Proved != 1 || !near(*row.Cheapest, x.inlineCost(nil)) {
		t.Errorf("a price that moved a little: %+v, %v", r.Count, row.Cheapest)
	}
	x.change("varnish", func(m *app.BookMaterial) { m.Properties["tack_units"] = 11 })
	r, row = x.reprices(std)
	if r.Count.Solved != 1 || !near(*row.Cheapest, x.inlineCost(nil)) {
		t.Errorf("another tack: %+v, %v", r.Count, row.Cheapest)
	}
	x.limit(0, func(l *formulation.Limit) { l.Lower = at(0.2) })
	before := row.Cheapest.Amount
	r, row = x.reprices(std)
	if r.Count.Solved != 1 || !near(*row.Cheapest, x.inlineCost(nil)) || !row.Cheapest.Amount.GreaterThan(before) {
		t.Errorf("more pigment asked for: %+v, %v", r.Count, row.Cheapest)
	}
	x.material("work-off", "Leftover cyan", inventory.WorkOff, "", "0.10",
		property.Set{"density_kg_per_l": 1.1, "pigment_fraction/PB15:3": 0.18, "binder_solids_fraction": 0.5, "volatile_fraction": 0.2, "tack_units": 9, "metal_fraction/cobalt": 0.0002})
	_, none := x.reprices(std)
	if !near(*none.Cheapest, *row.Cheapest) {
		t.Errorf("work-off that is not there is used: %v", none.Cheapest)
	}
	x.stock("left-1", "work-off", 20, "0.10", 100)
	_, some := x.reprices(std)
	x.reserve("left-1", 15)
	r, less := x.reprices(std)
	for _, c := range []struct {
		row  app.RepricedFormula
		most float64
	}{{some, 0.2}, {less, 0.05}} {
		for _, s := range c.row.Changes {
			if s.Material == "work-off" && math.Abs(s.Cheapest-c.most) > 1e-6 {
				t.Errorf("%g of work-off, %g is there", s.Cheapest, c.most)
			}
		}
	}
	if r.Count.Solved+r.Count.Proved != 1 || !(some.Cheapest.Amount.LessThan(less.Cheapest.Amount) && less.Cheapest.Amount.LessThan(none.Cheapest.Amount)) {
		t.Errorf("%v with 20 kg, %v with 5, %v with none: %+v", some.Cheapest, less.Cheapest, none.Cheapest, r.Count)
	}
}

// TestNothingIsMadeFromItself: a base ink does not go into the formula that makes
// it, however cheap it is in stock, and neither does what is made from it.
func TestNothingIsMadeFromItself(t *testing.T) {
	x := newMill(t)
	x.specification()
	cheap := property.Set{"density_kg_per_l": 1.05, "pigment_fraction/PB15:3": 0.2, "binder_solids_fraction": 0.5, "volatile_fraction": 0.2, "tack_units": 10, "metal_fraction/cobalt": 0.0003}
	x.material("base", "Base blue", inventory.BaseInk, "", "0.10", cheap)
	x.material("paste", "Blue paste", inventory.BaseInk, "", "0.10", cheap)
	x.released(formula.Formula{ID: "base", Title: "Base blue", Material: "base", Specification: "cyan",
		Ingredients: []formula.Ingredient{{Material: "drier", PartsPerMillion: 5_000}, {Material: "blue", PartsPerMillion: 180_000},
			{Material: "varnish", PartsPerMillion: 700_000}, {Material: "oil", PartsPerMillion: 115_000}}})
	x.released(formula.Formula{ID: "paste", Title: "Paste", Material: "paste", Ingredients: []formula.Ingredient{{Material: "base", PartsPerMillion: 1_000_000}}})
	x.stock("base-1", "base", 500, "0.10", 100)
	x.stock("paste-1", "paste", 500, "0.10", 100)
	x.fill()
	for _, basis := range []valuation.Basis{valuation.Average, valuation.Lot, valuation.Standard} {
		_, row := x.reprices(app.RepriceRequest{Basis: basis})
		for _, c := range row.Changes {
			if c.Material == "base" || c.Material == "paste" {
				t.Errorf("%s: base blue is made of %g %s", basis, c.Cheapest, c.Material)
			}
		}
		if row.Cheapest == nil || row.Cheapest.Amount.LessThan(dec("2")) {
			t.Errorf("%s: %+v", basis, row)
		}
	}
}

// TestRepricedFromLots: on the lot basis it is Optimise over the book.
func TestRepricedFromLots(t *testing.T) {
	x := newMill(t)
	x.fill()
	x.specification()
	x.specified(1_000_000)
	lots := app.RepriceRequest{Basis: valuation.Lot, Date: x.asked().Date}
	_, row := x.reprices(lots)
	if want := x.optimise(x.asked()).CostPerKg; !near(*row.Cheapest, want) {
		t.Errorf("%v, Optimise says %v", row.Cheapest, want)
	}
	x.reserve("oil-1", 190)
	r, row := x.reprices(lots)
	if want := x.optimise(x.asked()).CostPerKg; !near(*row.Cheapest, want) || r.Count.Unchanged == 1 {
		t.Errorf("%v after a reservation, Optimise says %v: %+v", row.Cheapest, want, r.Count)
	}
}

// TestRepricedWithConfidence: a limit that holds with a confidence has no linear
// program to keep; it is solved each time, and by Optimise.
func TestRepricedWithConfidence(t *testing.T) {
	x := newMill(t)
	x.specification()
	x.specified(1_000_000)
	x.limit(1, func(l *formulation.Limit) { l.Confidence = 0.95 })
	std := app.RepriceRequest{Basis: valuation.Standard}
	_, sure := x.reprices(std)
	x.change("oil", func(m *app.BookMaterial) {
		m.Deviations = property.Set{"volatile_fraction": 0.01}
	})
	x.change("varnish", func(m *app.BookMaterial) { m.Deviations = property.Set{"volatile_fraction": 0.005} })
	if _, row := x.reprices(std); row.Cheapest == nil || !row.Cheapest.Amount.GreaterThan(sure.Cheapest.Amount) {
		t.Fatalf("%v when values are sure, %v when they deviate: %s", sure.Cheapest, row.Cheapest, row.Summary)
	}
	for range 2 {
		if r, row := x.reprices(std); r.Count.Solved != 1 || !near(*row.Cheapest, x.inlineCost(nil)) {
			t.Errorf("%+v, %v", r.Count, row.Cheapest)
		}
	}
	std.Trials = []app.PriceTrial{{Material: "varnish", Percent: dec("200")}}
	if r, row := x.reprices(std); r.Count.Solved != 1 || !near(*row.Cheapest, x.inlineCost(map[string]string{"varnish": "3"})) {
		t.Errorf("%+v, %v", r.Count, row.Cheapest)
	}
	x.limit(1, func(l *formulation.Limit) { l.Upper = at(1) })
	if r, row := x.reprices(std); r.Count.Impossible != 1 || row.Cheapest != nil || !strings.Contains(row.Summary, "VOC of at most 1 g/L") {
		t.Errorf("%+v %+v", r.Count, row)
	}
}

// change changes a material.
func (x *mill) change(id string, f func(*app.BookMaterial)) {
	x.t.Helper()
	x.update(func(ctx context.Context, tx app.Tx) error {
		rec, err := tx.Materials().Get(ctx, id)
		if err == nil {
			f(&rec.Value)
			_, err = tx.Materials().Update(ctx, rec.Value, rec.Version)
		}
		return err
	})
}

// limit changes one limit of the specification.
func (x *mill) limit(i int, change func(*formulation.Limit)) {
	x.t.Helper()
	x.update(func(ctx context.Context, tx app.Tx) error {
		rec, err := tx.Specifications().Get(ctx, "cyan")
		if err == nil {
			change(&rec.Value.Limits[i])
			_, err = tx.Specifications().Update(ctx, rec.Value, rec.Version)
		}
		return err
	})
}

func TestRepricedImpossible(t *testing.T) {
	x := newMill(t)
	x.specification()
	x.specified(1_000_000)
	x.limit(1, func(l *formulation.Limit) { l.Upper = at(1) })
	for range 2 {
		r, row := x.reprices(app.RepriceRequest{Basis: valuation.Standard})
		if r.Count.Impossible != 1 || row.Cheapest != nil || row.Saving != nil || !strings.Contains(row.Summary, "VOC of at most 1 g/L") {
			t.Errorf("%+v %+v", r.Count, row)
		}
	}
}

func TestRepriceRefusals(t *testing.T) {
	x := newMill(t)
	x.specification()
	x.specified(1_000_000)
	price := func(currency, amount string) *money.PerKg {
		return &money.PerKg{Currency: currency, Amount: dec(amount)}
	}
	for field, req := range map[string]app.RepriceRequest{
		"changes[0].material":     {Trials: []app.PriceTrial{{Material: "none"}}},
		"changes[1].material":     {Trials: []app.PriceTrial{{Material: "blue"}, {Material: "blue"}}},
		"changes[0].percent":      {Trials: []app.PriceTrial{{Material: "blue", Percent: dec("-101")}}},
		"changes[0]":              {Trials: []app.PriceTrial{{Material: "blue", Percent: dec("1"), Price: price("EUR", "1")}}},
		"changes[0].price_per_kg": {Trials: []app.PriceTrial{{Material: "blue", Price: price("JPY", "1")}}},
		"formulas[0]":             {Formulas: []string{"none"}},
		"cost_basis":              {Basis: 99},
		"quantity_kg":             {Quantity: -1},
		"date":                    {Date: x.today.AddDate(0, 0, -1)},
	} {
		_, err := x.book.RepriceBook(context.Background(), req)
		var bad app.Invalid
		if !errors.As(err, &bad) || bad[0].Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
}
