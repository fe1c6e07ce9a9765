package plan_test

import (
	"context"
	"errors"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"millbase/solver/engines"
	"millbase/solver/plan"
	"millbase/solver/plan/plantest"
)

// The model of totals never costs more than that of every order, which costs what
// the plan with its orders does; and what Make finds and proves lies on both sides of
// it.
func TestSearchesAgreeWithThePlan(t *testing.T) {
	ctx, engine := context.Background(), engines.New()
	rapid.Check(t, func(t *rapid.T) {
		p := drawn(t, true)
		s, impossible := plan.Search(ctx, engine, p)
		got, err := plan.Make(ctx, engine, engine, p)
		if impossible != nil {
			if err == nil {
				t.Fatalf("a plan, although: %v", impossible)
			}
			return
		}
		if err != nil {
			if s.Found {
				t.Fatalf("there are orders that can be carried out, but: %v", err)
			}
			return
		}
		holds(t, s, got)
	})
}

type failer interface {
	Errorf(format string, args ...any)
}

func holds(t failer, s plan.Searched, got *plan.Plan) {
	near := 1e-5 * math.Max(10, math.Abs(got.Cost)+got.Parts.Worth+got.Parts.Salvage)
	if !s.Found || math.Abs(s.Every-s.Settled) > near {
		t.Errorf("every order: %g searched for (%t), %g settled", s.Every, s.Found, s.Settled)
	}
	if s.Totals > s.Every+near {
		t.Errorf("the totals cost %g, more than every order, %g", s.Totals, s.Every)
	}
	if got.Cost < s.Every-near || got.Bound > s.Every+near {
		t.Errorf("the plan costs %g with a bound of %g, the optimum is %g", got.Cost, got.Bound, s.Every)
	}
}

// Plants of a few batches, whose orders weigh most, come within the usual gap.
func TestFewBatchesAreWithinTheGap(t *testing.T) {
	ctx, engine := context.Background(), engines.New()
	for seed := range uint64(4) {
		p := plantest.Plant(seed, plantest.Options{Batches: 4, Weeks: 4, Specs: 3, Sorts: 24, Limits: 6, Packs: true, Breaks: seed%2 == 0})
		got, err := plan.Make(ctx, engine, engine, p)
		if err != nil {
			t.Fatal(err)
		}
		if got.Outcome != plan.Optimal || got.Gap > 0.01 {
			t.Errorf("seed %d: %s, a gap of %g", seed, got.Outcome, got.Gap)
		}
		if wrong := plan.Check(p, got); len(wrong) > 0 {
			t.Errorf("seed %d: %v", seed, wrong[0])
		}
	}
}

// What lasts for one period must be ordered anew for each batch, a minimum at a time:
// far more in all than there is a use for.
func TestMinimaThatDoNotLast(t *testing.T) {
	ctx, engine := context.Background(), engines.New()
	p := &plan.Problem{Catalogue: hard(), Currency: "EUR", Gap: 1e-6, Materials: []plan.Material{{ID: "m", StorageMost: -1}}}
	o := plan.Offer{ID: "o", Properties: map[string]float64{"hardness_units": 1}, MinimumOrder: 16, MostPerPeriod: -1, ShelfLife: 1}
	for i := range 4 {
		p.Periods = append(p.Periods, plan.Period{Name: "week", Budget: -1})
		p.Batches = append(p.Batches, plan.Batch{ID: string(rune('a' + i)), Kg: 2, Earliest: i, Due: i, UnmadePerKg: 100})
		o.Price = append(o.Price, 1)
	}
	p.Offers = []plan.Offer{o}
	got, err := plan.Make(ctx, engine, engine, p)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(got.Cost-64) > 1e-6 || got.Bound > 64 || len(got.Orders) != 4 {
		t.Errorf("%d orders cost %g, bound %g; four of 16 kg cost 64", len(got.Orders), got.Cost, got.Bound)
	}
	s, err := plan.Search(ctx, engine, p)
	if err != nil {
		t.Fatal(err)
	}
	holds(t, s, got)
}

// A plan that is called off ends soon, with the context's own error, wherever it is.
func TestCalledOff(t *testing.T) {
	engine := engines.New()
	p := plantest.Plant(3, plantest.Options{Batches: 60, Packs: true, Breaks: true, Different: true})
	for _, after := range []time.Duration{0, 30 * time.Millisecond, 400 * time.Millisecond} {
		ctx, cancel := context.WithTimeout(context.Background(), after)
		begun := time.Now()
		_, err := plan.Make(ctx, engine, engine, p)
		took := time.Since(begun) - after
		cancel()
		if !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("called off after %v: %v", after, err)
		}
		if took > 2*time.Second {
			t.Errorf("called off after %v, it took %v to end", after, took)
		}
		t.Logf("called off after %v, ended %v later", after, took)
	}
}
