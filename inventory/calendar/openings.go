package calendar

import (
	"sort"
	"time"
)

// Openings remembers when the plant works, for a caller that asks many times
// about the same weeks: a schedule, say. It answers exactly as the calendar
// does. It is not safe for concurrent use.
type Openings struct {
	c           *Calendar
	from, until time.Time  // what is looked up so far
	open        []Interval // in it; those that touch are joined
}

// Openings starts at a moment; what lies before it is looked up anew each time.
func (c *Calendar) Openings(from time.Time) *Openings {
	return &Openings{c: c, from: from, until: from}
}

// NextOpening is that of the calendar.
func (o *Openings) NextOpening(t time.Time) (time.Time, error) {
	i, ok := o.index(t)
	if !ok {
		return o.c.NextOpening(t)
	}
	if start := o.open[i].Start; start.After(t) {
		return start, nil
	}
	return t.In(o.c.loc), nil
}

// AddWorking is that of the calendar.
func (o *Openings) AddWorking(t time.Time, d time.Duration) (time.Time, error) {
	if d <= 0 {
		return o.c.AddWorking(t, d)
	}
	i, ok := o.index(t)
	at, left := t, d
	for ; ok; i, ok = o.index(at) {
		start := at.In(o.c.loc)
		if o.open[i].Start.After(at) {
			start = o.open[i].Start
		}
		if span := o.open[i].End.Sub(start); span < left {
			left -= span
			at = o.open[i].End
			continue
		}
		return start.Add(left), nil
	}
	return o.c.AddWorking(t, d)
}

// index is the first opening that ends after t, looked up if need be; ok is
// false before the start and beyond the horizon, where the calendar itself has
// to answer.
func (o *Openings) index(t time.Time) (i int, ok bool) {
	if t.Before(o.from) {
		return 0, false
	}
	for {
		i = sort.Search(len(o.open), func(k int) bool { return o.open[k].End.After(t) })
		if i < len(o.open) {
			return i, true
		}
		if !o.extend() {
			return 0, false
		}
	}
}

// extend looks further ahead: four weeks, then as much again as is known.
func (o *Openings) extend() bool {
	days := max(28, int(o.until.Sub(o.from)/(24*time.Hour)))
	if days > horizonDays {
		return false
	}
	until := o.until.AddDate(0, 0, days)
	more, err := o.c.Open(o.until, until)
	if err != nil {
		return false
	}
	o.open, o.until = Merge(append(o.open, more...)), until
	return true
}
