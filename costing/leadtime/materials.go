package leadtime

import (
	"sort"
	"time"

	"millbase/inventory/mass"
)

// Source says what the last kilogram of a material comes from.
type Source uint8

// The sources.
const (
	FromStock   Source = iota // all there now
	FromSupply                // an open order or batch on its way
	FromOrder                 // a new order at the supplier's lead time
	Unavailable               // nothing covers it and nobody delivers it
)

var sourceNames = [...]string{"stock", "supply", "new order", "unavailable"}

// String is the source in words.
func (s Source) String() string { return sourceNames[s] }

// Ready says when a material is all there.
type Ready struct {
	Material string
	At       time.Time // not meaningful when Unavailable
	Source   Source
	Supply   string    // the order that completes it, with FromSupply
	Short    mass.Mass // what stock alone lacks
	ToOrder  mass.Mass // what a new order must bring, with FromOrder
	Step     int
}

// ready is the earliest of: stock alone, stock with dated supplies, a new order
// for what stock and the supplies due before it do not cover.
func ready(now time.Time, m Material) Ready {
	r := Ready{Material: m.ID, At: now, Step: m.Step}
	if m.Stock >= m.Need {
		return r
	}
	r.Short = m.Need - m.Stock
	at, id, ok := covered(now, m.Supplies, r.Short)
	ordered := now.Add(m.LeadTime)
	switch {
	case ok && (!m.CanOrder || !at.After(ordered)):
		r.At, r.Source, r.Supply = at, FromSupply, id
	case m.CanOrder:
		r.At, r.Source, r.ToOrder = ordered, FromOrder, r.Short
		for _, s := range m.Supplies {
			if !s.Due.After(ordered) {
				r.ToOrder -= min(s.Mass, r.ToOrder)
			}
		}
	default:
		r.At, r.Source = time.Time{}, Unavailable
	}
	return r
}

// covered is the moment by which supplies add up to need, and the one that
// completes it. Supplies that are overdue count as now.
func covered(now time.Time, supplies []Supply, need mass.Mass) (time.Time, string, bool) {
	order := append([]Supply(nil), supplies...)
	sort.SliceStable(order, func(a, b int) bool {
		if !order[a].Due.Equal(order[b].Due) {
			return order[a].Due.Before(order[b].Due)
		}
		return order[a].ID < order[b].ID
	})
	for _, s := range order {
		if need -= min(s.Mass, need); need == 0 {
			if s.Due.Before(now) {
				return now, s.ID, true
			}
			return s.Due, s.ID, true
		}
	}
	return time.Time{}, "", false
}
