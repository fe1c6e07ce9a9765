package app

import (
	"slices"
	"testing"
	"time"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
)

var propertyDay = time.Date(2026, 11, 2, 0, 0, 0, 0, time.UTC)

func drawMass(t *rapid.T, label string, most mass.Mass) mass.Mass {
	return mass.Mass(rapid.Int64Range(1, int64(most)).Draw(t, label))
}

func drawLots(t *rapid.T, material string) []stockItem {
	var out []stockItem
	for i := range rapid.IntRange(0, 4).Draw(t, "lots of "+material) {
		item := stockItem{StockLot: StockLot{Lot: lot.Lot{ID: material + string(rune('a'+i)), Material: material, Status: lot.Released},
			Cost: LotCost{CostPerKg: decimal.New(rapid.Int64Range(1, 9_999_999).Draw(t, "cost"), -5)}},
			OnHand: drawMass(t, "on hand", 300*mass.Kilogram)}
		if days := rapid.IntRange(-3, 40).Draw(t, "days left"); days != 0 {
			item.ExpiryDate = propertyDay.AddDate(0, 0, days)
		}
		out = append(out, item)
	}
	return out
}

// drawSupply is a plant with an ink of a base ink of two materials, with random
// figures, stock and machines.
func drawSupply(t *rapid.T) *supply {
	s := &supply{plant: Plant{Currency: "EUR", TimeZone: "UTC", OverheadPercent: decimal.New(rapid.Int64Range(0, 5000).Draw(t, "overhead"), -2),
		MarginPercent: decimal.NewFromInt(25), QualityReleaseDays: rapid.IntRange(0, 2).Draw(t, "release")},
		now: propertyDay.Add(9 * time.Hour), today: propertyDay, materials: map[string]BookMaterial{}, lots: map[string]StockLot{},
		stock: map[string][]stockItem{}}
	for day := time.Monday; day <= time.Friday; day++ {
		s.plant.Shifts = append(s.plant.Shifts, Shift{day, 8 * 60, 16 * 60})
	}
	for _, id := range []string{"premix", "let_down"} {
		s.plant.Machines = append(s.plant.Machines, Machine{ID: id, Steps: []string{id}, Capacity: drawMass(t, "capacity", 900*mass.Kilogram) + 50*mass.Kilogram,
			KgPerHour: decimal.New(rapid.Int64Range(0, 50_000).Draw(t, "throughput"), -2), MinutesPerBatch: rapid.IntRange(0, 90).Draw(t, "minutes"),
			WashUpMinutes: rapid.IntRange(0, 50).Draw(t, "wash-up"), RatePerHour: decimal.New(rapid.Int64Range(0, 9999).Draw(t, "rate"), -2)})
	}
	for id, class := range map[string]inventory.Class{"blue": inventory.Pigment, "varnish": inventory.Varnish, "base": inventory.BaseInk, "ink": inventory.Ink} {
		s.materials[id] = BookMaterial{Material: inventory.Material{ID: id, Title: id, Class: class}, StandardCostPerKg: decimal.New(5, 0)}
	}
	for _, id := range []string{"blue", "varnish", "base"} {
		s.stock[id] = drawLots(t, id)
	}
	share := rapid.Int64Range(1, formula.Whole-1)
	two := func(a, b string) []formula.Ingredient {
		p := share.Draw(t, "share of "+a)
		return []formula.Ingredient{{Material: a, PartsPerMillion: p}, {Material: b, PartsPerMillion: formula.Whole - p}}
	}
	made := func(id string, step formula.Step, parts []formula.Ingredient) formula.Formula {
		return formula.Formula{ID: id, Revision: 1, Material: id, Ingredients: parts, Released: true, Route: []formula.RouteStep{{Step: step, Passes: 1}},
			YieldPartsPerMillion: rapid.Int64Range(700_000, formula.Whole).Draw(t, "yield of "+id)}
	}
	s.formulas = formulaBook{byMaterial: map[string]formula.Formula{
		"base": made("base", formula.Premix, two("blue", "varnish")), "ink": made("ink", formula.LetDown, two("base", "varnish"))}}
	var err error
	if s.calendar, err = plantCalendar(s.plant); err != nil {
		t.Fatal(err)
	}
	return s
}

// On every basis the lines add up to the total exactly, no line is below zero,
// and what is weighed in is at least quantity over yield.
func TestCostLinesAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSupply(t)
		quantity := drawMass(t, "quantity", 2000*mass.Kilogram)
		for _, basis := range []valuation.Basis{valuation.Lot, valuation.Average, valuation.Replacement, valuation.Standard} {
			c := s.costing(basis, propertyDay)
			f := s.formulas.byMaterial["ink"]
			r, err := c.cost(f, quantity, nil)
			if err != nil {
				t.Fatal(err)
			}
			answer, err := c.answer(f, r)
			if err != nil {
				t.Fatal(err)
			}
			sum := decimal.Zero
			for _, l := range answer.Lines {
				if sum = sum.Add(l.Amount.Amount); l.Amount.Sign() < 0 || l.Quantity < 0 || l.Time < 0 {
					t.Fatalf("line below zero: %+v", l)
				}
			}
			if !sum.Equal(answer.Total.Amount) {
				t.Fatalf("%s: lines %s, total %s", basis, sum, answer.Total)
			}
			if least := mass.MulDiv(quantity, formula.Whole, f.YieldPartsPerMillion, mass.RoundFloor); answer.Charge < least {
				t.Fatalf("charge %s of at least %s", answer.Charge, least)
			}
		}
	})
}

// What expires, what is used and what is left add up to what was there, and a
// lot never goes after its last day.
func TestExpiryConservesMass(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := &supply{today: propertyDay, stock: map[string][]stockItem{"m": drawLots(t, "m")}}
		n := &netter{s: s, start: propertyDay, days: 28}
		r := &netted{required: make([]mass.Mass, n.days)}
		var opening, last mass.Mass // last: what never expires within the days
		for _, i := range s.stock["m"] {
			free := i.free(propertyDay)
			opening += free
			if i.ExpiryDate.IsZero() || !i.ExpiryDate.Before(propertyDay.AddDate(0, 0, n.days-1)) {
				last += free
			}
		}
		var need mass.Mass
		for range rapid.IntRange(0, 5).Draw(t, "needs") {
			q := drawMass(t, "need", 200*mass.Kilogram)
			r.required[rapid.IntRange(0, n.days-1).Draw(t, "day")] += q
			need += q
		}
		var gone mass.Mass
		for _, e := range n.expiring("m", r) {
			if e < 0 {
				t.Fatalf("expiring %s", e)
			}
			gone += e
		}
		if gone > opening-last || gone < opening-last-need {
			t.Fatalf("%s expire of %s, of which %s keep, with a need of %s", gone, opening, last, need)
		}
	})
}

// More is never promised earlier, and what can be promised of more can be
// promised of less.
func TestMoreIsNeverEarlier(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSupply(t)
		ask := func(q mass.Mass) LeadTime {
			p := &promise{s: s, q: LeadTimeQuery{Material: "ink", Quantity: q, From: propertyDay}, open: true}
			if err := p.work(); err != nil {
				t.Fatal(err)
			}
			return p.answer
		}
		little := drawMass(t, "quantity", 400*mass.Kilogram)
		more := little + drawMass(t, "more", 400*mass.Kilogram)
		a, b := ask(little), ask(more)
		switch {
		case b.Possible && !a.Possible:
			t.Fatalf("%s can be had, %s can't: %s", more, little, a.Reason)
		case b.Possible && b.ToMake > 0 && b.Ready.Before(a.Ready):
			// A larger quantity may be split into smaller batches, which is quicker.
			if s.batchesOf(t, more) == s.batchesOf(t, little) {
				t.Fatalf("%s on %s, but %s on %s", little, a.Ready, more, b.Ready)
			}
		}
	})
}

// batchesOf is in how many batches the ink is made.
func (s *supply) batchesOf(t *rapid.T, q mass.Mass) int {
	plan, err := planRoute(s.plant, s.formulas.byMaterial["ink"], q)
	if err != nil {
		t.Fatal(err)
	}
	return plan.batches
}

// Netting on demand gives each material as netting everything does.
func TestNettingOnDemand(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSupply(t)
		s.formulas.revisions = map[string]formula.Formula{"ink@1": s.formulas.byMaterial["ink"], "base@1": s.formulas.byMaterial["base"]}
		for i := range rapid.IntRange(0, 4).Draw(t, "batches") {
			b := batch.Batch{ID: string(rune('a' + i)), Formula: rapid.SampledFrom([]string{"ink", "base"}).Draw(t, "of"), FormulaRevision: 1,
				Quantity: drawMass(t, "planned", 400*mass.Kilogram), DueDate: propertyDay.AddDate(0, 0, rapid.IntRange(0, 40).Draw(t, "due")), State: batch.Planned}
			b.Material = b.Formula
			s.batches = append(s.batches, b)
		}
		all, err := s.net(propertyDay, 60)
		if err != nil {
			t.Fatal(err)
		}
		n := s.netOnDemand(propertyDay, 60)
		for _, id := range rapid.Permutation([]string{"blue", "varnish", "base", "ink"}).Draw(t, "asked") {
			row, err := n.of(id)
			if err != nil {
				t.Fatal(err)
			}
			want := all.rows[id]
			if !slices.Equal(row.required, want.required) || !slices.Equal(row.expected, want.expected) || row.opening != want.opening || !slices.Equal(row.plan.Net, want.plan.Net) {
				t.Fatalf("%s on demand %+v, want %+v", id, row, want)
			}
		}
	})
}
