package purchase

import (
	"math"
	"slices"
	"time"
)

// Arrival is when a delivery came, against what was agreed. Days are calendar
// days.
type Arrival struct {
	Quoted int  // from sending the order to the due date
	Actual int  // from sending the order to the delivery
	Timed  bool // the day of sending is known: Quoted and Actual hold
	Late   int  // after the due date; below zero: before it
}

// Arrivals are those of the line's deliveries that stand, on or after a date
// (zero: all).
func (o Order) Arrivals(l Line, since time.Time) []Arrival {
	var out []Arrival
	for _, d := range l.Deliveries {
		if d.Reversed || d.Date.Before(since) {
			continue
		}
		a := Arrival{Late: daysBetween(l.DueDate, d.Date)}
		if !o.SentDate.IsZero() {
			a.Timed, a.Quoted, a.Actual = true, daysBetween(o.SentDate, l.DueDate), daysBetween(o.SentDate, d.Date)
		}
		out = append(out, a)
	}
	return out
}

func daysBetween(a, b time.Time) int { return int(b.Sub(a) / (24 * time.Hour)) }

// Performance is how deliveries kept to what was agreed. Means and the deviation
// are in days; the deviation is that of a sample (n-1), zero below two deliveries.
type Performance struct {
	Deliveries int
	OnTime     int // on the due date or before
	MeanLate   float64
	Latest     int
	// Of the deliveries of which the day of sending is known:
	Timed      int
	MeanQuoted float64
	MeanActual float64
	Deviation  float64 // of the actual lead time
}

// Judge sums arrivals up.
func Judge(all []Arrival) Performance {
	p := Performance{Deliveries: len(all)}
	var late, quoted, actual int
	for i, a := range all {
		if a.Late <= 0 {
			p.OnTime++
		}
		if late += a.Late; i == 0 || a.Late > p.Latest {
			p.Latest = a.Late
		}
		if a.Timed {
			p.Timed++
			quoted += a.Quoted
			actual += a.Actual
		}
	}
	if p.Deliveries > 0 {
		p.MeanLate = float64(late) / float64(p.Deliveries)
	}
	if p.Timed == 0 {
		return p
	}
	p.MeanQuoted, p.MeanActual = float64(quoted)/float64(p.Timed), float64(actual)/float64(p.Timed)
	squares := 0.0
	for _, a := range all {
		if a.Timed {
			squares += (float64(a.Actual) - p.MeanActual) * (float64(a.Actual) - p.MeanActual)
		}
	}
	if p.Timed > 1 {
		p.Deviation = math.Sqrt(squares / float64(p.Timed-1))
	}
	return p
}

// SafetyTime is a suggestion of how long before it is needed a material should be
// due.
type SafetyTime struct {
	Days int
	// Covers is with what probability the next delivery is no later than Days,
	// percent, rounded down.
	Covers int
	// Enough says that there are deliveries enough for the service level; else Days
	// is the latest of them, and Needed is how many it takes.
	Enough bool
	Needed int
}

// SuggestSafetyTime takes the least lateness seen that covers the service level,
// from 50 to 99 percent. It needs no assumption on how lateness is distributed: when the
// next delivery is as likely as any to take each place among n+1, it is no later than
// the k-th of n with probability k/(n+1) (Wilks, Determination of sample sizes for
// setting tolerance limits, Annals of Mathematical Statistics 12, 1941; from memory).
// So n deliveries can promise n/(n+1) at most: 95 % takes 19 of them. With ties the
// probability is higher still. Without deliveries nothing is suggested.
func SuggestSafetyTime(all []Arrival, percent int) SafetyTime {
	n := len(all)
	s := SafetyTime{Needed: ceilDiv(percent, 100-percent)}
	if n == 0 {
		return s
	}
	late := make([]int, n)
	for i, a := range all {
		late[i] = a.Late
	}
	slices.Sort(late)
	k := ceilDiv(percent*(n+1), 100)
	s.Enough = k <= n
	k = min(k, n)
	s.Days, s.Covers = max(0, late[k-1]), 100*k/(n+1)
	return s
}

func ceilDiv(a, b int) int { return (a + b - 1) / b }
