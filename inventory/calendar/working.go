package calendar

import (
	"fmt"
	"time"
)

// Open lists when the plant works between two moments, in order, without
// overlaps, cut off at the two ends. Empty when until is not after from;
// ErrTooManyDays beyond fifty years.
func (c *Calendar) Open(from, until time.Time) ([]Interval, error) {
	if !until.After(from) {
		return nil, nil
	}
	if until.Sub(from) > spanDays*24*time.Hour {
		return nil, ErrTooManyDays
	}
	// The day before may reach into the span by a night shift; one more day on
	// both sides covers zones that change their date.
	y, m, d := from.In(c.loc).Date()
	var all []Interval
	for k := -2; ; k++ {
		midnight := time.Date(y, m, d+k, 0, 0, 0, 0, time.UTC) // names the day only
		day := Date{midnight.Year(), midnight.Month(), midnight.Day()}
		for _, s := range c.shifts(day, midnight.Weekday()) {
			i := Interval{c.clock(day, s.Start), c.clock(day, s.End)}
			if i.Start.Before(from) {
				i.Start = from.In(c.loc)
			}
			if i.End.After(until) {
				i.End = until.In(c.loc)
			}
			all = append(all, i)
		}
		if c.clock(day, 0).After(until) {
			break
		}
	}
	return Subtract(Merge(all), c.closed), nil
}

func (c *Calendar) shifts(d Date, w time.Weekday) []Shift {
	if s, ok := c.special[d]; ok {
		return s
	}
	return c.week[w]
}

// clock is the moment at which the wall clock shows that many minutes after
// midnight of the day: the moment of the change when the clock skips it, the
// first of two when the clock shows it twice.
func (c *Calendar) clock(d Date, minutes int) time.Time {
	t := time.Date(d.Year, d.Month, d.Day, 0, minutes, 0, 0, c.loc)
	want := time.Date(d.Year, d.Month, d.Day, 0, minutes, 0, 0, time.UTC)
	start, end := t.ZoneBounds()
	switch shown := wall(t); {
	case shown.After(want): // skipped, and t lies after the change
		return start
	case shown.Before(want): // skipped, and t lies before the change
		return end
	}
	if start.IsZero() {
		return t
	}
	_, now := t.Zone()
	_, before := start.Add(-time.Nanosecond).In(c.loc).Zone()
	if earlier := t.Add(time.Duration(now-before) * time.Second); earlier.Before(start) && before > now {
		return earlier
	}
	return t
}

// wall is the reading of the wall clock at t, as if it were UTC.
func wall(t time.Time) time.Time {
	_, offset := t.Zone()
	return t.UTC().Add(time.Duration(offset) * time.Second)
}

// IsOpen reports whether the plant works at t.
func (c *Calendar) IsOpen(t time.Time) bool {
	open, err := c.Open(t, t.Add(time.Nanosecond))
	return err == nil && len(open) > 0
}

// NextOpening is t itself while the plant works, else the moment it next
// starts. ErrNeverOpen when it does not start within ten years.
func (c *Calendar) NextOpening(t time.Time) (time.Time, error) {
	var found time.Time
	err := c.walk(t, func(i Interval) bool { found = i.Start; return true })
	return found, err
}

// AddWorking is the earliest moment by which d of working time has passed since
// t: the end of a shift rather than the start of the next. With d zero it is t.
// ErrDuration when d is negative, ErrNeverOpen when ten years do not hold it.
func (c *Calendar) AddWorking(t time.Time, d time.Duration) (time.Time, error) {
	if d < 0 {
		return time.Time{}, fmt.Errorf("%w: got %s", ErrDuration, d)
	}
	if d == 0 {
		return t.In(c.loc), nil
	}
	var end time.Time
	err := c.walk(t, func(i Interval) bool {
		if span := i.End.Sub(i.Start); span < d {
			d -= span
			return false
		}
		end = i.Start.Add(d)
		return true
	})
	return end, err
}

// SubWorking is the latest moment from which d of working time passes until t:
// when work must start to be done by t. With d zero it is t.
func (c *Calendar) SubWorking(t time.Time, d time.Duration) (time.Time, error) {
	if d < 0 {
		return time.Time{}, fmt.Errorf("%w: got %s", ErrDuration, d)
	}
	if d == 0 {
		return t.In(c.loc), nil
	}
	for from, days, left := t, firstDays, horizonDays; left > 0; days *= 2 {
		start := from.AddDate(0, 0, -min(days, left))
		open, err := c.Open(start, from)
		if err != nil {
			return time.Time{}, err
		}
		for k := len(open) - 1; k >= 0; k-- {
			span := open[k].End.Sub(open[k].Start)
			if span >= d {
				return open[k].End.Add(-d), nil
			}
			d -= span
		}
		from, left = start, left-days
	}
	return time.Time{}, ErrNeverOpen
}

// Between is the working time from a to b; negative when b is before a.
func (c *Calendar) Between(a, b time.Time) (time.Duration, error) {
	if b.Before(a) {
		d, err := c.Between(b, a)
		return -d, err
	}
	open, err := c.Open(a, b)
	var total time.Duration
	for _, i := range open {
		total += i.End.Sub(i.Start)
	}
	return total, err
}

// walk calls visit for each open interval from t on until it returns true;
// ErrNeverOpen when that does not happen within the horizon. Intervals may be
// cut at the seams between the blocks that are looked at.
func (c *Calendar) walk(t time.Time, visit func(Interval) bool) error {
	for from, days, left := t, firstDays, horizonDays; left > 0; days *= 2 {
		until := from.AddDate(0, 0, min(days, left))
		open, err := c.Open(from, until)
		if err != nil {
			return err
		}
		for _, i := range open {
			if visit(i) {
				return nil
			}
		}
		from, left = until, left-days
	}
	return ErrNeverOpen
}
