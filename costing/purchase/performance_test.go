package purchase_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"millbase/costing/purchase"
)

// By hand: sent on the 2nd, due on the 12th; delivered on the 10th, 12th, 15th, and
// on the 20th, which was reversed. Lead times 8, 10, 13: mean 31/3, deviation
// sqrt(((7/3)^2 + (1/3)^2 + (8/3)^2)/2) = sqrt(19/3).
func TestPerformance(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 11, n, 0, 0, 0, 0, time.UTC) }
	l := purchase.Line{DueDate: day(12), Deliveries: []purchase.Delivery{{Date: day(10)}, {Date: day(12)}, {Date: day(15)}, {Date: day(20), Reversed: true}}}
	o := purchase.Order{SentDate: day(2)}
	p := purchase.Judge(o.Arrivals(l, time.Time{}))
	near := func(a, b float64) bool { return a-b < 1e-12 && b-a < 1e-12 }
	if p.Deliveries != 3 || p.OnTime != 2 || p.Timed != 3 || p.Latest != 3 || !near(p.MeanLate, 1.0/3) || !near(p.MeanQuoted, 10) || !near(p.MeanActual, 31.0/3) || !near(p.Deviation*p.Deviation, 19.0/3) {
		t.Errorf("%+v", p)
	}
	if p = purchase.Judge(o.Arrivals(l, day(12))); p.Deliveries != 2 {
		t.Errorf("since the 12th: %+v", p)
	}
	if p = purchase.Judge((purchase.Order{}).Arrivals(l, time.Time{})); p.Timed != 0 || p.Deliveries != 3 || p.MeanActual != 0 {
		t.Errorf("without a day of sending: %+v", p)
	}
	if p = purchase.Judge(nil); p != (purchase.Performance{}) {
		t.Errorf("nothing delivered: %+v", p)
	}
}

func arrivals(late ...int) []purchase.Arrival {
	out := make([]purchase.Arrival, len(late))
	for i, d := range late {
		out[i].Late = d
	}
	return out
}

// 19 deliveries are what 95 % takes, 99 take 99 %; 4 promise 80 %.
func TestSafetyTime(t *testing.T) {
	nineteen := arrivals(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18)
	for _, c := range []struct {
		late    []purchase.Arrival
		percent int
		want    purchase.SafetyTime
	}{
		{nil, 95, purchase.SafetyTime{Needed: 19}},
		{arrivals(3), 50, purchase.SafetyTime{Days: 3, Covers: 50, Enough: true, Needed: 1}},
		{arrivals(4, -2, 0, 1), 80, purchase.SafetyTime{Days: 4, Covers: 80, Enough: true, Needed: 4}},
		{arrivals(4, -2, 0, 1), 95, purchase.SafetyTime{Days: 4, Covers: 80, Needed: 19}},
		{arrivals(4, -2, 0, 1), 60, purchase.SafetyTime{Days: 1, Covers: 60, Enough: true, Needed: 2}},
		{arrivals(-5, -4, -3), 70, purchase.SafetyTime{Days: 0, Covers: 75, Enough: true, Needed: 3}},
		{nineteen, 95, purchase.SafetyTime{Days: 18, Covers: 95, Enough: true, Needed: 19}},
		{nineteen, 90, purchase.SafetyTime{Days: 17, Covers: 90, Enough: true, Needed: 9}},
		{nineteen, 99, purchase.SafetyTime{Days: 18, Covers: 95, Needed: 99}},
	} {
		if got := purchase.SuggestSafetyTime(c.late, c.percent); got != c.want {
			t.Errorf("%d %% of %v: %+v, want %+v", c.percent, c.late, got, c.want)
		}
	}
}

// Whatever the distribution: of many next deliveries, at least the share that is
// promised come within the safety time.
func TestSafetyTimeCoversWhatItPromises(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 11))
	for name, draw := range map[string]func() int{
		"even":   func() int { return r.IntN(20) },
		"skewed": func() int { return int(r.ExpFloat64() * 6) },
		"rare":   func() int { return r.IntN(2) * r.IntN(2) * r.IntN(2) * 30 },
		"early":  func() int { return r.IntN(9) - 7 },
	} {
		for _, percent := range []int{80, 90, 95} {
			const trials = 20_000
			covered := 0
			for range trials {
				late := make([]int, 25)
				for i := range late {
					late[i] = draw()
				}
				if draw() <= purchase.SuggestSafetyTime(arrivals(late...), percent).Days {
					covered++
				}
			}
			// Three standard errors of a share are below 0.01.
			if share := float64(covered) / trials; share < float64(percent)/100-0.01 {
				t.Errorf("%s: %d %% promised, %.3f came in time", name, percent, share)
			}
		}
	}
}

// More service never takes less safety time, and it is never later than what was
// seen.
func TestSafetyTimeGrowsWithService(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := arrivals(rapid.SliceOfN(rapid.IntRange(-20, 60), 1, 40).Draw(t, "late")...)
		low := rapid.IntRange(50, 99).Draw(t, "low")
		high := rapid.IntRange(low, 99).Draw(t, "high")
		a, b := purchase.SuggestSafetyTime(all, low), purchase.SuggestSafetyTime(all, high)
		if a.Days > b.Days || b.Days > max(0, purchase.Judge(all).Latest) || a.Enough != (len(all) >= a.Needed) || (a.Enough && a.Covers < low) {
			t.Fatalf("%d %%: %+v, %d %%: %+v", low, a, high, b)
		}
	})
}
