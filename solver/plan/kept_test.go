package plan_test

import (
	"context"
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"millbase/solver/engines"
	"millbase/solver/formulation"
	"millbase/solver/plan"
	"millbase/solver/plan/plantest"
)

// Planning again after any change finds what planning from scratch finds.
func TestAgainIsAsFromScratch(t *testing.T) {
	engine, ctx := engines.New(), context.Background()
	rapid.Check(t, func(r *rapid.T) {
		p := plantest.Plant(rapid.Uint64Range(0, 5).Draw(r, "seed"), plantest.Options{Batches: 25, Weeks: 5, Sorts: 24, Specs: 5,
			Cover: rapid.Float64Range(0.3, 1.2).Draw(r, "cover"), Different: rapid.Bool().Draw(r, "different")})
		kept, _, err := plan.Keep(ctx, engine, engine, p)
		if err != nil {
			r.Fatal(err)
		}
		for range rapid.IntRange(1, 3).Draw(r, "changes") {
			c := plan.Change{Kg: map[int]float64{}, Prices: map[int][]float64{}}
			for range rapid.IntRange(0, 5).Draw(r, "lots") {
				i := rapid.IntRange(0, len(p.Supplies)-1).Draw(r, "lot")
				c.Kg[i] = p.Supplies[i].Kg * float64(rapid.IntRange(0, 3).Draw(r, "halves")) / 2
				p.Supplies[i].Kg = c.Kg[i]
			}
			for range rapid.IntRange(0, 2).Draw(r, "prices") {
				o := rapid.IntRange(0, len(p.Offers)-1).Draw(r, "offer")
				var prices []float64
				for _, price := range p.Offers[o].Price {
					prices = append(prices, price*rapid.Float64Range(1, 1.3).Draw(r, "up"))
				}
				c.Prices[o], p.Offers[o].Price = prices, prices
			}
			again, err := kept.Again(ctx, c)
			if err != nil {
				r.Fatal(err)
			}
			if wrong := plan.Check(p, again); len(wrong) > 0 {
				r.Fatal(wrong[0])
			}
			want, err := plan.Make(ctx, engine, engine, p)
			if err != nil {
				r.Fatal(err)
			}
			if math.Abs(again.Cost-want.Cost) > 1e-6*math.Abs(want.Cost) {
				r.Fatalf("again %g, from scratch %g", again.Cost, want.Cost)
			}
		}
	})
}

// A change that can't be made says why and changes nothing.
func TestChangesThatCantBe(t *testing.T) {
	engine, ctx := engines.New(), context.Background()
	p := plantest.Plant(1, plantest.Options{})
	p.Supplies[1].Batch, p.Supplies[1].From = 0, 1
	kept, was, err := plan.Keep(ctx, engine, engine, p)
	if err != nil {
		t.Fatal(err)
	}
	nan := append([]float64(nil), p.Offers[0].Price...)
	nan[2] = math.NaN()
	for name, c := range map[string]plan.Change{
		"no such lot":           {Kg: map[int]float64{len(p.Supplies): 1}},
		"below nothing":         {Kg: map[int]float64{0: -1}},
		"what a batch brings":   {Kg: map[int]float64{1: 1}},
		"no such offer":         {Prices: map[int][]float64{-1: nil}},
		"a price is missing":    {Prices: map[int][]float64{0: {1}}},
		"no order in a period":  {Prices: map[int][]float64{0: nan}},
		"one good and one not":  {Kg: map[int]float64{0: 0, 2: math.Inf(1)}},
		"cheaper than its rest": {Prices: map[int][]float64{0: make([]float64, len(p.Periods))}},
	} {
		var bad formulation.FieldErrors
		if _, err := kept.Again(ctx, c); !errors.As(err, &bad) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if again, err := kept.Again(ctx, plan.Change{}); err != nil || again.Cost != was.Cost {
		t.Errorf("after all that: %v, %v", again, err)
	}
}
