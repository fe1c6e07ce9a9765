package formulation_test

import (
	"context"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/cbc"
	"millbase/solver/checked"
	"millbase/solver/clp"
	"millbase/solver/formulation"
)

// weigher is what the server uses for weighable formulas.
var weigher = &checked.Engine{First: clp.New(), Second: clp.NewLanl(), Whole: cbc.New()}

func weigh(t tester, p *formulation.Problem) *formulation.Answer {
	t.Helper()
	a, err := formulation.Optimise(context.Background(), weigher, p)
	if err != nil {
		t.Fatal(err)
	}
	if a.Outcome == formulation.Optimal || a.Outcome == formulation.Feasible {
		checkWeighed(t, p, a)
	}
	return a
}

// checkWeighed holds an answer to everything that a weighable formula must be.
func checkWeighed(t tester, p *formulation.Problem, a *formulation.Answer) {
	t.Helper()
	masses, kg := make([]mass.Mass, len(p.Candidates)), make([]float64, len(p.Candidates))
	cost, made := 0.0, 0.0
	for _, c := range a.Components {
		of := &p.Candidates[c.Candidate]
		masses[c.Candidate], kg[c.Candidate] = c.Mass, c.Mass.Kilograms()
		cost += c.Mass.Kilograms() * of.CostPerKg
		made += c.Mass.Kilograms() * of.Properties.Retained()
		if c.Mass%c.Division != 0 || c.Division <= 0 {
			t.Errorf("%s of %s in divisions of %s", c.Mass, of.Name(), c.Division)
		}
	}
	if broken := formulation.CheckWeighing(p, masses); len(broken) > 0 {
		t.Errorf("the answer breaks rules: %v", broken)
	}
	reports, err := formulation.Evaluate(p, kg)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range reports {
		if !r.Met || !a.Limits[i].Met {
			t.Errorf("%s is missed: %+v", p.Limits[i].ID, r)
		}
		near(t, p.Limits[i].ID, a.Limits[i].Value, r.Value, 1e-12*math.Abs(r.Value))
	}
	w := a.Weighed
	q := p.Quantity.Kilograms()
	if math.Abs(made-q) > p.Weighing.Tolerance.Kilograms()+2e-6*q+1e-5 {
		t.Errorf("%g kg of %g, allowed %s", made, q, p.Weighing.Tolerance)
	}
	near(t, "made", w.Made.Kilograms(), made, 1e-6)
	near(t, "total", a.TotalCost, cost, 1e-9*math.Abs(cost))
	near(t, "per kg", a.CostPerKg, cost/made, 1e-9*math.Abs(cost))
	if w.GapPerKg < 0 || w.PricePerKg < 0 {
		t.Errorf("%+v", w)
	}
	if (a.Outcome == formulation.Optimal) != w.Proven || w.Proven && w.GapFraction > p.Weighing.Gap+1e-6 {
		t.Errorf("%s, but %+v", a.Outcome, w)
	}
}

// Winston, Operations Research, as in TestWinstonMetalBlend, with whole ingots:
// 653.61, 32 of them.
func TestWinstonWholeIngots(t *testing.T) {
	p := winston(t)
	p.Weighing = &formulation.Weighing{Handling: []formulation.Handling{
		{Of: formulation.Group{Candidates: []string{"ingot"}}, Container: mass.Kilogram}}}
	a := weigh(t, p)
	if a.Outcome != formulation.Optimal {
		t.Fatalf("%s %+v", a.Outcome, a.Weighed)
	}
	near(t, "cost", a.TotalCost, 653.61, 0.005)
	near(t, "without rules", a.Weighed.FreeCostPerKg*71, 653.554136, 1e-5)
	near(t, "price of whole ingots", a.Weighed.PricePerKg, (a.TotalCost-653.554136)/71, 1e-6)
	for _, c := range a.Components {
		if p.Candidates[c.Candidate].ID == "ingot" && (c.Mass != 32*mass.Kilogram || !c.Container) {
			t.Errorf("%s of ingot: %+v", c.Mass, c)
		}
	}
}

// small is a problem that can be enumerated: up to four candidates, up to about
// fifteen divisions in the batch.
func small(r *rapid.T) *formulation.Problem {
	p := &formulation.Problem{Catalogue: property.BuiltIn(), Quantity: mass.Mass(rapid.IntRange(4, 15).Draw(r, "quantity")) * mass.Kilogram}
	n := rapid.IntRange(2, 4).Draw(r, "candidates")
	classes := []inventory.Class{inventory.Varnish, inventory.Oil, inventory.Pigment}
	for j := range n {
		c := formulation.Candidate{ID: string(rune('a' + j)), Material: string(rune('A' + j/2)), Class: classes[j%3],
			CostPerKg: float64(rapid.IntRange(1, 40).Draw(r, "price")) / 4, Available: -1,
			Properties: property.Set{property.VolatileFraction: float64(rapid.IntRange(0, 20).Draw(r, "volatile")) / 20,
				property.WaxSolidsFraction: float64(rapid.IntRange(0, 20).Draw(r, "wax")) / 20}}
		if rapid.IntRange(0, 2).Draw(r, "stocked") == 0 {
			c.Available = mass.Mass(rapid.IntRange(0, 12_000).Draw(r, "stock")) * mass.Gram
		}
		if rapid.IntRange(0, 5).Draw(r, "loses") == 0 {
			c.Properties[property.RetainedFraction] = 0.5
		}
		if rapid.IntRange(0, 5).Draw(r, "twin") == 0 && j > 0 {
			twin := p.Candidates[j-1]
			twin.ID, twin.Available = c.ID, c.Available
			c = twin
		}
		p.Candidates = append(p.Candidates, c)
	}
	lower, upper := float64(rapid.IntRange(0, 10).Draw(r, "wax from"))/20, float64(rapid.IntRange(5, 20).Draw(r, "volatile to"))/20
	p.Limits = []formulation.Limit{
		{ID: "wax", Kind: formulation.WaxSolids, Lower: &lower},
		{ID: "voc", Kind: formulation.VOCMass, Upper: &upper}}
	p.Weighing = rules(r, p)
	return p
}

// rules draws rules of every kind.
func rules(r *rapid.T, p *formulation.Problem) *formulation.Weighing {
	w := &formulation.Weighing{}
	kg := func(what string, lo, hi int) mass.Mass {
		return mass.Mass(rapid.IntRange(lo, hi).Draw(r, what)) * mass.Kilogram / 2
	}
	group := func(what string) formulation.Group {
		switch rapid.IntRange(0, 2).Draw(r, what) {
		case 0:
			return formulation.Group{Candidates: []string{p.Candidates[rapid.IntRange(0, len(p.Candidates)-1).Draw(r, "named")].ID}}
		case 1:
			return formulation.Group{Materials: []string{rapid.SampledFrom([]string{"A", "B", "C"}).Draw(r, "material")}}
		}
		return formulation.Group{Classes: []inventory.Class{rapid.SampledFrom([]inventory.Class{inventory.Varnish, inventory.Oil, inventory.Pigment}).Draw(r, "class")}}
	}
	w.Balances = []formulation.Balance{{Name: "floor", Division: mass.Kilogram}}
	if rapid.Bool().Draw(r, "two balances") {
		w.Balances[0].From = kg("from", 0, 8)
		w.Balances = append(w.Balances, formulation.Balance{Name: "bench", Division: mass.Kilogram / 2, Capacity: kg("capacity", 1, 8)})
	}
	w.Tolerance = kg("tolerance", 0, 2)
	w.Least = kg("least", 0, 4)
	w.AtMost = rapid.IntRange(0, 4).Draw(r, "at most")
	w.LotsPerMaterial = rapid.IntRange(0, 2).Draw(r, "lots")
	if rapid.Bool().Draw(r, "bags") {
		w.Handling = append(w.Handling, formulation.Handling{Of: group("bags of"), Container: kg("bag", 1, 6)})
	}
	if rapid.Bool().Draw(r, "own") {
		w.Handling = append(w.Handling, formulation.Handling{Of: group("own of"), Division: kg("own division", 1, 3), Least: kg("own least", 0, 4)})
	}
	for range rapid.IntRange(0, 2).Draw(r, "rules") {
		rule := formulation.Rule{Kind: rapid.SampledFrom([]formulation.RuleKind{formulation.IfThen, formulation.NeverBoth,
			formulation.AtLeastOf, formulation.AtMostOf}).Draw(r, "kind"), Groups: []formulation.Group{group("first")}}
		switch rule.Kind {
		case formulation.IfThen:
			rule.Groups = append(rule.Groups, group("then"))
		case formulation.NeverBoth:
			rule.Groups = append(rule.Groups, group("other"))
			if overlap(p, rule.Groups) {
				continue
			}
		default:
			rule.Count = rapid.IntRange(1, 2).Draw(r, "count")
		}
		w.Rules = append(w.Rules, rule)
	}
	return w
}

func overlap(p *formulation.Problem, groups []formulation.Group) bool {
	for j := range p.Candidates {
		if groups[0].Has(&p.Candidates[j]) && groups[1].Has(&p.Candidates[j]) {
			return true
		}
	}
	return false
}

// enumerated is the cheapest of all formulas in steps of half a kilogram, by the
// value that Optimise minimises; ok is false when there is none.
func enumerated(p *formulation.Problem, free float64) (best float64, ok bool) {
	best = math.Inf(1)
	masses, kg := make([]mass.Mass, len(p.Candidates)), make([]float64, len(p.Candidates))
	q := p.Quantity.Kilograms()
	var walk func(j int, cost, made float64)
	walk = func(j int, cost, made float64) {
		if made > q+p.Weighing.Tolerance.Kilograms()+1e-9 {
			return
		}
		if j < len(masses) {
			c := &p.Candidates[j]
			for n := mass.Mass(0); n <= 2*p.Quantity*2/mass.Kilogram+4; n++ {
				masses[j] = n * mass.Kilogram / 2
				kg[j] = masses[j].Kilograms()
				if c.Available >= 0 && masses[j] > c.Available {
					break
				}
				stays := kg[j] * c.Properties.Retained()
				if made+stays > q+p.Weighing.Tolerance.Kilograms()+1e-9 {
					break
				}
				walk(j+1, cost+kg[j]*c.CostPerKg, made+stays)
			}
			masses[j], kg[j] = 0, 0
			return
		}
		value := (cost - free*(made-q)) / q
		if made < q-p.Weighing.Tolerance.Kilograms()-1e-9 || value >= best || len(formulation.CheckWeighing(p, masses)) > 0 {
			return
		}
		reports, err := formulation.Evaluate(p, kg)
		if err != nil {
			panic(err)
		}
		for _, r := range reports {
			if !r.Met {
				return
			}
		}
		best, ok = value, true
	}
	walk(0, 0, 0)
	return best, ok
}

// Every small problem has the answer that trying all formulas gives.
func TestWeighableByEnumeration(t *testing.T) {
	seen := map[formulation.Outcome]int{}
	rapid.Check(t, func(r *rapid.T) {
		p := small(r)
		a := weigh(r, p)
		seen[a.Outcome]++
		switch a.Outcome {
		case formulation.Optimal, formulation.Feasible:
			want, ok := enumerated(p, a.Weighed.LastCostPerKg)
			if !ok {
				r.Fatalf("nothing was found by trying all: %+v", a.Components)
			}
			got := a.CostPerKg*a.Weighed.Made.Kilograms()/p.Quantity.Kilograms() -
				a.Weighed.LastCostPerKg*a.Weighed.Over.Kilograms()/p.Quantity.Kilograms()
			near(r, "cost", got, want, a.Weighed.GapPerKg+1e-6*(1+want))
			if a.Outcome == formulation.Feasible && a.Weighed.GapFraction > 1e-3 {
				r.Errorf("%g of the cost was not proved", a.Weighed.GapFraction)
			}
		case formulation.Infeasible:
			if a.Clash.Rules == nil {
				return // the limits themselves clash
			}
			if best, ok := enumerated(p, a.Clash.Rules.FreeCostPerKg); ok {
				r.Fatalf("there is a formula at %g", best)
			}
			checkWays(r, p, a.Clash.Rules)
		default:
			r.Fatalf("outcome %s %+v %+v", a.Outcome, a.Weighed, a.Components)
		}
	})
	t.Log(seen)
	if seen[formulation.Optimal] == 0 || seen[formulation.Infeasible] == 0 {
		t.Errorf("one-sided: %v", seen)
	}
}

// checkWays holds what is said about clashing rules to its word. A way may make
// less ink, where a scarce cheap lot goes further, so it is held to the cheapest
// kilogram there is with any amount of every lot.
func checkWays(t tester, p *formulation.Problem, c *formulation.RuleClash) {
	t.Helper()
	if len(c.Rules) == 0 {
		t.Errorf("no rule is in the way")
	}
	plenty := *p
	plenty.Weighing, plenty.Candidates = nil, slices.Clone(p.Candidates)
	for j := range plenty.Candidates {
		if c := &plenty.Candidates[j]; c.Available > 0 {
			c.Available = -1
		}
	}
	floor := optimise(t, &plenty)
	if floor.Outcome != formulation.Optimal {
		t.Fatalf("%s, but with less of everything it can be made", floor.Outcome)
	}
	for _, w := range c.Ways {
		if w.Instead == "" || math.IsNaN(w.CostPerKg) || w.CostPerKg < floor.CostPerKg*(1-1e-5)-1e-9 {
			t.Errorf("%+v beside %g", w, floor.CostPerKg)
		}
	}
}
