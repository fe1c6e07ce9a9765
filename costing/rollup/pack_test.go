package rollup_test

import (
	"fmt"
	"testing"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/costing/money"
	"millbase/costing/rollup"
	"millbase/inventory/mass"
)

// TestNoMixOfCansIsCheaper tries every mix of small quantities.
func TestNoMixOfCansIsCheaper(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 3).Draw(t, "sizes")
		cans := make([]rollup.Can, n)
		for i := range cans {
			cans[i] = rollup.Can{ID: fmt.Sprint("can ", i), Holds: mass.Mass(rapid.IntRange(1, 12).Draw(t, "holds")) * 500 * mass.Gram,
				Cost: money.Money{Currency: "EUR", Amount: decimal.New(rapid.Int64Range(0, 400).Draw(t, "cents"), -2)}}
		}
		q := mass.Mass(rapid.IntRange(1, 60).Draw(t, "quantity")) * 333 * mass.Gram
		lines, err := rollup.Pack(cans, q)
		if err != nil {
			t.Fatal(err)
		}
		cost, holds, count := decimal.Zero, mass.Mass(0), int64(0)
		for _, l := range lines {
			cost, count = cost.Add(l.Cost.Amount), count+l.Count
			for _, c := range cans {
				if c.ID == l.Can {
					holds += mass.Mass(l.Count) * c.Holds
				}
			}
		}
		if holds < q {
			t.Fatalf("%s does not go into %v", q, lines)
		}
		var try func(i int, left mass.Mass, spent decimal.Decimal, used int64)
		try = func(i int, left mass.Mass, spent decimal.Decimal, used int64) {
			if left <= 0 {
				if spent.LessThan(cost) || spent.Equal(cost) && used < count {
					t.Fatalf("%s: %v cost %s in %d cans, there is a mix for %s in %d", q, lines, cost, count, spent, used)
				}
				return
			}
			if i == n || spent.GreaterThan(cost) {
				return
			}
			for k := int64(0); ; k++ {
				try(i+1, left-mass.Mass(k)*cans[i].Holds, spent.Add(cans[i].Cost.Amount.Mul(decimal.NewFromInt(k))), used+k)
				if mass.Mass(k)*cans[i].Holds >= left {
					return
				}
			}
		}
		try(0, q, decimal.Zero, 0)
	})
}

// A container of a tonne and tins of 2.5 kg are mixed too: 1005 kg go into one of the
// one and two of the other. Sizes with no common part are packed in one size.
func TestPackOddSizes(t *testing.T) {
	tonne := rollup.Can{ID: "tonne", Holds: 1000 * kg, Cost: eur("95")}
	tin := rollup.Can{ID: "tin", Holds: 2500 * mass.Gram, Cost: eur("1.20")}
	small := rollup.Can{ID: "small tin", Holds: kg, Cost: eur("0.90")}
	got, err := rollup.Pack([]rollup.Can{small, tin, tonne}, 1005*kg)
	if err != nil || len(got) != 2 || got[0].Count != 1 || got[1].Count != 2 {
		t.Errorf("1005 kg: %+v, %v", got, err)
	}
	huge := []rollup.Can{{ID: "a", Holds: 1 << 32, Cost: eur("0.5")}, {ID: "b", Holds: 1<<32 - 1, Cost: eur("0.6")}}
	if got, err = rollup.Pack(huge, 6000*kg); err != nil || len(got) != 1 || got[0].Can != "a" || got[0].Count != 2 {
		t.Errorf("sizes of nothing in common: %+v, %v", got, err)
	}
}
