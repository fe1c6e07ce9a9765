package relax_test

import (
	"context"
	"errors"
	"math/bits"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"millbase/solver"
	"millbase/solver/relax"
)

// TestWays compares with brute force over all subsets: the minimal sets whose
// removal makes the model feasible, no more, no fewer, fewest members first.
func TestWays(t *testing.T) {
	sizes := map[int]int{}
	rapid.Check(t, func(t *rapid.T) {
		m := drawn(t)
		limits := limitsOf(m)
		full := uint(1)<<len(limits) - 1
		var want []uint
		for size := 0; size <= len(limits); size++ {
			for mask := range uint(1) << len(limits) {
				if bits.OnesCount(mask) != size || slices.ContainsFunc(want, func(w uint) bool { return w&mask == w }) {
					continue
				}
				if feasible(t, m, limits, full&^mask) {
					want = append(want, mask)
				}
			}
		}
		got, all, err := relax.Ways(context.Background(), engine(), m, limits, 1000, len(limits))
		if err != nil {
			t.Fatal(err)
		}
		var masks []uint
		for i, way := range got {
			if i > 0 && len(way) < len(got[i-1]) {
				t.Fatalf("a smaller way after a larger one: %v", got)
			}
			var mask uint
			for _, l := range way {
				mask |= 1 << slices.Index(limits, l)
			}
			masks = append(masks, mask)
			sizes[len(way)]++
		}
		slices.Sort(masks)
		slices.Sort(want)
		if !slices.Equal(masks, want) || !all {
			t.Fatalf("ways %b (all %v), brute force found %b", masks, all, want)
		}
		if len(want) < 2 {
			return
		}
		if some, all, err := relax.Ways(context.Background(), engine(), m, limits, 1, len(limits)); err != nil || len(some) != 1 || all {
			t.Fatalf("asked for one: %v, all %v, %v", some, all, err)
		}
	})
	t.Logf("ways by number of members: %v", sizes)
	if sizes[2] == 0 || sizes[1] == 0 {
		t.Errorf("ways by number of members: %v; want some of one and of two", sizes)
	}
}

func TestWaysStopped(t *testing.T) {
	m := &solver.Model{}
	m.AddRow(solver.Row{Lower: 1, Upper: solver.Inf})
	m.AddVariable(solver.Variable{Upper: 0.5}, solver.Entry{Row: 0, Value: 1})
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, _, err := relax.Ways(ctx, engine(), m, relax.Rows(m), 5, 5); !errors.Is(err, relax.ErrStopped) {
		t.Errorf("cancelled: got %v, want ErrStopped", err)
	}
	if _, _, err := relax.Ways(context.Background(), engine(), m, []relax.Limit{relax.Row(3, relax.Lower)}, 5, 5); !errors.Is(err, relax.ErrLimit) {
		t.Errorf("no such row: got %v, want ErrLimit", err)
	}
	if ways, all, err := relax.Ways(context.Background(), engine(), m, nil, 5, 5); err != nil || len(ways) != 0 || !all {
		t.Errorf("nothing that may go: %v, all %v, %v", ways, all, err)
	}
}
