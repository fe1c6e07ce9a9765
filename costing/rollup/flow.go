package rollup

import (
	"fmt"
	"math/bits"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/inventory/mass"
)

// flow is the masses of a formula made in a quantity: of each ingredient what
// must be weighed in, and of each step what goes in and comes out.
type flow struct {
	total mass.Mass // of all ingredients, at the end of the route
	need  []mass.Mass
	steps []stepFlow
}

type stepFlow struct {
	runs    int64
	in, out mass.Mass
}

// maxRuns keeps runs x time within a time.Duration.
const maxRuns = 100_000

// backwards works from the finished quantity to what must be weighed in.
func backwards(f Formula, quantity mass.Mass) (flow, error) {
	parts := make([]mass.Mass, len(f.Ingredients))
	for i, g := range f.Ingredients {
		parts[i] = g.Part
	}
	total, err := scaleUp(quantity, sum(parts), f.Makes)
	if err != nil {
		return flow{}, err
	}
	fl := flow{total: total, need: share(total, parts), steps: make([]stepFlow, len(f.Route))}
	for k := len(f.Route) - 1; k >= 0; k-- {
		if err := fl.step(f, k); err != nil {
			return fl, err
		}
	}
	return fl, nil
}

// step scales all that is in the pot at step k by what the step loses:
// in = (out + runs x loss per run) / (1 - loss), ingredient by ingredient.
func (fl *flow) step(f Formula, k int) error {
	s := f.Route[k]
	var out mass.Mass
	for i, g := range f.Ingredients {
		if g.Step <= k {
			out += fl.need[i]
		}
	}
	keep := hundred.Sub(s.LossPercent).Shift(-2)
	runs, err := runsFor(s, out, keep)
	if err != nil {
		return fmt.Errorf("%w %q: %w", ErrFormula, f.ID, err)
	}
	if out == 0 { // all that is in the pot so far is less than a milligram
		fl.steps[k] = stepFlow{runs: 1}
		return nil
	}
	fixed := decimal.NewFromInt(int64(s.LossPerRun)).Mul(decimal.NewFromInt(runs))
	num, den := decimal.NewFromInt(int64(out)).Add(fixed), decimal.NewFromInt(int64(out)).Mul(keep)
	var in mass.Mass
	for i, g := range f.Ingredients {
		if g.Step > k {
			continue
		}
		scaled := money.DivDecimal(decimal.NewFromInt(int64(fl.need[i])).Mul(num), den, 0, money.RoundUp)
		if scaled.GreaterThan(decimal.NewFromInt(int64(mass.Max))) {
			return fmt.Errorf("%w: step %q would take in more than 1,000,000 t", ErrQuantity, s.Name)
		}
		fl.need[i] = mass.Mass(scaled.IntPart())
		in += fl.need[i]
	}
	fl.steps[k] = stepFlow{runs, in, out}
	return nil
}

// runsFor is the smallest number of runs that bring out that mass:
// runs x (capacity x keep - loss per run) >= out. What each run of a step takes
// in is then at most its capacity, but for the milligrams of rounding up.
func runsFor(s Step, out mass.Mass, keep decimal.Decimal) (int64, error) {
	if s.Capacity == 0 {
		return 1, nil
	}
	perRun := decimal.NewFromInt(int64(s.Capacity)).Mul(keep).Sub(decimal.NewFromInt(int64(s.LossPerRun)))
	if perRun.Sign() <= 0 {
		return 0, fmt.Errorf("step %q loses all that it holds; its capacity is %s", s.Name, s.Capacity)
	}
	runs := money.DivDecimal(decimal.NewFromInt(int64(out)), perRun, 0, money.RoundUp)
	if runs.GreaterThan(decimal.NewFromInt(maxRuns)) {
		return 0, fmt.Errorf("step %q would take %s runs; its capacity is %s", s.Name, runs, s.Capacity)
	}
	return runs.IntPart(), nil
}

// Back is what goes into the step, and in how many runs, for a mass to come out of
// it, rounded up. Errors: ErrFormula where the step loses all that it holds,
// ErrQuantity above the largest mass.
func (s Step) Back(out mass.Mass) (in mass.Mass, runs int64, err error) {
	keep := hundred.Sub(s.LossPercent).Shift(-2)
	if keep.Sign() <= 0 {
		return 0, 0, fmt.Errorf("%w: step %q loses %s %%; give 0 to below 100", ErrFormula, s.Name, s.LossPercent)
	}
	if runs, err = runsFor(s, out, keep); err != nil {
		return 0, 0, fmt.Errorf("%w: %w", ErrFormula, err)
	}
	whole := decimal.NewFromInt(int64(s.LossPerRun)).Mul(decimal.NewFromInt(runs)).Add(decimal.NewFromInt(int64(out)))
	all := money.DivDecimal(whole, keep, 0, money.RoundUp)
	if all.GreaterThan(decimal.NewFromInt(int64(mass.Max))) {
		return 0, 0, fmt.Errorf("%w: step %q would take in more than 1,000,000 t", ErrQuantity, s.Name)
	}
	return mass.Mass(all.IntPart()), runs, nil
}

// Time is how long the step takes for a mass that goes in, in a number of runs:
// rounded up to a whole second, at most a hundred years.
func (s Step) Time(in mass.Mass, runs int64) time.Duration {
	ms := decimal.NewFromInt(s.SetUp.Milliseconds() + s.WashUp.Milliseconds())
	ms = ms.Add(decimal.NewFromInt(runs).Mul(decimal.NewFromInt(s.PerRun.Milliseconds())))
	if s.PerHour > 0 {
		passes := decimal.NewFromInt(int64(max(s.Passes, 1)))
		ms = ms.Add(money.DivDecimal(decimal.NewFromInt(int64(in)).Mul(passes).Mul(decimal.NewFromInt(3_600_000)),
			decimal.NewFromInt(int64(s.PerHour)), 0, money.RoundUp))
	}
	seconds := money.DivDecimal(ms, decimal.NewFromInt(1000), 0, money.RoundUp)
	return time.Duration(decimal.Min(seconds, decimal.NewFromInt(maxSeconds)).IntPart()) * time.Second
}

// maxSeconds, a hundred years, keeps a step within a time.Duration.
const maxSeconds = 100 * 366 * 86400

func sum(parts []mass.Mass) (total mass.Mass) {
	for _, p := range parts {
		total += p
	}
	return total
}

// scaleUp is m x num / den, rounded up; den 0 stands for num. ErrQuantity above
// the largest mass.
func scaleUp(m, num, den mass.Mass) (mass.Mass, error) {
	if den == 0 || den == num {
		return m, nil
	}
	d := money.DivDecimal(decimal.NewFromInt(int64(m)).Mul(decimal.NewFromInt(int64(num))),
		decimal.NewFromInt(int64(den)), 0, money.RoundUp)
	if d.GreaterThan(decimal.NewFromInt(int64(mass.Max))) {
		return 0, fmt.Errorf("%w: %s mg", ErrQuantity, d)
	}
	return mass.Mass(d.IntPart()), nil
}

// share splits a mass in proportion to the parts, to the milligram: rounded
// down, and what is left over goes one milligram each to the first ones that
// have a remainder, largest first.
func share(total mass.Mass, parts []mass.Mass) []mass.Mass {
	whole := uint64(sum(parts))
	out := make([]mass.Mass, len(parts))
	rest := make([]uint64, len(parts))
	left := total
	for i, p := range parts {
		hi, lo := bits.Mul64(uint64(total), uint64(p))
		var q uint64
		q, rest[i] = bits.Div64(hi, lo, whole) // p <= whole, so q <= total fits
		out[i] = mass.Mass(q)
		left -= out[i]
	}
	for ; left > 0; left-- {
		best := 0
		for i := range rest {
			if rest[i] > rest[best] {
				best = i
			}
		}
		out[best]++
		rest[best] = 0
	}
	return out
}
