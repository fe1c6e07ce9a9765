package formulation_test

import (
	"context"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

// Two varnishes of 60 and 30 % volatile and 1 kg/L. VOC content at most 200 g/L
// and at least 50 % of the first varnish: half and half has 450 g/L. By hand: the
// one way out is 450 g/L, the other to take none of the first and still be at
// 300 g/L, which is not enough, so share alone can't do it.
func TestClashByHand(t *testing.T) {
	p := &formulation.Problem{Quantity: 100 * mass.Kilogram, Catalogue: property.BuiltIn(),
		Candidates: []formulation.Candidate{
			{ID: "a", Material: "a", CostPerKg: 1, Available: -1, Properties: property.Set{property.DensityKgPerL: 1, property.VolatileFraction: 0.6}},
			{ID: "b", Material: "b", CostPerKg: 2, Available: -1, Properties: property.Set{property.DensityKgPerL: 1, property.VolatileFraction: 0.3}},
		},
		Limits: []formulation.Limit{
			{ID: "voc", Kind: formulation.VOCContent, Upper: to(400)},
			{ID: "share", Kind: formulation.Share, Materials: []string{"a"}, Lower: to(0.5)},
		}}
	a := optimise(t, p)
	if a.Outcome != formulation.Infeasible || !slices.Equal(a.Clash.Limits, []int{0, 1}) || len(a.Clash.Stock) != 0 {
		t.Fatalf("%s %+v", a.Outcome, a.Clash)
	}
	// 400 g/L needs a third of a: the share falls by 1/3 of itself, VOC rises by
	// an eighth.
	if len(a.Clash.Single) != 2 || len(a.Clash.Movements) != 1 || !a.Clash.Proved {
		t.Fatalf("%+v", a.Clash)
	}
	near(t, "voc", a.Clash.Single[0].To, 450, 1e-4)
	near(t, "share", a.Clash.Single[1].To, 1.0/3, 1e-6)
	near(t, "least", a.Clash.Movements[0].To, 450, 1e-4)
	near(t, "weight", a.Clash.Weight, 12.5, 1e-6)
	near(t, "cost at half and half", a.Clash.Single[0].CostPerKg, 1.5, 1e-6)
	near(t, "cost at a third", a.Clash.Single[1].CostPerKg, 5.0/3, 1e-6)

	p.Limits[0].Hard = true // a legal limit
	a = optimise(t, p)
	if len(a.Clash.Single) != 1 || a.Clash.Movements[0].Limit != 1 || a.Clash.Movements[0].Side != formulation.AtLower {
		t.Fatalf("%+v", a.Clash)
	}
	p.Limits[1].Hard = true // nothing else can give
	a = optimise(t, p)
	if len(a.Clash.Movements) != 1 || !a.Clash.Movements[0].Hard || len(a.Assumed) == 0 {
		t.Fatalf("%+v %v", a.Clash, a.Assumed)
	}
	p.Limits[0].Hard, p.Limits[1].Hard = false, false
	p.Limits[0].MoveWeight = 2 // per g/L: now the share is lighter
	a = optimise(t, p)
	near(t, "share", a.Clash.Movements[0].To, 1.0/3, 1e-6)
}

// 60 kg wanted of what there are 20 and 28 kg: 12 kg more of either.
func TestClashWithStock(t *testing.T) {
	p := &formulation.Problem{Quantity: 60 * mass.Kilogram, Catalogue: property.BuiltIn(),
		Candidates: []formulation.Candidate{
			{ID: "a", CostPerKg: 1, Available: 20 * mass.Kilogram},
			{ID: "b", CostPerKg: 2, Available: 28 * mass.Kilogram},
			{ID: "empty", CostPerKg: 3},
		}}
	a := optimise(t, p)
	if a.Outcome != formulation.Infeasible || !slices.Equal(a.Clash.Stock, []int{0, 1, 2}) || len(a.Clash.Single) != 3 {
		t.Fatalf("%s %+v", a.Outcome, a.Clash)
	}
	for _, m := range a.Clash.Single {
		near(t, "more", m.To-m.From, 12, 1e-4)
		if m.Limit != -1 || m.Side != formulation.AtUpper {
			t.Errorf("%+v", m)
		}
	}
	if len(a.Clash.Movements) != 1 || !a.Clash.Proved {
		t.Fatalf("%+v", a.Clash)
	}
	near(t, "weight", a.Clash.Weight, 20, 1e-4) // 20 % of the quantity
}

// Cobalt wanted where nothing holds any: the limit has to go to nothing at all.
func TestClashWithNothingToGiveIt(t *testing.T) {
	p := &formulation.Problem{Quantity: 60 * mass.Kilogram, Catalogue: property.BuiltIn(),
		Limits: []formulation.Limit{{ID: "cobalt", Kind: formulation.MetalOnBinder, Metal: "cobalt", Lower: to(0.03)}},
		Candidates: []formulation.Candidate{
			{ID: "a", CostPerKg: 1, Available: -1, Properties: property.Set{property.BinderSolidsFraction: 0.6}},
			{ID: "b", CostPerKg: 2, Available: -1, Properties: property.Set{property.BinderSolidsFraction: 0.7}},
		}}
	c := optimise(t, p).Clash
	if c == nil || len(c.Movements) != 1 || c.Movements[0].To != 0 || !c.Proved {
		t.Fatalf("%+v", c)
	}
	near(t, "weight", c.Weight, 100, 1e-9)
}

func feasible(t *testing.T, p *formulation.Problem) bool {
	t.Helper()
	a, err := formulation.Optimise(context.Background(), engine, p)
	if err != nil {
		t.Fatal(err)
	}
	return a.Outcome != formulation.Infeasible
}

// onlyClash is p with only what takes part in the clash, less one member: a
// position in limits, then in stock; -1 for none.
func onlyClash(p *formulation.Problem, c *formulation.Clash, without int) *formulation.Problem {
	out := *p
	out.Limits = nil
	for k, i := range c.Limits {
		if k != without {
			out.Limits = append(out.Limits, p.Limits[i])
		}
	}
	out.Candidates = slices.Clone(p.Candidates)
	for j := range out.Candidates {
		k := slices.Index(c.Stock, j)
		if k < 0 || k+len(c.Limits) == without {
			out.Candidates[j].Available, out.Candidates[j].AtLeast = -1, 0
		}
	}
	return &out
}

// Random impossible inks: the clash clashes, any one fewer does not, the
// movements are proved, and each single way out is the least.
func TestClashIsMinimalAndItsWaysOutAreLeast(t *testing.T) {
	infeasible := 0
	for seed := range uint64(40) {
		p := formulationtest.Impossible(seed, 12+int(seed%30), 3+int(seed%14))
		a := optimise(t, p)
		if a.Outcome != formulation.Infeasible {
			continue
		}
		infeasible++
		c := a.Clash
		members := len(c.Limits) + len(c.Stock)
		if members == 0 || !c.Proved || len(c.Movements) == 0 {
			t.Errorf("seed %d: %+v", seed, c)
			continue
		}
		if feasible(t, onlyClash(p, c, -1)) {
			t.Errorf("seed %d: the clash can be met", seed)
		}
		for k := range members {
			if !feasible(t, onlyClash(p, c, k)) {
				t.Errorf("seed %d: member %d is not needed", seed, k)
			}
		}
		for _, m := range c.Single {
			if m.Weight < c.Weight*(1-1e-6) {
				t.Errorf("seed %d: one movement of weight %g, the least is said to be %g", seed, m.Weight, c.Weight)
			}
			if feasible(t, apply(p, m, 0.999)) || !feasible(t, apply(p, m, 1)) {
				t.Errorf("seed %d: %+v is not the least", seed, m)
			}
		}
	}
	if infeasible < 30 {
		t.Errorf("only %d of 40 were impossible", infeasible)
	}
}

// apply moves by a part of m.
func apply(p *formulation.Problem, m formulation.Movement, part float64) *formulation.Problem {
	out := *p
	out.Limits, out.Candidates = slices.Clone(p.Limits), slices.Clone(p.Candidates)
	v := m.From + part*(m.To-m.From)
	switch {
	case m.Candidate >= 0 && m.Side == formulation.AtLower:
		out.Candidates[m.Candidate].AtLeast = mass.RoundKilograms(v, mass.RoundFloor)
	case m.Candidate >= 0:
		out.Candidates[m.Candidate].Available = mass.RoundKilograms(v, mass.RoundCeil)
	case m.Side == formulation.AtLower:
		out.Limits[m.Limit].Lower = &v
	default:
		out.Limits[m.Limit].Upper = &v
	}
	return &out
}

// Three candidates, four limits of unlike kinds at random: no blend on a fine
// grid needs lighter movements than those found.
func TestLeastMovementAgainstAGrid(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		p := &formulation.Problem{Quantity: 100 * mass.Kilogram, Catalogue: property.BuiltIn()}
		for _, id := range []string{"a", "b", "c"} {
			f := func(name string, lo, hi float64) float64 { return figure(r, id+name, lo, hi) }
			volatile := f("volatile", 0, 0.6)
			p.Candidates = append(p.Candidates, formulation.Candidate{ID: id, Material: id, Available: -1, CostPerKg: 1, Properties: property.Set{
				property.DensityKgPerL: f("density", 0.8, 2), property.VolatileFraction: volatile, property.BinderSolidsFraction: 1 - volatile,
				property.MetalFraction + "/cobalt": f("cobalt", 0, 0.01), property.ViscosityPaS: f("viscosity", 0.1, 100)}})
		}
		g := func(name string, lo, hi float64) *float64 { return to(figure(r, name, lo, hi)) }
		p.Limits = []formulation.Limit{
			{ID: "voc", Kind: formulation.VOCContent, Upper: g("voc", 50, 500)},
			{ID: "cobalt", Kind: formulation.MetalOnBinder, Metal: "cobalt", Lower: g("cobalt", 0.1, 1)},
			{ID: "viscosity", Kind: formulation.Blended, Property: property.ViscosityPaS, Lower: g("viscosity", 1, 60)},
			{ID: "share", Kind: formulation.Share, Materials: []string{"a"}, Lower: g("share", 0.05, 0.9)},
		}
		a := optimise(r, p)
		if a.Outcome != formulation.Infeasible {
			return
		}
		if !a.Clash.Proved {
			r.Fatalf("not proved: %+v", a.Clash)
		}
		best := math.Inf(1)
		const steps = 60
		for i := range steps + 1 {
			for k := range steps + 1 - i {
				kg := []float64{float64(i), float64(k), float64(steps - i - k)}
				best = min(best, weightAt(r, p, kg))
			}
		}
		if a.Clash.Weight > best*(1+1e-6)+1e-6 {
			r.Fatalf("weight %g %+v, the grid has %g", a.Clash.Weight, a.Clash.Movements, best)
		}
	})
}

// weightAt is the weight of the movements that a blend needs, by the definition:
// 1 per 1 % of the limit.
func weightAt(t tester, p *formulation.Problem, kg []float64) float64 {
	reports, err := formulation.Evaluate(p, kg)
	if err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for i, l := range p.Limits {
		v := reports[i].Value
		if l.Lower != nil && v < *l.Lower {
			sum += 100 * (*l.Lower - v) / *l.Lower
		}
		if l.Upper != nil && v > *l.Upper {
			sum += 100 * (v - *l.Upper) / *l.Upper
		}
	}
	return sum
}

// figure draws a number of the precision of a certificate, ends included.
func figure(r *rapid.T, name string, lo, hi float64) float64 {
	return lo + (hi-lo)*float64(rapid.IntRange(0, 1000).Draw(r, name))/1000
}
