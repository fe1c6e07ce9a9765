package app

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/engines"
	"millbase/solver/formulation"
)

// drawLadder is an offer's prices, falling with the quantity.
func drawLadder(t *rapid.T) []rung {
	price := rapid.Int64Range(100, 3000).Draw(t, "cents")
	ladder := []rung{{0, decimal.New(price, -2)}}
	from := mass.Mass(0)
	for range rapid.IntRange(0, 3).Draw(t, "breaks") {
		from += mass.Mass(rapid.Int64Range(1, 40).Draw(t, "kg")) * mass.Kilogram
		price = price * rapid.Int64Range(60, 99).Draw(t, "percent") / 100
		ladder = append(ladder, rung{from, decimal.New(price, -2)})
	}
	return ladder
}

// No answer is priced below what the supplier asks for the quantity used, and
// none is dearer than with the prices of small orders.
func TestPriceBreaksAreHonest(t *testing.T) {
	book := New(nil, engines.New(), time.Now)
	solve := func(t *rapid.T, p *formulation.Problem) *formulation.Answer {
		a, err := formulation.Optimise(context.Background(), book.engine, p)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	rapid.Check(t, func(t *rapid.T) {
		lower, upper := 8.0, 12.0
		p := &formulation.Problem{Quantity: 100 * mass.Kilogram, Catalogue: property.BuiltIn(),
			Limits: []formulation.Limit{{ID: "tack", Kind: formulation.Blended, Property: property.TackUnits, Lower: &lower, Upper: &upper}}}
		in := &pool{}
		for j := range rapid.IntRange(2, 8).Draw(t, "offers") {
			c := formulation.Candidate{ID: fmt.Sprint(j), Class: inventory.Varnish, Available: -1,
				Properties: property.Set{property.TackUnits: rapid.Float64Range(1, 20).Draw(t, "tack")}}
			ladder := drawLadder(t)
			in.add(c, ladder[rungFor(ladder, p.Quantity)].price, ladder)
		}
		small := *p
		small.Candidates = append([]formulation.Candidate(nil), in.candidates...)
		for j := range small.Candidates {
			small.Candidates[j].CostPerKg = in.ladders[j][0].price.InexactFloat64()
		}
		p.Candidates = in.candidates
		a, err := book.withBreaks(context.Background(), p, in)
		if err != nil {
			t.Fatal(err)
		}
		dear := solve(t, &small)
		if a.Outcome != dear.Outcome {
			t.Fatalf("%s, with small orders %s", a.Outcome, dear.Outcome)
		}
		if a.Outcome != formulation.Optimal {
			return
		}
		for _, c := range a.Components {
			asked := in.ladders[c.Candidate][rungFor(in.ladders[c.Candidate], c.Mass)].price
			if got := in.prices[c.Candidate]; got.LessThan(asked) {
				t.Fatalf("%s of offer %d at %s, but the supplier asks %s", c.Mass, c.Candidate, got, asked)
			}
			if p.Candidates[c.Candidate].CostPerKg != in.prices[c.Candidate].InexactFloat64() {
				t.Fatalf("offer %d is solved at %g and priced at %s", c.Candidate, p.Candidates[c.Candidate].CostPerKg, in.prices[c.Candidate])
			}
		}
		if a.CostPerKg > dear.CostPerKg*(1+1e-9) {
			t.Fatalf("%g per kg, with the prices of small orders %g", a.CostPerKg, dear.CostPerKg)
		}
	})
}

func TestOutwardNeverFallsShort(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from := rapid.Float64Range(-1e6, 1e6).Draw(t, "from")
		to := rapid.Float64Range(-1e6, 1e6).Draw(t, "to")
		got := outward(from, to, to)
		slack := 1.01 * safeSide * max(to, -to)
		if to > from && got < to-slack || to < from && got > to+slack {
			t.Fatalf("from %g to %g: %g falls short", from, to, got)
		}
		if off := got - to; max(off, -off) > 1.01e-3*max(to, -to)+1e-300 {
			t.Fatalf("%g is far from %g", got, to)
		}
	})
}
