package formulation_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

// By hand: 100 kg of two varnishes alike, 1.00 per kg without end and 1.20 per kg
// for 40 kg that expire soon. A premium of 0.30 makes all 40 kg welcome: they cost
// 0.40 x 0.20 = 0.08 per kg of ink more and earn 0.40 x 0.30 = 0.12.
func TestUseUpByHand(t *testing.T) {
	p := &formulation.Problem{Quantity: 100 * mass.Kilogram, Catalogue: property.BuiltIn(), Candidates: []formulation.Candidate{
		{ID: "fresh", Class: inventory.Varnish, CostPerKg: 1, Available: -1},
		{ID: "old", Class: inventory.Varnish, CostPerKg: 1.2, Available: 40 * mass.Kilogram, UsePremium: 0.3},
	}}
	a := optimal(t, p)
	near(t, "real cost", a.CostPerKg, 1.08, 1e-9)
	near(t, "real total", a.TotalCost, 108, 1e-7)
	u := a.UseUp
	near(t, "premium", u.Premium, 0.12, 1e-9)
	near(t, "extra", u.Extra, 0.08, 1e-9)
	near(t, "cost without", u.CostPerKgWithout, 1, 1e-9)
	l := u.Lots[0]
	if l.Candidate != 1 || l.Mass != 40*mass.Kilogram || l.KgWithout != 0 || l.Needed {
		t.Errorf("got %+v", l)
	}
	near(t, "premium of the lot", l.Premium, 12, 1e-9)
	near(t, "extra of the lot", l.Extra, 0.08, 1e-9)
	for _, c := range a.Components {
		if c.Candidate == 1 { // stays in up to where the premium no longer makes up for it
			near(t, "stays in up to", c.CostRange.Upper, 1.3, 1e-9)
		}
	}

	p.Candidates[1].UsePremium = 0.1 // not enough
	if a = optimal(t, p); a.UseUp.Lots[0].Mass != 0 || a.UseUp.Extra != 0 || a.UseUp.Premium != 0 {
		t.Errorf("got %+v", a.UseUp)
	}
	near(t, "comes in at", a.Unused[0].EntryPricePerKg, 1.1, 1e-9)

	p.Candidates[1].CostPerKg = 0.7 // cheaper anyway: its use saves
	a = optimal(t, p)
	near(t, "no extra", a.UseUp.Extra, 0, 1e-9)
	near(t, "used without a premium too", a.UseUp.Lots[0].KgWithout, 40, 1e-6)
	near(t, "it saves", a.UseUp.Lots[0].Extra, -0.4*0.3, 1e-9)

	p.Candidates[0].Available = 70 * mass.Kilogram // not enough without the old
	if a = optimal(t, p); !a.UseUp.Lots[0].Needed {
		t.Errorf("got %+v", a.UseUp.Lots[0])
	}
	p.Candidates[1].UsePremium = -1
	if _, err := formulation.Optimise(t.Context(), engine, p); err == nil {
		t.Error("a premium below 0 was taken")
	}
}

// For random inks: a premium of 0 changes nothing; what a larger premium earns per
// unit of premium (the mass that it is paid on) never falls; the preference costs
// something or nothing, never more than is earned; and what it is said to cost is
// the difference to the formula without premiums.
func TestUseUpRelations(t *testing.T) {
	paid := 0
	rapid.Check(t, func(r *rapid.T) {
		seed := rapid.Uint64Range(0, 1<<32).Draw(r, "seed")
		p := formulationtest.Problem(seed, rapid.IntRange(14, 40).Draw(r, "candidates"), rapid.IntRange(3, 14).Draw(r, "limits"))
		plain := optimal(r, p)
		if plain.UseUp != nil {
			r.Fatal("a report on premiums that nobody asked for")
		}
		rnd := rand.New(rand.NewPCG(seed, 5))
		chosen := map[int]float64{}
		for len(chosen) < 3 {
			chosen[rnd.IntN(len(p.Candidates))] = 0.2 + rnd.Float64()
		}
		last := -1.0
		for _, size := range []float64{0, 0.1, 0.5, 2, 10, 100} {
			q := clone(p)
			for j, w := range chosen {
				q.Candidates[j].UsePremium = size * w
			}
			a := optimal(r, q)
			use := 0.0
			for _, c := range a.Components {
				use += chosen[c.Candidate] * c.Share
			}
			tol := 1e-6 * (1 + math.Abs(use))
			if use < last-tol {
				r.Errorf("premiums times %g use %g, smaller ones %g", size, use, last)
			}
			last = use
			cost := 0.0
			for _, c := range a.Components {
				cost += c.Share * p.Candidates[c.Candidate].CostPerKg
			}
			near(r, "real cost", a.CostPerKg, cost, 1e-6*cost)
			if size == 0 {
				near(r, "a premium of 0", a.CostPerKg, plain.CostPerKg, 1e-9*cost)
				continue
			}
			u := a.UseUp
			near(r, "cost without", u.CostPerKgWithout, plain.CostPerKg, 1e-6*cost)
			near(r, "premium", u.Premium, size*use, 1e-6*(size*use+cost))
			if d := cost - plain.CostPerKg; d < -1e-6*cost || math.Abs(u.Extra-d) > 1e-6*cost || u.Extra > u.Premium+1e-6*cost {
				r.Errorf("extra %g, by the costs %g, earned %g", u.Extra, d, u.Premium)
			}
			if u.Extra > 1e-4 {
				paid++
			}
			checkLots(r, q, a)
		}
	})
	if paid == 0 {
		t.Error("no case in which the preference cost anything")
	}
}

// What the use of a lot costs, against leaving it out of the question.
func checkLots(t tester, p *formulation.Problem, a *formulation.Answer) {
	for _, l := range a.UseUp.Lots {
		if l.Mass == 0 {
			continue
		}
		q := clone(p)
		q.Candidates[l.Candidate].Available = 0
		b := optimise(t, q)
		if l.Needed != (b.Outcome == formulation.Infeasible) {
			t.Errorf("needed: %v, but without it the outcome is %s", l.Needed, b.Outcome)
		}
		if b.Outcome == formulation.Optimal {
			near(t, "net of premiums", l.Extra, a.CostPerKg-b.CostPerKg, 1e-5*a.CostPerKg)
		}
	}
}
