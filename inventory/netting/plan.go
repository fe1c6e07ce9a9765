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

	// SafetyTime is by how many buckets a planned receipt comes before it is needed.
	SafetyTime int
	// Now is the bucket of today: nothing is planned into those before, and a
	// release that would lie there is late.
	Now int
	// Fence is the first bucket into which a receipt is planned; what lacks before
	// it is to be expedited.
	Fence int
	// Place, if not nil, says what order a supplier takes for a mass that is to be
	// there in a bucket, and with how many buckets of lead time; Rule.Minimum,
	// Rule.Multiple and LeadTime then count for nothing. The order is no smaller
	// than what it was asked for.
	Place func(quantity mass.Mass, receipt int) (order mass.Mass, leadTime int)
}

// Release is a planned order.
type Release struct {
	Mass    mass.Mass
	Need    int // bucket whose lack it makes good
	Receipt int // bucket in which it must be there
	Release int // bucket in which it must be placed; negative: in the past
	Late    int // buckets by which that lies before today's; 0: in time
}

// Expedite is a lack before the fence, with an open order to be brought forward.
type Expedite struct {
	Bucket int // in which it lacks
	Mass   mass.Mass
	From   int // bucket of the scheduled receipt; -1: nothing that could come is on order
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
	Orders    []Release   // all planned orders, late ones too, by need
	PastDue   mass.Mass   // of the orders whose release lies before today
	Expedite  []Expedite  // what lacks before the fence

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
		if t < in.Now+in.LeadTime {
			p.TooLate = max(p.TooLate, -alone)
		}
	}
	p.order(in)
	p.expedite(in)
	return p, nil
}

// order walks the buckets and plans a receipt wherever the balance would fall
// below the safety stock, from the fence on.
func (p *Plan) order(in Input) {
	first, planned := max(in.Now, in.Fence), mass.Mass(0)
	for t := range p.Gross {
		net := in.Safety - p.Alone[t] - planned
		if net <= 0 {
			continue
		}
		p.Net[t] = net
		if t < first {
			continue
		}
		if in.Rule.Kind == PeriodLots {
			// Until the end of the periods the balance is lowest where Alone is.
			for k := t + 1; k < min(t+in.Rule.Periods, len(p.Gross)); k++ {
				net = max(net, in.Safety-p.Alone[k]-planned)
			}
		}
		r := Release{Need: t, Receipt: max(t-in.SafetyTime, first)}
		var lead int
		r.Mass, lead = in.place(net, r.Receipt)
		planned += r.Mass
		p.Receipts[r.Receipt] += r.Mass
		r.Release = r.Receipt - lead
		if r.Late = max(0, in.Now-r.Release); r.Late > 0 {
			p.PastDue += r.Mass
		} else {
			p.Releases[r.Release] += r.Mass
		}
		p.Orders = append(p.Orders, r)
	}
	planned = 0
	for t, q := range p.Receipts {
		planned += q
		p.Balance[t] = p.Alone[t] + planned
	}
}

// place makes a net requirement above zero into an order with its lead time.
func (in Input) place(net mass.Mass, receipt int) (mass.Mass, int) {
	if in.Place == nil {
		return in.Rule.size(net), in.LeadTime
	}
	return in.Place(in.Rule.lots(net), receipt)
}

// expedite looks for open orders that could come earlier to what lacks before the
// fence: the one that is due next first.
func (p *Plan) expedite(in Input) {
	n := len(p.Gross)
	left := append([]mass.Mass(nil), p.Scheduled...)
	pulled := make([]mass.Mass, n) // of the receipts of a bucket, to an earlier one
	ahead := mass.Mass(0)          // pulled from buckets that are still to come
	missing := mass.Mass(0)
	for t := 0; t < min(in.Fence, n); t++ {
		ahead -= pulled[t]
		lack := in.Safety - p.Alone[t] - ahead - missing
		if t < in.Now || lack <= 0 {
			continue
		}
		for k := t + 1; k < n && lack > 0; k++ {
			take := min(left[k], lack)
			if take == 0 {
				continue
			}
			left[k] -= take
			pulled[k] += take
			ahead += take
			lack -= take
			p.Expedite = append(p.Expedite, Expedite{Bucket: t, Mass: take, From: k})
		}
		if lack > 0 {
			missing += lack
			p.Expedite = append(p.Expedite, Expedite{Bucket: t, Mass: lack, From: -1})
		}
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
	case in.LeadTime < 0 || in.SafetyTime < 0 || in.Now < 0 || in.Fence < 0:
		return fmt.Errorf("%w: material %q has a lead time of %d buckets, a safety time of %d, a fence of %d and today in bucket %d; none is below zero",
			ErrInput, in.Material, in.LeadTime, in.SafetyTime, in.Fence, in.Now)
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
