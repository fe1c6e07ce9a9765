package netting

import (
	"fmt"

	"millbase/inventory/mass"
)

// MasterInput is a finished product made by a master schedule.
type MasterInput struct {
	Product  string
	Opening  mass.Mass
	Forecast []mass.Mass
	Orders   []mass.Mass // customers' orders; as long as Forecast
	Receipts []mass.Mass // what is scheduled to be made; empty: planned by Rule
	Rule     Rule
}

// Promisable is a master schedule with what can still be promised.
type Promisable struct {
	Receipts []mass.Mass // the master schedule
	Balance  []mass.Mass // opening + receipts - the larger of forecast and orders
	// Available to promise, in the first bucket and in each with a receipt:
	// that receipt less all orders until the next one. Zero in between.
	Available []mass.Mass
	// Cumulative is all that can be promised by the end of the bucket.
	Cumulative []mass.Mass
	Oversold   mass.Mass // orders that nothing covers
}

// AvailableToPromise works out a master schedule and what can be promised out
// of it. The balance counts the larger of forecast and orders in each bucket;
// the promise counts orders only. ErrInput as in Make.
func AvailableToPromise(in MasterInput) (Promisable, error) {
	n := len(in.Forecast)
	if len(in.Orders) != n || (len(in.Receipts) != 0 && len(in.Receipts) != n) {
		return Promisable{}, fmt.Errorf("%w: product %q has rows of different length", ErrInput, in.Product)
	}
	if err := checkRows(in.Product, in.Forecast, in.Orders, in.Receipts); err != nil {
		return Promisable{}, err
	}
	gross := make([]mass.Mass, n)
	for t := range gross {
		gross[t] = max(in.Forecast[t], in.Orders[t])
	}
	plan, err := Make(Input{Material: in.Product, OnHand: in.Opening, Gross: gross, Scheduled: in.Receipts, Rule: in.Rule})
	if err != nil {
		return Promisable{}, err
	}
	p := Promisable{Receipts: plan.Receipts, Balance: plan.Balance}
	if len(in.Receipts) > 0 {
		p.Receipts, p.Balance = plan.Scheduled, plan.Alone
	}
	p.promise(in.Opening, in.Orders)
	return p, nil
}

func (p *Promisable) promise(opening mass.Mass, orders []mass.Mass) {
	n := len(orders)
	p.Available, p.Cumulative = make([]mass.Mass, n), make([]mass.Mass, n)
	// From the last group back: what a group is oversold by, those before it
	// must give.
	var free, owed mass.Mass
	for t := n - 1; t >= 0; t-- {
		free += p.Receipts[t] - orders[t]
		if t == 0 {
			free += opening
		}
		if t > 0 && p.Receipts[t] == 0 {
			continue
		}
		free -= owed
		p.Available[t], owed, free = max(free, 0), max(-free, 0), 0
	}
	p.Oversold = owed
	var sum mass.Mass
	for t := range n {
		sum += p.Available[t]
		p.Cumulative[t] = sum
	}
}
