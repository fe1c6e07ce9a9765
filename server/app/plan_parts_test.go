package app

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/inventory/formula"
	"millbase/inventory/mass"
)

// Whatever is split, nothing of the total is lost, every part but one is in whole
// units, and none is further than a unit from its share.
func TestSharedKeepsTheTotal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := mass.Mass(rapid.SampledFrom([]int64{1, 1000, 10_000, 100_000}).Draw(t, "unit"))
		kg := rapid.SliceOfN(rapid.Float64Range(0.5, 500), 1, 12).Draw(t, "kg")
		sum := 0.0
		for _, v := range kg {
			sum += v
		}
		total := milligramsOf(sum).RoundTo(unit, mass.RoundCeil)
		got, left, odd := shared(total, kg, unit), total, 0
		for i, m := range got {
			left -= m
			if m%unit != 0 {
				odd++
			}
			if math.Abs(m.Kilograms()-kg[i]) > float64(len(kg))*unit.Kilograms()+1e-6 {
				t.Fatalf("%s of %g kg in units of %s", m, kg[i], unit)
			}
		}
		if left != 0 || odd > 0 {
			t.Fatalf("%v of %s: %s is left, %d parts are no whole units", got, total, left, odd)
		}
	})
}

func TestStampsNameWhatIsOther(t *testing.T) {
	was := planStamps{"lots/a": "1", "lots/b": "1", "batches/c": "1"}
	got := was.against(planStamps{"lots/a": "1", "lots/b": "2", "suppliers/s/offers/o": "1"})
	want := []string{"batches/c is no longer there or no longer open", "lots/b has changed", "suppliers/s/offers/o is new"}
	if !slices.Equal(got, want) || len(was.against(was)) != 0 {
		t.Errorf("%q, want %q", got, want)
	}
	many := planStamps{}
	for i := range 30 {
		many["lots/"+string(rune('a'+i))] = "1"
	}
	if err := bookChanged("p", many.against(planStamps{})); !strings.Contains(err.Error(), "and 10 more") {
		t.Errorf("%v", err)
	}
	one := digestOf("a", 1)
	if again := digestOf("a", 1); one == digestOf("a", 2) || again != one || digestOf("ab", "") == digestOf("a", "b") {
		t.Error("digests don't tell content apart")
	}
}

// A batch within its time may be begun on any day; one that becomes late, or is not
// made, is a difference.
func TestDifferenceOfPlans(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2030, 3, n, 0, 0, 0, 0, time.UTC) }
	run := func(n int) []PlannedRun { return []PlannedRun{{Begin: day(n), Mass: mass.Kilogram}} }
	without := &JointPlan{Currency: "EUR", Cost: PlanCost{Total: decimal.NewFromInt(100)}, Batches: []PlannedBatch{
		{Batch: "free", Title: "free", Runs: run(1)}, {Batch: "late", Title: "late", Runs: run(1)}, {Batch: "gone", Title: "gone", Runs: run(1)}},
		Orders: []PlannedOrder{{Offer: "o", Title: "oil", Quantity: 20 * mass.Kilogram, OrderBy: day(1), Landed: decimal.NewFromInt(5)}},
		Stock:  []PlannedStock{{"m", "M", []mass.Mass{5, 2}}}}
	with := &JointPlan{Currency: "EUR", Cost: PlanCost{Total: decimal.NewFromInt(130)}, Batches: []PlannedBatch{
		{Batch: "free", Title: "free", Runs: run(8)}, {Batch: "late", Title: "late", Runs: run(8), Late: true}, {Batch: "gone", Title: "gone", Unmade: mass.Kilogram}},
		Stock: []PlannedStock{{"m", "M", []mass.Mass{5, 1}}}}
	d := differenceOf(with, without)
	if len(d.Batches) != 2 || d.Batches[0].Batch != "gone" || d.Batches[1].Batch != "late" || len(d.Orders) != 1 || d.Orders[0].With != 0 ||
		len(d.Shortages) != 1 || d.Shortages[0].With != 1 || !d.Cost.Equal(decimal.NewFromInt(30)) {
		t.Errorf("%+v", d)
	}
	for _, want := range []string{"It costs 30 EUR more.", "gone: 1 kg more can't be made.", "late is begun on 2030-03-08, not on 2030-03-01.", "oil: no order (20 kg before)."} {
		if !slices.Contains(d.Summary, want) {
			t.Errorf("no %q in %q", want, d.Summary)
		}
	}
	if same := differenceOf(without, without); len(same.Batches)+len(same.Orders)+len(same.Shortages) != 0 || same.Summary[0] != "It costs the same." {
		t.Errorf("%+v", same)
	}
}

// A formula as limits is met by itself alone.
func TestAFormulaAsLimits(t *testing.T) {
	limits := fixed(&formula.Formula{Ingredients: []formula.Ingredient{{Material: "b", PartsPerMillion: 250_000}, {Material: "a", PartsPerMillion: 600_000},
		{Material: "b", Lot: "l", PartsPerMillion: 150_000}}})
	if len(limits) != 2 || limits[0].Materials[0] != "a" || *limits[0].Lower != 0.6 || *limits[0].Upper != 0.6 || math.Abs(*limits[1].Lower-0.4) > 1e-12 {
		t.Errorf("%+v", limits)
	}
}

// A day within a period belongs to it for what is needed; what arrives then counts
// from the next one on.
func TestPeriodsOfDays(t *testing.T) {
	j := &jointPlanning{today: time.Date(2030, 3, 6, 0, 0, 0, 0, time.UTC), periodDays: 7}
	for days, want := range map[int][2]int{-3: {0, 0}, 0: {0, 0}, 1: {0, 1}, 6: {0, 1}, 7: {1, 1}, 8: {1, 2}} {
		at := j.today.AddDate(0, 0, days)
		if got := [2]int{j.period(at), j.periodFrom(at)}; got != want {
			t.Errorf("day %d is in %v, want %v", days, got, want)
		}
	}
}
