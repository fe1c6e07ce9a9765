package calendar

import (
	"errors"
	"fmt"
	"sort"
	"time"
	_ "time/tzdata" // zones must not depend on the machine
)

// Errors of this package; test with errors.Is.
var (
	ErrZone        = errors.New("calendar: unknown time zone; give an IANA name such as Europe/Berlin")
	ErrShift       = errors.New("calendar: a shift starts from 00:00 to 23:59 and ends after its start, at most 24 hours later")
	ErrWindow      = errors.New("calendar: a maintenance window must end after it starts")
	ErrNeverOpen   = errors.New("calendar: the plant is not open for long enough within ten years; add shifts")
	ErrDuration    = errors.New("calendar: a working time must not be negative")
	ErrTooManyDays = errors.New("calendar: the span is longer than fifty years")
)

const (
	horizonDays = 3653  // ten years: as far as a search for working time goes
	spanDays    = 18263 // fifty years: the longest span that is listed
	firstDays   = 2     // looked at first, then twice as many: most steps end within a day
)

// Date is a day of the plant's zone.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// Shift is a working time by the wall clock, as minutes after midnight of the
// day it starts on. 22:00 to 06:00 is {22*60, 30*60}.
type Shift struct{ Start, End int }

// Hours is the shift between two whole hours.
func Hours(start, end int) Shift { return Shift{start * 60, end * 60} }

// Interval is a span of time, End excluded.
type Interval struct{ Start, End time.Time }

// Window is a time in which the plant does not work although a shift is on.
type Window struct {
	Interval
	Reason string
}

// Config is what a calendar is made from.
type Config struct {
	Zone        string // IANA name
	Week        map[time.Weekday][]Shift
	Special     map[Date][]Shift // in place of the weekday's shifts; none: a holiday
	Maintenance []Window
}

// Calendar is a checked Config. It is immutable and safe for concurrent use.
type Calendar struct {
	loc     *time.Location
	week    [7][]Shift
	special map[Date][]Shift
	closed  []Interval // maintenance, merged and in order
}

// New checks the configuration: ErrZone, ErrShift, ErrWindow.
func New(c Config) (*Calendar, error) {
	if c.Zone == "" || c.Zone == "Local" {
		return nil, fmt.Errorf("%w: got %q", ErrZone, c.Zone)
	}
	loc, err := time.LoadLocation(c.Zone)
	if err != nil {
		return nil, fmt.Errorf("%w: got %.60q", ErrZone, c.Zone)
	}
	cal := &Calendar{loc: loc, special: make(map[Date][]Shift, len(c.Special))}
	for day, shifts := range c.Week {
		if day < time.Sunday || day > time.Saturday {
			return nil, fmt.Errorf("%w: weekday %d", ErrShift, day)
		}
		if err := checkShifts(shifts); err != nil {
			return nil, fmt.Errorf("%w (%s)", err, day)
		}
		cal.week[day] = append([]Shift(nil), shifts...)
	}
	for day, shifts := range c.Special {
		if err := checkShifts(shifts); err != nil {
			return nil, fmt.Errorf("%w (%04d-%02d-%02d)", err, day.Year, day.Month, day.Day)
		}
		cal.special[day] = append([]Shift(nil), shifts...)
	}
	for _, w := range c.Maintenance {
		if !w.End.After(w.Start) {
			return nil, fmt.Errorf("%w: %q from %s", ErrWindow, w.Reason, w.Start)
		}
		cal.closed = append(cal.closed, w.Interval)
	}
	cal.closed = Merge(cal.closed)
	return cal, nil
}

func checkShifts(shifts []Shift) error {
	const day = 24 * 60
	for _, s := range shifts {
		if s.Start < 0 || s.Start >= day || s.End <= s.Start || s.End > s.Start+day {
			return fmt.Errorf("%w: got minutes %d to %d", ErrShift, s.Start, s.End)
		}
	}
	return nil
}

// Zone is the time zone of the plant.
func (c *Calendar) Zone() *time.Location { return c.loc }

// DateOf is the day of the plant's zone that t falls on.
func (c *Calendar) DateOf(t time.Time) Date {
	y, m, d := t.In(c.loc).Date()
	return Date{y, m, d}
}

// Merge sorts intervals and joins those that overlap or touch; empty ones go.
// The input is not changed.
func Merge(in []Interval) []Interval {
	all := make([]Interval, 0, len(in))
	for _, i := range in {
		if i.End.After(i.Start) {
			all = append(all, i)
		}
	}
	sort.Slice(all, func(a, b int) bool { return all[a].Start.Before(all[b].Start) })
	out := all[:0]
	for _, i := range all {
		if n := len(out); n > 0 && !i.Start.After(out[n-1].End) {
			if i.End.After(out[n-1].End) {
				out[n-1].End = i.End
			}
			continue
		}
		out = append(out, i)
	}
	return out
}

// Subtract is what is left of the intervals outside the holes. Both must be
// merged already.
func Subtract(in, holes []Interval) []Interval {
	var out []Interval
	for _, i := range in {
		first := sort.Search(len(holes), func(k int) bool { return holes[k].End.After(i.Start) })
		for _, h := range holes[first:] {
			if !h.Start.Before(i.End) {
				break
			}
			if h.Start.After(i.Start) {
				out = append(out, Interval{i.Start, h.Start})
			}
			i.Start = h.End
		}
		if i.End.After(i.Start) {
			out = append(out, i)
		}
	}
	return out
}
