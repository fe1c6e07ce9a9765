package formulation_test

import (
	"context"
	"fmt"
	"math"
	"testing"

	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/engines"
	"millbase/solver/formulation"
)

// engine is what the server uses: each answer checked, a second engine to ask.
var engine = engines.New()

// tester is testing.T or rapid.T.
type tester interface {
	Helper()
	Errorf(format string, args ...any)
	Fatal(args ...any)
	Fatalf(format string, args ...any)
}

func optimise(t tester, p *formulation.Problem) *formulation.Answer {
	t.Helper()
	a, err := formulation.Optimise(context.Background(), engine, p)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func optimal(t tester, p *formulation.Problem) *formulation.Answer {
	t.Helper()
	a := optimise(t, p)
	if a.Outcome != formulation.Optimal {
		t.Fatalf("outcome %s, clash %+v, left out %v", a.Outcome, a.Clash, a.LeftOut)
	}
	if !a.Proof.OK {
		t.Fatalf("not proven: %s", a.Proof.Reason)
	}
	return a
}

func near(t tester, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.10g, want %.10g", what, got, want)
	}
}

func to(v float64) *float64 { return &v }

// part is a user-defined linear property, an amount per kg.
func part(name string) property.Definition {
	return property.Definition{Name: name, Title: name, Unit: "units", Index: property.Linear,
		Basis: property.BasisMass, Default: to(0), Min: 0, Max: 1e6}
}

func catalogue(t testing.TB, own ...property.Definition) *property.Catalogue {
	t.Helper()
	c, err := property.NewCatalogue(own...)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func limitOn(name string, lower, upper *float64) formulation.Limit {
	return formulation.Limit{ID: name, Kind: formulation.Blended, Property: name, Lower: lower, Upper: upper}
}

// Dantzig, Linear Programming and Extensions (1963), section 3.4: nine alloys,
// wanted 30 % lead, 30 % zinc, 40 % tin. The optimum, 4.98 per lb from 0.6 b and
// 0.4 d, and the reduced costs were computed with an independent tool.
func TestDantzigAlloyBlend(t *testing.T) {
	lead := []float64{10, 10, 40, 60, 30, 30, 30, 50, 20}
	zinc := []float64{10, 30, 50, 30, 30, 40, 20, 40, 30}
	tin := []float64{80, 60, 10, 10, 40, 30, 50, 10, 50}
	price := []float64{4.1, 4.3, 5.8, 6.0, 7.6, 7.5, 7.3, 6.9, 7.3}
	p := &formulation.Problem{Quantity: 100 * mass.Kilogram,
		Catalogue: catalogue(t, part("lead_percent"), part("zinc_percent"), part("tin_percent")),
		Limits: []formulation.Limit{
			limitOn("lead_percent", to(30), to(30)), limitOn("zinc_percent", to(30), to(30)), limitOn("tin_percent", to(40), to(40))}}
	for j := range price {
		p.Candidates = append(p.Candidates, formulation.Candidate{ID: string(rune('a' + j)), CostPerKg: price[j], Available: -1,
			Properties: property.Set{"lead_percent": lead[j], "zinc_percent": zinc[j], "tin_percent": tin[j]}})
	}
	a := optimal(t, p)
	near(t, "cost", a.CostPerKg, 4.98, 1e-9)
	if len(a.Components) != 2 {
		t.Fatalf("components: %+v", a.Components)
	}
	for _, c := range a.Components {
		want := map[int]mass.Mass{1: 60 * mass.Kilogram, 3: 40 * mass.Kilogram}[c.Candidate]
		if c.Mass != want {
			t.Errorf("%s: %s, want %s", p.Candidates[c.Candidate].ID, c.Mass, want)
		}
	}
	for _, l := range a.Limits {
		if l.Binding != formulation.AtBoth || !l.Met {
			t.Errorf("limit %d: %+v", l.Limit, l)
		}
	}
}

// Stigler, Journal of Farm Economics 27 (1945): the diet, as shares of a kg that
// is mostly free filler. One kg of food stands for one dollar a day. Figures of
// the optimum from the same source's later exact solution, as published.
func TestStiglerDiet(t *testing.T) {
	foods, nutrients := stigler(t)
	p := &formulation.Problem{Quantity: 1000 * mass.Kilogram}
	var own []property.Definition
	for _, n := range nutrients {
		own = append(own, part(n.name))
		p.Limits = append(p.Limits, limitOn(n.name, to(n.least), nil))
	}
	p.Catalogue = catalogue(t, own...)
	index := map[string]int{}
	for _, f := range foods {
		set := property.Set{}
		for k, n := range nutrients {
			set[n.name] = f.per[k]
		}
		index[f.name] = len(p.Candidates)
		p.Candidates = append(p.Candidates, formulation.Candidate{ID: f.name, CostPerKg: 1, Available: -1, Properties: set})
	}
	p.Candidates = append(p.Candidates, formulation.Candidate{ID: "filler", Available: -1})
	a := optimal(t, p)
	near(t, "dollars a day", a.CostPerKg, 0.1086622782, 1e-9)
	near(t, "dollars a year", a.CostPerKg*365.25, 39.69, 0.005)
	want := map[string]float64{"flour": .0295191, "liver": .00189256, "cabbage": .0112144, "spinach": .00500766, "navybeans": .0610286}
	for name, dollars := range want {
		j, ok := index[name]
		if !ok {
			t.Fatalf("no food %s", name)
		}
		found := false
		for _, c := range a.Components {
			if c.Candidate == j {
				found = true
				near(t, name, c.Share, dollars, 1e-6*0.1)
			}
		}
		if !found {
			t.Errorf("%s is not in the diet", name)
		}
	}
	duals := map[string]float64{"calories_units": .00876515, "calcium_units": .0317377, "vita_units": .000400233,
		"riboflavin_units": .016358, "vitc_units": .000144118}
	for _, l := range a.Limits {
		if want, ok := duals[p.Limits[l.Limit].ID]; ok {
			near(t, p.Limits[l.Limit].ID, l.ShadowPrice, want, 1e-5*want)
		} else if l.ShadowPrice != 0 {
			t.Errorf("%s has a price of %g", p.Limits[l.Limit].ID, l.ShadowPrice)
		}
	}
}

// Nutrient feed: two ingredients and filler (R package limSolve, data set
// Blending). Shares .5909 .1364 .2727, cost 31.8182; the prices of B and C were
// computed with an independent tool.
func TestNutrientFeed(t *testing.T) {
	names := []string{"a_units", "b_units", "c_units", "d_units"}
	p := &formulation.Problem{Quantity: 220 * mass.Kilogram}
	var own []property.Definition
	for k, need := range []float64{80, 50, 25, 5} {
		own = append(own, part(names[k]))
		p.Limits = append(p.Limits, limitOn(names[k], to(need), nil))
	}
	p.Catalogue = catalogue(t, own...)
	for i, of := range [][]float64{{100, 50, 40, 10}, {200, 150, 10, 0}, {0, 0, 0, 0}} {
		set := property.Set{}
		for k := range names {
			set[names[k]] = of[k]
		}
		p.Candidates = append(p.Candidates, formulation.Candidate{ID: fmt.Sprint("ingredient ", i+1),
			CostPerKg: []float64{40, 60, 0}[i], Available: -1, Properties: set})
	}
	a := optimal(t, p)
	near(t, "cost", a.CostPerKg, 31.8182, 5e-5)
	for _, c := range a.Components {
		near(t, p.Candidates[c.Candidate].ID, c.Share, []float64{.5909, .1364, .2727}[c.Candidate], 5e-5)
	}
	near(t, "price of B", a.Limits[1].ShadowPrice, .363636, 1e-6)
	near(t, "price of C", a.Limits[2].ShadowPrice, .545455, 1e-6)
}

// Winston, Operations Research: 71 units of a product of three metals from the
// metals, two raw materials, two kinds of scrap and ingots (whole in the book,
// free here). What raw materials and scrap lose is lost: retained_fraction. The
// optimum without whole ingots, 653.554136, was computed with an independent
// tool.
func TestWinstonMetalBlend(t *testing.T) {
	a := optimal(t, winston(t))
	near(t, "cost", a.TotalCost, 653.554136, 1e-6)
}

func winston(t *testing.T) *formulation.Problem {
	t.Helper()
	names := []string{"one_fraction", "two_fraction", "three_fraction"}
	p := &formulation.Problem{Quantity: 71 * mass.Kilogram}
	var own []property.Definition
	for k, bounds := range [][2]float64{{.05, .10}, {.30, .40}, {.60, .80}} {
		d := part(names[k])
		d.Max = 1
		own = append(own, d)
		p.Limits = append(p.Limits, limitOn(names[k], to(bounds[0]), to(bounds[1])))
	}
	p.Catalogue = catalogue(t, own...)
	for _, c := range []struct {
		id   string
		cost float64
		of   [3]float64
	}{
		{"metal 1", 22, [3]float64{1, 0, 0}}, {"metal 2", 10, [3]float64{0, 1, 0}}, {"metal 3", 13, [3]float64{0, 0, 1}},
		{"raw 1", 6, [3]float64{.20, .05, .05}}, {"raw 2", 5, [3]float64{.01, 0, .30}},
		{"scrap 1", 7, [3]float64{0, .60, .40}}, {"scrap 2", 8, [3]float64{.01, 0, .70}},
		{"ingot", 9, [3]float64{.10, .45, .45}},
	} {
		set := property.Set{property.RetainedFraction: c.of[0] + c.of[1] + c.of[2]}
		for k := range names {
			set[names[k]] = c.of[k]
		}
		p.Candidates = append(p.Candidates, formulation.Candidate{ID: c.id, CostPerKg: c.cost, Available: -1, Properties: set})
	}
	return p
}
