package purchase_test

import (
	"errors"
	"fmt"
	"reflect"
	"testing"
	"time"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/costing/purchase"
	"millbase/inventory/mass"
)

const kg = mass.Kilogram

func percent(p int64) decimal.Decimal { return decimal.NewFromInt(p) }

// Worked out by hand: 40 due first and 60 due later, 5 % over and 2 % under.
func TestTolerances(t *testing.T) {
	day := time.Date(2026, 11, 2, 0, 0, 0, 0, time.UTC)
	o := purchase.Order{State: purchase.Sent, Lines: []purchase.Line{
		{Material: "varnish", Quantity: 60 * kg, DueDate: day.AddDate(0, 0, 7)}, {Material: "varnish", Quantity: 40 * kg, DueDate: day}, {Material: "drier", Quantity: kg}}}
	tolerance := purchase.Tolerance{OverPercent: percent(5), UnderPercent: percent(2)}
	receive := func(q mass.Mass, movement string) error {
		next, err := o.Receive("varnish", q, purchase.Delivery{Movement: movement, Date: day}, tolerance)
		o = next
		return err
	}
	if err := receive(50*kg, "a"); err != nil || o.Lines[1].Received != 40*kg || o.Lines[0].Received != 10*kg || o.State != purchase.PartReceived {
		t.Fatalf("%+v, %v", o, err)
	}
	var over *purchase.OverDelivery
	if err := receive(56*kg, "b"); !errors.As(err, &over) || over.Open != 50*kg || over.Allowed != 55*kg {
		t.Fatalf("56 kg of 50 that are open: %v", err)
	}
	// 49 leave 1 of 60 open, within 2 %.
	if err := receive(49*kg, "b"); err != nil || o.Lines[0].Closing != purchase.WithinTolerance || o.Lines[0].Open() != 0 || o.State != purchase.PartReceived {
		t.Fatalf("%+v, %v", o, err)
	}
	o, lacking := o.CloseShort("drier", tolerance)
	if lacking != kg || o.State != purchase.Received {
		t.Fatalf("%s lacking, %+v", lacking, o)
	}
	if _, err := o.Receive("varnish", kg, purchase.Delivery{}, tolerance); !errors.Is(err, purchase.ErrNotOpen) {
		t.Errorf("a received order takes more: %v", err)
	}
	o, back := o.Reverse("b", tolerance)
	if back != 49*kg || o.State != purchase.PartReceived || o.Lines[0].Open() != 50*kg || o.Lines[2].Open() != 0 {
		t.Errorf("%s back, %+v", back, o)
	}
	if _, back := o.Reverse("b", tolerance); back != 0 {
		t.Errorf("%s back for the second time", back)
	}
	if err := receive(kg, "c"); err != nil {
		t.Error(err)
	}
	if _, err := o.Receive("blue", kg, purchase.Delivery{}, tolerance); !errors.Is(err, purchase.ErrNotOnOrder) {
		t.Errorf("of another material: %v", err)
	}
}

// Whatever is received, refused, reversed and closed: a line has received what its
// deliveries that stand brought, nothing is booked twice or lost, never more than
// is tolerated, and when all is reversed again the order is as it was sent.
func TestDeliveriesAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(label string) mass.Mass { return mass.Mass(rapid.Int64Range(1, int64(90*kg)).Draw(t, label)) }
		o := purchase.Order{State: purchase.Sent}
		ordered := mass.Mass(0)
		for range rapid.IntRange(1, 4).Draw(t, "lines") {
			l := purchase.Line{Material: "m", Quantity: draw("ordered"), DueDate: time.Date(2026, 11, rapid.IntRange(1, 9).Draw(t, "due"), 0, 0, 0, 0, time.UTC)}
			o.Lines, ordered = append(o.Lines, l), ordered+l.Quantity
		}
		start := o
		over := rapid.Int64Range(0, 20).Draw(t, "over")
		tolerance := purchase.Tolerance{OverPercent: percent(over), UnderPercent: percent(rapid.Int64Range(0, 20).Draw(t, "under"))}
		booked, closed := map[string]mass.Mass{}, false
		for i := range rapid.IntRange(0, 8).Draw(t, "steps") {
			id := fmt.Sprint(i)
			switch rapid.IntRange(0, 5).Draw(t, "step") {
			case 0:
				if i == 0 {
					continue
				}
				id = fmt.Sprint(rapid.IntRange(0, i-1).Draw(t, "of"))
				next, back := o.Reverse(id, tolerance)
				if back != booked[id] {
					t.Fatalf("%s back of %s", back, booked[id])
				}
				delete(booked, id)
				o = next
			case 1:
				o, _ = o.CloseShort("", tolerance)
				closed = true
			default:
				q, before, kept := draw("delivered"), o, deep(o)
				next, err := o.Receive("m", q, purchase.Delivery{Movement: id}, tolerance)
				if err == nil {
					booked[id], o = q, next
				}
				if !reflect.DeepEqual(before, kept) {
					t.Fatal("the order that was read has changed")
				}
			}
			check(t, o, booked, ordered+ordered*mass.Mass(over)/100)
		}
		for id := range booked {
			o, _ = o.Reverse(id, tolerance)
		}
		for i, l := range o.Lines {
			if l.Received != 0 || (!closed && l.Open() != start.Lines[i].Quantity) {
				t.Fatalf("all reversed, but %+v", l)
			}
		}
		if !closed && o.State != purchase.Sent {
			t.Fatalf("all reversed, but the order is %s", o.State)
		}
	})
}

// deep is a copy that shares nothing.
func deep(o purchase.Order) purchase.Order {
	lines := o.Lines
	o.Lines = nil
	for _, l := range lines {
		l.Deliveries = append([]purchase.Delivery(nil), l.Deliveries...)
		o.Lines = append(o.Lines, l)
	}
	return o
}

func check(t *rapid.T, o purchase.Order, booked map[string]mass.Mass, most mass.Mass) {
	var sum, total mass.Mass
	for _, q := range booked {
		sum += q
	}
	for _, l := range o.Lines {
		stands := mass.Mass(0)
		for _, d := range l.Deliveries {
			if !d.Reversed {
				stands += d.Quantity
			}
		}
		if stands != l.Received {
			t.Fatalf("received %s, deliveries of %s", l.Received, stands)
		}
		total += l.Received
	}
	if total != sum || total > most {
		t.Fatalf("booked %s, received %s, at most %s", sum, total, most)
	}
}
