package formulation_test

import (
	"testing"

	"pgregory.net/rapid"

	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
)

// A component of which no formula takes as much as the coarse balance begins at is
// held to what the fine one can weigh.
func TestBetweenTwoBalances(t *testing.T) {
	loses := property.Set{property.WaxSolidsFraction: .15, property.RetainedFraction: .5}
	p := &formulation.Problem{Catalogue: property.BuiltIn(), Quantity: 4 * mass.Kilogram,
		Limits: []formulation.Limit{{ID: "wax", Kind: formulation.WaxSolids, Lower: to(.25)}},
		Candidates: []formulation.Candidate{
			{ID: "a", Material: "A", CostPerKg: .25, Available: -1, Properties: loses},
			{ID: "b", Material: "B", CostPerKg: .25, Available: -1, Properties: property.Set{property.WaxSolidsFraction: .2}},
		},
		Weighing: &formulation.Weighing{Balances: []formulation.Balance{{Division: mass.Kilogram, From: 3500 * mass.Gram},
			{Division: 500 * mass.Gram, Capacity: 500 * mass.Gram}}}}
	a := weigh(t, p)
	want, ok := enumerated(p, a.Weighed.LastCostPerKg)
	if a.Outcome != formulation.Optimal || !ok {
		t.Fatalf("%s %+v %+v", a.Outcome, a.Weighed, a.Components)
	}
	near(t, "cost", a.CostPerKg, want, 1e-9)
}

// A batch so small that a milligram is more than a limit leaves room for: the
// answer is in whole milligrams that meet it, or there is none; never one that
// misses it. Wax comes in halves of a
// milligram: 33 mg at 35 % can't be met.
func TestBatchOfMilligrams(t *testing.T) {
	p := &formulation.Problem{Catalogue: property.BuiltIn(),
		Limits: []formulation.Limit{{ID: "wax", Kind: formulation.WaxSolids, Lower: to(.35), Upper: to(.35)}},
		Candidates: []formulation.Candidate{
			{ID: "wax", Material: "A", CostPerKg: 3, Available: -1, Properties: property.Set{property.WaxSolidsFraction: 1}},
			{ID: "half", Material: "C", CostPerKg: 1.4, Available: -1, Properties: property.Set{property.WaxSolidsFraction: .5}},
			{ID: "oil", Material: "B", CostPerKg: 1, Available: -1},
		}}
	for quantity, feasible := range map[mass.Mass]bool{100: true, 130: true, 33: false, 20: true, 7: false, 1000: true, 90_001: true} {
		p.Quantity = quantity
		a := optimise(t, p)
		if (a.Outcome == formulation.Optimal) != feasible {
			t.Errorf("%d mg: %s %+v", quantity, a.Outcome, a.Components)
			continue
		}
		if !feasible {
			if a.Clash.Rules == nil || len(a.Assumed) == 0 {
				t.Errorf("%d mg: nothing is said", quantity)
			}
			continue
		}
		var sum mass.Mass
		kg := make([]float64, 3)
		for _, c := range a.Components {
			sum += c.Mass
			kg[c.Candidate] = c.Mass.Kilograms()
		}
		reports, err := formulation.Evaluate(p, kg)
		if err != nil || !reports[0].Met || sum != quantity {
			t.Errorf("%d mg of %d: %+v %v", sum, quantity, reports, err)
		}
	}
}

// What must hold whatever the figures: a formula that can be weighed costs no less
// than one to the milligram, and leaving out any one rule never costs more.
func TestRulesNeverSave(t *testing.T) {
	bit := map[string]int{}
	rapid.Check(t, func(r *rapid.T) {
		p := small(r)
		a := weigh(r, p)
		if a.Outcome != formulation.Optimal {
			return
		}
		free := a.Weighed.FreeCostPerKg
		a0 := a.Weighed
		value := func(a *formulation.Answer) float64 {
			w := a.Weighed
			return a.CostPerKg*w.Made.Kilograms() - a0.LastCostPerKg*w.Over.Kilograms()
		}
		if value(a) < free*p.Quantity.Kilograms()*(1-1e-5)-1e-6 {
			r.Errorf("%g, to the milligram %g", value(a)/p.Quantity.Kilograms(), free)
		}
		for what, drop := range map[string]func(*formulation.Weighing){
			"at most": func(w *formulation.Weighing) { w.AtMost = 0 },
			"lots":    func(w *formulation.Weighing) { w.LotsPerMaterial = 0 },
			"least":   func(w *formulation.Weighing) { w.Least = 0 },
			"rules":   func(w *formulation.Weighing) { w.Rules = nil },
			"wider":   func(w *formulation.Weighing) { w.Tolerance += mass.Kilogram / 2 },
			"finer": func(w *formulation.Weighing) {
				w.Balances = append(w.Balances[:len(w.Balances):len(w.Balances)], formulation.Balance{Division: mass.Kilogram / 2})
			},
		} {
			q, w := clone(p), *p.Weighing
			drop(&w)
			q.Weighing = &w
			b := weigh(r, q)
			if b.Outcome != formulation.Optimal {
				r.Errorf("without %s: %s", what, b.Outcome)
				continue
			}
			if value(b) > value(a)+1e-6*(1+value(a)) {
				r.Errorf("without %s: %g instead of %g", what, value(b), value(a))
			}
			if value(b) < value(a)-1e-4 {
				bit[what]++
			}
		}
	})
	t.Log(bit)
	if len(bit) < 3 {
		t.Errorf("rules that made a difference: %v", bit)
	}
}

// FuzzWeighable feeds rules of every kind, in any mixture: an answer obeys them
// (see checkWeighed), and small problems are always decided.
func FuzzWeighable(f *testing.F) {
	f.Fuzz(rapid.MakeFuzz(func(r *rapid.T) {
		p := small(r)
		if a := weigh(r, p); a.Outcome != formulation.Optimal && a.Outcome != formulation.Infeasible {
			r.Fatalf("%s %+v", a.Outcome, a.Weighed)
		}
	}))
}
