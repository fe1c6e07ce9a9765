package washup

import (
	"cmp"
	"slices"
	"time"
)

// Machine is what washing a machine takes.
type Machine struct {
	Full  time.Duration
	Short time.Duration // from light to dark; 0: always in full
}

// Between is how long the machine is washed from one ink to the next, by their L*.
func (m Machine) Between(last, next float64) time.Duration {
	if m.Short > 0 && m.Short < m.Full && next <= last {
		return m.Short
	}
	return m.Full
}

// Total is how long the machine is washed for a sequence of inks, by their L*. last
// is the ink that is on it before; nil: it is clean.
func (m Machine) Total(last *float64, sequence []float64) time.Duration {
	var sum time.Duration
	for i := range sequence {
		if last != nil {
			sum += m.Between(*last, sequence[i])
		}
		last = &sequence[i]
	}
	return sum
}

// Order is the sequence that takes the least washing, as indices into inks, by
// their L*: from light to dark, where what is on the machine before is at most as
// dark as the lightest; else those that can follow it first, from light to dark,
// and then, after one full wash-up, the rest from light to dark.
func Order(last *float64, inks []float64) []int {
	out := make([]int, len(inks))
	for i := range out {
		out[i] = i
	}
	follows := func(i int) bool { return last == nil || inks[i] <= *last }
	slices.SortStableFunc(out, func(a, b int) int {
		if follows(a) != follows(b) {
			if follows(a) {
				return -1
			}
			return 1
		}
		return cmp.Compare(inks[b], inks[a])
	})
	return out
}
