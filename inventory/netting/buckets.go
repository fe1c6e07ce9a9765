package netting

import (
	"fmt"
	"sort"
	"time"

	"millbase/inventory/mass"
)

// Buckets cuts time into equal runs of days from Start on, in Start's time
// zone: a week stays a week when the clocks change.
type Buckets struct {
	Start time.Time // midnight of the first day
	Days  int       // 7 for weeks
	Count int
}

// Check refuses buckets that hold no time (ErrInput).
func (b Buckets) Check() error {
	if b.Days < 1 || b.Days > 366 || b.Count < 1 || b.Count > maxBuckets {
		return fmt.Errorf("%w: from 1 to %d buckets of 1 to 366 days, got %d of %d", ErrInput, maxBuckets, b.Count, b.Days)
	}
	return nil
}

// From is the first moment of bucket i, the end of bucket i-1.
func (b Buckets) From(i int) time.Time { return b.Start.AddDate(0, 0, i*b.Days) }

// Index is the bucket that t lies in: -1 before the first, Count after the last.
func (b Buckets) Index(t time.Time) int {
	return sort.Search(b.Count+1, func(i int) bool { return t.Before(b.From(i)) }) - 1
}

// LeadTime is a lead time in calendar days as whole buckets, rounded up.
func (b Buckets) LeadTime(days int) int { return (days + b.Days - 1) / b.Days }

// Dated is a mass that is needed or due at a moment.
type Dated struct {
	At   time.Time
	Mass mass.Mass
}

// Row adds dated masses up by bucket. What is overdue counts in the first
// bucket; what lies beyond the last is returned apart.
func (b Buckets) Row(items []Dated) (row []mass.Mass, beyond mass.Mass, err error) {
	if err := b.Check(); err != nil {
		return nil, 0, err
	}
	row = make([]mass.Mass, b.Count)
	for _, it := range items {
		if it.Mass < 0 || it.Mass > mass.Max {
			return nil, 0, fmt.Errorf("%w: a mass of %s on %s", ErrInput, it.Mass, it.At.Format(time.DateOnly))
		}
		i := max(b.Index(it.At), 0)
		if i >= b.Count {
			beyond += it.Mass
			continue
		}
		row[i] += it.Mass
	}
	return row, beyond, nil
}
