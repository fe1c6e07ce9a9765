package purchase

import (
	"errors"
	"fmt"
	"slices"

	"github.com/shopspring/decimal"

	"millbase/inventory/mass"
)

// What keeps a delivery from being booked.
var (
	ErrNotOpen    = errors.New("purchase: the order is not open")
	ErrNotOnOrder = errors.New("purchase: no line for the material")
)

// Tolerance is by how much a delivery may differ from what was ordered, percent of
// the quantity of the material on the order (over) or of the line (under).
type Tolerance struct{ OverPercent, UnderPercent decimal.Decimal }

// OverDelivery is a delivery of more than the tolerance allows.
type OverDelivery struct {
	Open    mass.Mass // still to come
	Allowed mass.Mass // Open and what is tolerated on top
}

func (e *OverDelivery) Error() string {
	return fmt.Sprintf("purchase: %s are open, at most %s may be delivered", e.Open, e.Allowed)
}

func percentOf(q mass.Mass, percent decimal.Decimal) mass.Mass {
	return mass.Mass(decimal.NewFromInt(int64(q)).Mul(percent).Shift(-2).IntPart())
}

// Receive books a delivery of a material: the order as it is afterwards. d needs no
// quantity of its own; each line keeps its part. ErrNotOpen, ErrNotOnOrder or
// *OverDelivery where it can't be booked.
func (o Order) Receive(material string, q mass.Mass, d Delivery, t Tolerance) (Order, error) {
	if o.State != Sent && o.State != PartReceived {
		return o, ErrNotOpen
	}
	o = o.copied()
	var lines []*Line
	var ordered, open, over mass.Mass
	for i := range o.Lines {
		if l := &o.Lines[i]; l.Material == material {
			lines = append(lines, l)
			ordered += l.Quantity
			open += l.Open()
			over += max(0, l.Received-l.Quantity)
		}
	}
	if len(lines) == 0 {
		return o, ErrNotOnOrder
	}
	if allowed := open + max(0, percentOf(ordered, t.OverPercent)-over); q > allowed {
		return o, &OverDelivery{Open: open, Allowed: allowed}
	}
	slices.SortStableFunc(lines, func(a, b *Line) int { return a.DueDate.Compare(b.DueDate) })
	for i, l := range lines {
		part := min(q, l.Open())
		if i == len(lines)-1 {
			part = q
		}
		l.take(part, d)
		q -= part
	}
	o.settle(t)
	return o, nil
}

func (l *Line) take(q mass.Mass, d Delivery) {
	if q == 0 {
		return
	}
	d.Quantity, d.Reversed = q, false
	l.Received += q
	l.Deliveries = append(l.Deliveries, d)
}

// Reverse takes back what a receipt brought: the order as it is afterwards, and
// how much that was. Lines that were closed because so little lacked are open
// again; what is cancelled stays cancelled.
func (o Order) Reverse(movement string, t Tolerance) (Order, mass.Mass) {
	o = o.copied()
	var back mass.Mass
	for i := range o.Lines {
		l := &o.Lines[i]
		for k := range l.Deliveries {
			if d := &l.Deliveries[k]; d.Movement == movement && !d.Reversed {
				d.Reversed = true
				l.Received -= d.Quantity
				back += d.Quantity
				if l.Closing == WithinTolerance {
					l.Closing = ""
				}
			}
		}
	}
	if back > 0 && o.State != Cancelled {
		o.settle(t)
	}
	return o, back
}

// CloseShort closes the open lines of a material, or all of them where it is
// empty: how much will not come.
func (o Order) CloseShort(material string, t Tolerance) (Order, mass.Mass) {
	o = o.copied()
	var lacking mass.Mass
	for i := range o.Lines {
		if l := &o.Lines[i]; l.Open() > 0 && (material == "" || l.Material == material) {
			lacking += l.Open()
			l.Closing = ClosedShort
		}
	}
	o.settle(t)
	return o, lacking
}

// settle closes the lines that lack next to nothing, and sets the state.
func (o *Order) settle(t Tolerance) {
	received, open := mass.Mass(0), mass.Mass(0)
	for i := range o.Lines {
		l := &o.Lines[i]
		if lack := l.Open(); lack > 0 && l.Received > 0 && lack <= percentOf(l.Quantity, t.UnderPercent) {
			l.Closing = WithinTolerance
		}
		received += l.Received
		open += l.Open()
	}
	switch {
	case open == 0:
		o.State = Received
	case received > 0:
		o.State = PartReceived
	default:
		o.State = Sent
	}
}

// copied shares nothing with the order: what was read must stay as it was read.
func (o Order) copied() Order {
	o.Lines = slices.Clone(o.Lines)
	for i := range o.Lines {
		o.Lines[i].Deliveries = slices.Clone(o.Lines[i].Deliveries)
	}
	return o
}
