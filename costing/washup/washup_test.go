package washup_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"millbase/costing/washup"
)

var mill = washup.Machine{Full: 45 * time.Minute, Short: 12 * time.Minute}

func TestLightToDark(t *testing.T) {
	for _, c := range []struct {
		m          washup.Machine
		last, next float64
		want       time.Duration
	}{
		{mill, 88, 20, 12 * time.Minute},                                   // yellow, then black
		{mill, 20, 88, 45 * time.Minute},                                   // black, then yellow
		{mill, 50, 50, 12 * time.Minute},                                   // the same again
		{washup.Machine{Full: 45 * time.Minute}, 88, 20, 45 * time.Minute}, // no short one
		{washup.Machine{Full: time.Minute, Short: time.Hour}, 88, 20, time.Minute},
	} {
		if got := c.m.Between(c.last, c.next); got != c.want {
			t.Errorf("from %v to %v: %v, want %v", c.last, c.next, got, c.want)
		}
	}
}

// TestNoOrderIsShorter compares the order with every other one.
func TestNoOrderIsShorter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		inks := rapid.SliceOfN(rapid.Float64Range(10, 95), 0, 6).Draw(t, "inks")
		var last *float64
		if rapid.Bool().Draw(t, "before") {
			v := rapid.Float64Range(10, 95).Draw(t, "last")
			last = &v
		}
		order := washup.Order(last, inks)
		seen := map[int]bool{}
		sorted := make([]float64, len(order))
		for i, k := range order {
			seen[k], sorted[i] = true, inks[k]
		}
		if len(seen) != len(inks) {
			t.Fatalf("the order %v is none of %d inks", order, len(inks))
		}
		least := mill.Total(last, sorted)
		permute(inks, func(other []float64) {
			if d := mill.Total(last, other); d < least {
				t.Fatalf("%v takes %v, the order %v takes %v", other, d, sorted, least)
			}
		})
	})
}

func permute(of []float64, visit func([]float64)) {
	var step func(k int)
	at := append([]float64(nil), of...)
	step = func(k int) {
		if k == len(at) {
			visit(at)
			return
		}
		for i := k; i < len(at); i++ {
			at[k], at[i] = at[i], at[k]
			step(k + 1)
			at[k], at[i] = at[i], at[k]
		}
	}
	step(0)
}
