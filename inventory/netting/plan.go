package netting

import (
	"fmt"

	"millbase/inventory/mass"
)

// maxBuckets keeps sums of masses far from the end of an int64.
const maxBuckets = 1000

// Input is all that is known of one material.
type Input struct {
	Material  string
	OnHand    mass.Mass // free at the start of the first bucket
	Safety    mass.Mass // the balance that the plan keeps
	LeadTime  int       // buckets from release to receipt
	Gross     []mass.Mass
	Scheduled []mass.Mass // receipts of open orders; as long as Gross, or empty
	Rule      Rule
}

// Release is a planned order.
type Release struct {
	Mass    mass.Mass
	Receipt int // bucket in which it must be there
	Release int // bucket in which it must be placed; negative: in the past
	Late    int // buckets by which that lies before the first; 0: in time
}

// Plan is the answer for one material. All rows are as long as Gross.
type Plan struct {
	Material  string
	Gross     []mass.Mass
	Scheduled []mass.Mass
	Net       []mass.Mass // what the plan lacked before its own receipt
	Receipts  []mass.Mass // planned
	Releases  []mass.Mass // planned, those within the horizon
	Balance   []mass.Mass // projected on hand, with planned receipts
	Alone     []mass.Mass // projected on hand with no further order; may be negative
	Orders    []Release   // all planned orders, late ones too, by receipt

	FirstShort       int       // first bucket with Alone below zero; -1: none
	FirstBelowSafety int       // first bucket with Alone below the safety stock; -1: none
	Shortage         mass.Mass // the deepest Alone below zero, as a positive mass
	// TooLate is the deepest shortage in the buckets that a normal order can no
	// longer reach: to be expedited, or the batch reformulated.
	TooLate mass.Mass
}

// Make nets one material. ErrInput on negative figures, rows of different
// length, or a rule that cannot be used.
func Make(in Input) (Plan, error) {
	if err := in.check(); err != nil {
		return Plan{}, err
	}
	n := len(in.Gross)
	p := Plan{
		Material: in.Material, Gross: append([]mass.Mass(nil), in.Gross...), Scheduled: make([]mass.Mass, n),
		Net: make([]mass.Mass, n), Receipts: make([]mass.Mass, n), Releases: make([]mass.Mass, n),
		Balance: make([]mass.Mass, n), Alone: make([]mass.Mass, n), FirstShort: -1, FirstBelowSafety: -1,
	}
	copy(p.Scheduled, in.Scheduled)
	alone := in.OnHand
	for t := range n {
		alone += p.Scheduled[t] - p.Gross[t]
		p.Alone[t] = alone
		if alone < in.Safety && p.FirstBelowSafety < 0 {
			p.FirstBelowSafety = t
		}
		if alone >= 0 {
			continue
		}
		if p.FirstShort < 0 {
			p.FirstShort = t
		}
		p.Shortage = max(p.Shortage, -alone)
		if t < in.LeadTime {
			p.TooLate = max(p.TooLate, -alone)
		}
	}
	p.order(in)
	return p, nil
}

// order walks the buckets and plans a receipt wherever the balance would fall
// below the safety stock.
func (p *Plan) order(in Input) {
	planned := mass.Mass(0)
	for t := range p.Gross {
		if net := in.Safety - p.Alone[t] - planned; net > 0 {
			p.Net[t] = net
			if in.Rule.Kind == PeriodLots {
				// Until the end of the periods the balance is lowest where Alone is.
				for k := t + 1; k < min(t+in.Rule.Periods, len(p.Gross)); k++ {
					net = max(net, in.Safety-p.Alone[k]-planned)
				}
			}
			q := in.Rule.size(net)
			planned += q
			p.Receipts[t] = q
			r := Release{Mass: q, Receipt: t, Release: t - in.LeadTime}
			if r.Release < 0 {
				r.Late = -r.Release
			} else {
				p.Releases[r.Release] += q
			}
			p.Orders = append(p.Orders, r)
		}
		p.Balance[t] = p.Alone[t] + planned
	}
}

func (in Input) check() error {
	if err := in.Rule.check(); err != nil {
		return fmt.Errorf("%w (material %q)", err, in.Material)
	}
	n := len(in.Gross)
	switch {
	case n == 0 || n > maxBuckets:
		return fmt.Errorf("%w: material %q needs from 1 to %d buckets, got %d", ErrInput, in.Material, maxBuckets, n)
	case len(in.Scheduled) != 0 && len(in.Scheduled) != n:
		return fmt.Errorf("%w: material %q has %d buckets of needs and %d of receipts", ErrInput, in.Material, n, len(in.Scheduled))
	case in.LeadTime < 0:
		return fmt.Errorf("%w: material %q has a lead time of %d buckets", ErrInput, in.Material, in.LeadTime)
	case in.OnHand < 0 || in.Safety < 0 || in.OnHand > mass.Max || in.Safety > mass.Max:
		return fmt.Errorf("%w: material %q has %s on hand and a safety stock of %s", ErrInput, in.Material, in.OnHand, in.Safety)
	}
	return checkRows(in.Material, in.Gross, in.Scheduled)
}

func checkRows(material string, rows ...[]mass.Mass) error {
	for _, row := range rows {
		for t, m := range row {
			if m < 0 || m > mass.Max {
				return fmt.Errorf("%w: material %q has %s in bucket %d", ErrInput, material, m, t)
			}
		}
	}
	return nil
}
