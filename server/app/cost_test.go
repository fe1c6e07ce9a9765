package app_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/shopspring/decimal"

	"millbase/costing/purchase"
	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/server/app"
)

// checkSum: the amounts of all lines add up to the total, exactly.
func checkSum(t *testing.T, c app.FormulaCost) {
	t.Helper()
	sum := decimal.Zero
	for _, l := range c.Lines {
		sum = sum.Add(l.Amount.Amount)
		if l.Amount.Currency != c.Total.Currency {
			t.Errorf("line %q is in %s", l.Title, l.Amount.Currency)
		}
	}
	if !sum.Equal(c.Total.Amount) {
		t.Errorf("the lines add up to %s, the total is %s", sum, c.Total)
	}
}

func says(t *testing.T, sentences []string, part string) {
	t.Helper()
	if !slices.ContainsFunc(sentences, func(s string) bool { return strings.Contains(s, part) }) {
		t.Errorf("no sentence says %q: %q", part, sentences)
	}
}

// By hand, standard basis, 100 kg of cyan:
//
//	charge 100/0.8 = 125: base 62.5, varnish 61.25, drier 1.25
//	base, a batch of 500 (the big mixer): blue 200 x 12 + varnish 300 x 3.5 = 3450;
//	  premix 1.5 h x 60 + 0.5 h x 60 wash-up; mill 500 x 2 / 100 + 0.25 h = 10.25 h x 45
//	  + 0.75 h x 45; conversion 615; overhead 345 + 61.5; total 4471.5, 62.5 kg of it 558.9375
//	varnish 214.375, drier 11.25; let-down in the big mixer 90 + 30; test 40;
//	  canning 125/200 h x 36 = 22.5; overhead 22.5625 + 18.25
//	together 1007.875, 10.07875 per kg
func TestCostThroughLevelsAtStandard(t *testing.T) {
	x := newWorks(t)
	c, err := x.book.CostFormula(t.Context(), app.CostQuery{Formula: "cyan", Quantity: 100 * kilo, Basis: valuation.Standard})
	if err != nil {
		t.Fatal(err)
	}
	if !c.Total.Amount.Equal(dec("1007.875")) || !c.PerKg.Amount.Equal(dec("10.07875")) || c.Charge != 125*kilo || c.Formula != "cyan@1" {
		t.Errorf("total %s, %s, charge %s of %s; want 1007.875, 10.07875, 125 kg of cyan@1", c.Total, c.PerKg, c.Charge, c.Formula)
	}
	checkSum(t, c)
	for _, want := range []struct {
		kind   app.CostKind
		title  string
		level  int
		amount string
	}{
		{app.CostMaterial, "Phthalo blue, in Base blue", 1, "300"}, // 25 kg x 12
		{app.CostMaterial, "Alkyd varnish", 0, "214.375"},
		{app.CostProcess, "let down on Big mixer", 0, "90"},
		{app.CostWashUp, "wash-up of Big mixer", 0, "30"},
		{app.CostProcess, "canning on Filler", 0, "22.5"},
		{app.CostOverhead, "overhead on conversion", 0, "18.25"},
	} {
		i := slices.IndexFunc(c.Lines, func(l app.CostLine) bool {
			return l.Kind == want.kind && l.Title == want.title && l.Level == want.level
		})
		if i < 0 || !c.Lines[i].Amount.Amount.Equal(dec(want.amount)) {
			t.Errorf("no line %+v in %+v", want, c.Lines)
		}
	}
	says(t, c.Assumptions, "standard basis on 2026-11-02")
	says(t, c.Assumptions, "Yield is 80 %")
	says(t, c.Assumptions, "as part of a batch of 500 kg")
	says(t, c.Assumptions, "Packaging is not counted")
}

// By hand, lot basis: base from stock 62.5 x 7 = 437.5; varnish from the lot that
// expires first 40 x 3, then 21.25 x 3.6: 196.5; no drier on hand, so bought: (10
// USD + 5 % duty + 0.5 freight) x 0.9 = 9.9, 1.25 kg 12.375. Materials 646.375,
// conversion 182.5, overhead a tenth of both: 911.7625. With five pails of 20 kg
// 926.7625.
func TestCostOfLots(t *testing.T) {
	x := newWorks(t)
	x.stock("base-1", "base-blue", 200, "7.00", 300)
	x.stock("varnish-2", "varnish", 100, "3.60", 200)
	x.stock("varnish-1", "varnish", 40, "3.00", 100)
	x.offer(purchase.Offer{ID: "drier", Material: "drier", Currency: "USD", Breaks: []purchase.Break{{PricePerKg: dec("10")}},
		MinimumOrder: 5 * kilo, FreightPerKg: dec("0.5"), DutyPercent: dec("5")})
	c, err := x.book.CostFormula(t.Context(), app.CostQuery{Formula: "cyan@1", Quantity: 100 * kilo})
	if err != nil {
		t.Fatal(err)
	}
	if !c.Total.Amount.Equal(dec("911.7625")) || c.Basis != valuation.Lot {
		t.Errorf("total %s on %s, want 911.7625 on lots", c.Total, c.Basis)
	}
	checkSum(t, c)
	says(t, c.Assumptions, "Cobalt drier: no free lot")
	c, err = x.book.CostFormula(t.Context(), app.CostQuery{Formula: "cyan", Quantity: 100 * kilo, Pack: "pail-20"})
	if err != nil || !c.Total.Amount.Equal(dec("926.7625")) {
		t.Errorf("packed %s (%v), want 926.7625", c.Total, err)
	}
	// Average of the varnish on hand: (40 x 3 + 100 x 3.6) / 140 = 3.428571.
	c, err = x.book.CostFormula(t.Context(), app.CostQuery{Formula: "cyan", Quantity: 100 * kilo, Basis: valuation.Average})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(c.Lines, func(l app.CostLine) bool { return l.Title == "Alkyd varnish" })
	if !c.Lines[i].Rate.Amount.Equal(dec("3.428571")) {
		t.Errorf("varnish at %s, want 3.428571", c.Lines[i].Rate)
	}
	checkSum(t, c)
	// What is reserved is not there for another batch: 5 kg of the first lot are
	// left, so 5 x 3 + 56.25 x 3.6 = 217.5, 21 more, with overhead 23.1.
	x.reserve("varnish-1", 35)
	c, err = x.book.CostFormula(t.Context(), app.CostQuery{Formula: "cyan", Quantity: 100 * kilo})
	if err != nil || !c.Total.Amount.Equal(dec("934.8625")) {
		t.Errorf("with a reservation %s (%v), want 934.8625", c.Total, err)
	}
}

// Replacement goes by the break that the need reaches, and through the formula
// of a base ink even when some of it is in stock.
func TestCostOfReplacement(t *testing.T) {
	x := newWorks(t)
	x.stock("base-1", "base-blue", 200, "7.00", 0)
	x.offer(purchase.Offer{ID: "varnish", Material: "varnish", Currency: "EUR",
		Breaks: []purchase.Break{{PricePerKg: dec("4")}, {From: 60 * kilo, PricePerKg: dec("3")}}})
	c, err := x.book.CostFormula(t.Context(), app.CostQuery{Formula: "cyan", Quantity: 100 * kilo, Basis: valuation.Replacement})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(c.Lines, func(l app.CostLine) bool { return l.Title == "Alkyd varnish" })
	if !c.Lines[i].Amount.Amount.Equal(dec("183.75")) { // 61.25 x 3
		t.Errorf("varnish %s, want 183.75", c.Lines[i].Amount)
	}
	if !slices.ContainsFunc(c.Lines, func(l app.CostLine) bool { return l.Level == 1 }) {
		t.Error("replacement cost goes through the base ink's formula")
	}
	says(t, c.Assumptions, "Phthalo blue: no offer holds on 2026-11-02, so standard cost is taken")
	checkSum(t, c)
}

// More than the big mixer holds is made in several charges: 1000 kg are 1250 kg
// of charge, three times the mixer.
func TestCostSplitsByCapacity(t *testing.T) {
	x := newWorks(t)
	c, err := x.book.CostFormula(t.Context(), app.CostQuery{Formula: "cyan", Quantity: 1000 * kilo, Basis: valuation.Standard})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(c.Lines, func(l app.CostLine) bool { return l.Title == "let down on Big mixer" })
	if !c.Lines[i].Amount.Amount.Equal(dec("210")) { // 0.5 h + 3 x 1 h at 60
		t.Errorf("let-down %s, want 210", c.Lines[i].Amount)
	}
	says(t, c.Assumptions, "let down takes 3 charges")
	checkSum(t, c)
}

// A job order from a cost accounting text (seen in a stored copy): materials 40,610;
// 1,147 h at 11 with an overhead of 20 an hour, so 31; total 76,167 for 3,100
// units, 24.57 each. Here a unit is a kilogram.
func TestJobOrder(t *testing.T) {
	x := newWorks(t)
	p := worksPlant()
	p.OverheadPercent = decimal.Zero
	p.Machines = []app.Machine{{ID: "shop", Steps: []string{"premix"}, MinutesPerBatch: 1147 * 60, RatePerHour: dec("31")}}
	x.figures(p)
	x.material("stuff", "Materials of the job", inventory.Oil, "", "13.10", nil)
	x.material("job", "The job", inventory.Ink, "", "", nil)
	x.released(formula.Formula{ID: "job", Title: "Job", Material: "job", Ingredients: []formula.Ingredient{{Material: "stuff", PartsPerMillion: 1_000_000}},
		Route: []formula.RouteStep{{Step: formula.Premix, Passes: 1}}})
	c, err := x.book.CostFormula(t.Context(), app.CostQuery{Formula: "job", Quantity: 3100 * kilo, Basis: valuation.Standard})
	if err != nil || !c.Total.Amount.Equal(dec("76167")) || !c.PerKg.Amount.Equal(dec("24.57")) {
		t.Errorf("total %s, %s (%v); want 76,167 and 24.57", c.Total, c.PerKg, err)
	}
}

func TestCostRefusals(t *testing.T) {
	x := newWorks(t)
	x.material("loose", "Unpriced wax", inventory.Wax, "", "", nil)
	x.released(formula.Formula{ID: "waxy", Title: "Waxy", Material: "cyan", Ingredients: []formula.Ingredient{{Material: "loose", PartsPerMillion: 1_000_000}}})
	x.released(formula.Formula{ID: "beads", Title: "Beads", Material: "cyan", Ingredients: []formula.Ingredient{{Material: "varnish", PartsPerMillion: 1_000_000}},
		Route: []formula.RouteStep{{Step: formula.BeadMill, Passes: 1}}})
	for name, c := range map[string]struct {
		q    app.CostQuery
		kind error
		says string
	}{
		"unknown formula":  {app.CostQuery{Formula: "nothing", Quantity: kilo}, app.ErrNotFound, "nothing"},
		"unknown revision": {app.CostQuery{Formula: "cyan@9", Quantity: kilo}, app.ErrNotFound, "cyan@9"},
		"no quantity":      {app.CostQuery{Formula: "cyan"}, nil, "above zero"},
		"negative":         {app.CostQuery{Formula: "cyan", Quantity: -kilo}, nil, "above zero"},
		"huge":             {app.CostQuery{Formula: "cyan", Quantity: mass.Max}, nil, "too large"},
		"past":             {app.CostQuery{Formula: "cyan", Quantity: kilo, Date: x.day(-1)}, nil, "past"},
		"fifo":             {app.CostQuery{Formula: "cyan", Quantity: kilo, Basis: valuation.FIFO}, nil, "average"},
		"unknown pack":     {app.CostQuery{Formula: "cyan", Quantity: kilo, Pack: "drum"}, nil, "tin-1"},
		"no price":         {app.CostQuery{Formula: "waxy", Quantity: kilo}, app.ErrNotReady, "materials/loose has no cost"},
		"no machine":       {app.CostQuery{Formula: "beads", Quantity: kilo}, app.ErrNotReady, "bead mill"},
	} {
		_, err := x.book.CostFormula(t.Context(), c.q)
		var invalid app.Invalid
		if err == nil || !strings.Contains(err.Error(), c.says) || (c.kind == nil && !errors.As(err, &invalid)) || (c.kind != nil && !errors.Is(err, c.kind)) {
			t.Errorf("%s: %v, want %v that says %q", name, err, c.kind, c.says)
		}
	}
}
