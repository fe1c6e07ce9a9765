package match_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/engines"
	"millbase/solver/formulation"
	"millbase/solver/match"
	"millbase/solver/match/matchtest"
)

var engine = engines.New()

// asked draws a problem whose target can be mixed, and what it is made of.
func asked(t *rapid.T) *match.Problem {
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 8))
	target, _ := matchtest.Target(r, matchtest.Bases, matchtest.Paper())
	p := matchtest.Problem(matchtest.Bases, matchtest.Paper(), target)
	p.Tolerance = rapid.Float64Range(0.2, 4).Draw(t, "tolerance")
	if rapid.Bool().Draw(t, "CIELAB only") {
		p.Target = match.Target{Lab: target.Seen(p.Viewing)}
	}
	return p
}

// found matches p the cheapest and the closest way.
func found(t *rapid.T, p *match.Problem) (cheapest, closest match.Offer) {
	got, err := match.Match(t.Context(), engine, p, match.Want{Kinds: []match.Kind{match.Cheapest, match.Closest}})
	if err != nil {
		t.Fatal(err)
	}
	if got.Outcome != match.Matched || len(got.Offers) != 2 {
		t.Fatalf("outcome %d, %d offers, %+v", got.Outcome, len(got.Offers), got.Reach)
	}
	return got.Offers[0], got.Offers[1]
}

// masses are those of an offer, per candidate.
func masses(p *match.Problem, o match.Offer) []mass.Mass {
	out := make([]mass.Mass, len(p.Blend.Candidates))
	for _, c := range o.Answer.Components {
		out[c.Candidate] = c.Mass
	}
	return out
}

func TestOffersKeepToWhatTheySay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := asked(t)
		cheap, near := found(t, p)
		if cheap.Answer.CostPerKg > near.Answer.CostPerKg*(1+1e-9) {
			t.Errorf("the cheapest costs %v, the closest %v", cheap.Answer.CostPerKg, near.Answer.CostPerKg)
		}
		if near.DE00 > 0.021 {
			t.Errorf("the closest is %v away from what can be mixed", near.DE00)
		}
		for _, o := range []match.Offer{cheap, near} {
			if o.DE00 > p.Tolerance {
				t.Errorf("%s: %v away, allowed %v", o.Kind, o.DE00, p.Tolerance)
			}
			if again := p.Predict(masses(p, o)); again.DE00 != o.DE00 || again.Bases != o.Bases {
				t.Errorf("%s: %v away, predicted again %v", o.Kind, o.DE00, again.DE00)
			}
			total := mass.Mass(0)
			for _, m := range masses(p, o) {
				total += m
			}
			if total != p.Blend.Quantity {
				t.Errorf("%s: %v in all", o.Kind, total)
			}
			var kg []float64
			for _, m := range masses(p, o) {
				kg = append(kg, m.Kilograms())
			}
			limits, err := formulation.Evaluate(p.Blend, kg)
			if err != nil {
				t.Fatal(err)
			}
			for _, l := range limits {
				if !l.Met {
					t.Errorf("%s: limit %+v is not met", o.Kind, l)
				}
			}
		}
	})
}

// TestFrontierFalls: a wider tolerance never costs more, and every point keeps to
// its own.
func TestFrontierFalls(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := asked(t)
		n := rapid.IntRange(2, 8).Draw(t, "points")
		got, err := match.Match(t.Context(), engine, p, match.Want{FrontierPoints: n})
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Frontier) != n {
			t.Fatalf("%d points of %d", len(got.Frontier), n)
		}
		for i, f := range got.Frontier {
			grams := make([]mass.Mass, len(f.Shares))
			sum, cost := 0.0, 0.0
			for j, x := range f.Shares {
				grams[j] = mass.Mass(math.Round(x * 1e12))
				sum, cost = sum+x, cost+x*p.Blend.Candidates[j].CostPerKg
			}
			if math.Abs(sum-1) > 1e-9 || math.Abs(cost-f.CostPerKg) > 1e-9 {
				t.Errorf("point %d: shares add up to %v, cost %v for %v", i, sum, cost, f.CostPerKg)
			}
			if o := p.Predict(grams); math.Abs(o.DE00-f.DE00) > 1e-5 || f.DE00 > f.Tolerance+1e-6 {
				t.Errorf("point %d: %v away within %v, by its shares %v", i, f.DE00, f.Tolerance, o.DE00)
			}
			if i > 0 && (f.Tolerance <= got.Frontier[i-1].Tolerance || f.CostPerKg > got.Frontier[i-1].CostPerKg+1e-9) {
				t.Errorf("point %d within %v costs %v, the one before %v", i, f.Tolerance, f.CostPerKg, got.Frontier[i-1].CostPerKg)
			}
		}
	})
}

// TestStrengthIsShare: a lot at 80 % strength is a base at 0.8 of its absorption.
func TestStrengthIsShare(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := asked(t)
		by := make([]float64, len(p.Colourants))
		weak, faint := *p, *p
		weak.Blend, faint.Blend = cloned(p.Blend), cloned(p.Blend)
		faint.Colourants = append([]match.Colourant(nil), p.Colourants...)
		for j, c := range p.Colourants {
			by[j] = rapid.Float64Range(0.6, 1.2).Draw(t, "strength")
			weak.Blend.Candidates[j].Properties[property.TintStrengthFraction] = by[j]
			k := append([]float64(nil), c.K...)
			for i := range k {
				k[i] *= by[j]
			}
			if k != nil {
				faint.Colourants[j].K = k
			}
		}
		faint.Blend.Limits, weak.Blend.Limits = nil, nil // strength is pigment loading's as well
		a := match.Want{Kinds: []match.Kind{match.Cheapest}}
		one, err := match.Match(t.Context(), engine, &weak, a)
		if err != nil {
			t.Fatal(err)
		}
		two, err := match.Match(t.Context(), engine, &faint, a)
		if err != nil {
			t.Fatal(err)
		}
		if one.Outcome != two.Outcome {
			t.Fatalf("outcome %d by strength, %d by absorption", one.Outcome, two.Outcome)
		}
		if math.Abs(one.Offers[0].Answer.CostPerKg-two.Offers[0].Answer.CostPerKg) > 1e-4*one.Offers[0].Answer.CostPerKg {
			t.Errorf("costs %v by strength, %v by absorption", one.Offers[0].Answer.CostPerKg, two.Offers[0].Answer.CostPerKg)
		}
		if o := faint.Predict(masses(&weak, one.Offers[0])); math.Abs(o.DE00-one.Offers[0].DE00) > 1e-9 {
			t.Errorf("%v away by strength, %v by absorption", one.Offers[0].DE00, o.DE00)
		}
	})
}

// cloned is a blend whose candidates can be changed.
func cloned(b *formulation.Problem) *formulation.Problem {
	out := *b
	out.Limits = append([]formulation.Limit(nil), b.Limits...)
	out.Candidates = append([]formulation.Candidate(nil), b.Candidates...)
	for j := range out.Candidates {
		set := property.Set{}
		for k, v := range b.Candidates[j].Properties {
			set[k] = v
		}
		out.Candidates[j].Properties = set
	}
	return &out
}

// some is the problem with some of its candidates, in their order.
func some(p *match.Problem, of []int) *match.Problem {
	out := *p
	out.Blend, out.Colourants = cloned(p.Blend), nil
	out.Blend.Candidates = nil
	for _, j := range of {
		out.Blend.Candidates = append(out.Blend.Candidates, p.Blend.Candidates[j])
		out.Colourants = append(out.Colourants, p.Colourants[j])
	}
	return &out
}

// TestOrderDoesNotMatter also leaves room for 0.1 % of the cost: a match is a local
// optimum, and which is found may hang on the order.
func TestOrderDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := asked(t)
		of := rapid.Permutation([]int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}).Draw(t, "order")
		one, _ := found(t, p)
		two, _ := found(t, some(p, of))
		if math.Abs(one.Answer.CostPerKg-two.Answer.CostPerKg) > 1e-3*one.Answer.CostPerKg {
			t.Errorf("costs %v, in another order %v", one.Answer.CostPerKg, two.Answer.CostPerKg)
		}
	})
}

// TestMoreBasesNeverHurt: with a base more the nearest mixture is at least as near.
// Far from the target that says little: on either side of the hue circle lies a
// nearest mixture, and both look nothing like it.
func TestMoreBasesNeverHurt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := asked(t)
		of := rapid.Permutation([]int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10}).Draw(t, "order")
		n := rapid.IntRange(2, 6).Draw(t, "bases")
		p.Tolerance = 0.05
		last := math.Inf(1)
		for _, k := range []int{n, n + 1, n + 3} {
			got, err := match.Match(t.Context(), engine, some(p, append([]int{11}, of[:k]...)), match.Want{Kinds: []match.Kind{match.Closest}})
			if err != nil {
				t.Fatal(err)
			}
			if len(got.Offers) != 1 {
				t.Fatalf("%d bases: outcome %d", k, got.Outcome)
			}
			if de := got.Offers[0].DE00; last < 8 && de > last*1.01+0.021 {
				t.Errorf("%d bases: %v away, with fewer %v", k, de, last)
			} else {
				last = de
			}
		}
	})
}
