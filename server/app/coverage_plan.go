package app

import (
	"fmt"
	"slices"
	"time"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/netting"
)

// plannedOrder is an order that the netting plans. Of what is made here, and of
// what no one offers, it has no supplier.
type plannedOrder struct {
	netting.Release
	OrderSuggestion
}

// Expedite is a lack before a material's time fence: an open order to be brought
// forward, or, without one, what only a special order or another formula helps.
type Expedite struct {
	Date     time.Time // on which it lacks
	Quantity mass.Mass
	Source   string // "purchaseOrders/po-118" or "batches/b-7"; empty: nothing is on order
	Due      time.Time
}

// lotRule is the material's rule for buckets of a day.
func (n *netter) lotRule(o inventory.Ordering) netting.Rule {
	switch o.Rule {
	case inventory.LotForLot:
		return netting.Rule{}
	case inventory.FixedLot:
		return netting.Rule{Kind: netting.FixedLot, Lot: o.Lot}
	case inventory.PeriodLots:
		return netting.Rule{Kind: netting.PeriodLots, Periods: o.PeriodDays}
	}
	return netting.Rule{Kind: netting.PeriodLots, Periods: n.days}
}

// replenish plans the orders of a material by its rule, and passes the lots of
// what is made here on to its ingredients.
func (n *netter) replenish(id string, in netting.Input, r *netted) error {
	m := n.s.materials[id]
	in.Safety, in.Rule, in.Now, in.SafetyTime = m.SafetyStock, n.lotRule(m.Ordering), n.day(n.s.today), m.Ordering.SafetyTimeDays
	if m.Ordering.FenceDays > 0 {
		in.Fence = in.Now + m.Ordering.FenceDays
	}
	f, made := n.s.formulas.byMaterial[id]
	var suggested []OrderSuggestion
	var failed error
	planned, alone := mass.Mass(0), r.plan.Alone
	in.Place = func(q mass.Mass, receipt int) (mass.Mass, int) {
		by := n.date(receipt)
		if made {
			suggested = append(suggested, OrderSuggestion{})
			return q, int(by.Sub(n.s.startBy(f, q, by)) / (24 * time.Hour))
		}
		s, ok, err := n.s.orderBy(id, q, by, n.runsOut(alone, planned))
		if err != nil {
			failed = err
		}
		suggested = append(suggested, s)
		if !ok {
			planned += q
			return q, m.Ordering.LeadTimeDays
		}
		planned += s.Quantity
		return s.Quantity, s.leadTimeDays
	}
	var err error
	if r.plan, err = netting.Make(in); err != nil {
		return fmt.Errorf("netting: %w", err)
	}
	if failed != nil {
		return failed
	}
	for i, o := range r.plan.Orders {
		s := suggested[i]
		s.ReceiptBy, s.PastDueDays = n.date(o.Receipt), o.Late
		r.orders = append(r.orders, plannedOrder{o, s})
	}
	if err := n.peg(r); err != nil {
		return err
	}
	if made {
		for _, o := range r.orders {
			n.explode(f, o.Mass, n.day(n.date(o.Release.Release)), o.Batches, nil)
		}
	}
	return nil
}

// runsOut is the day on which a batch would be without, with no more than is
// planned already; zero: none.
func (n *netter) runsOut(alone []mass.Mass, planned mass.Mass) time.Time {
	if t := slices.IndexFunc(alone, func(b mass.Mass) bool { return b+planned < 0 }); t >= 0 {
		return n.date(t)
	}
	return time.Time{}
}

// orderBy is the order that comes by the date that it is planned for, else by the
// day on which a batch would be without, else as fast as can be, marked late.
func (s *supply) orderBy(material string, need mass.Mass, planned, runsOut time.Time) (OrderSuggestion, bool, error) {
	best, ok, err := s.bestOrder(material, need, planned)
	if err != nil || !ok || !best.Late {
		return best, ok, err
	}
	if best, ok, err = s.bestOrder(material, need, runsOut); ok {
		best.OrderBy, best.Arrival = s.today, s.today.AddDate(0, 0, best.leadTimeDays)
	}
	return best, ok, err
}

// Prefixes of the ids by which needs and receipts are pegged. What expires goes
// before the needs of its day.
const (
	pegExpiry  = "0"
	pegDemand  = "1"
	pegArrival = "1"
	pegPlanned = "2"
)

func pegID(prefix string, i int) string { return fmt.Sprintf("%s%09d", prefix, i) }

// pegIndex reads the number of a pegID.
func pegIndex(id string) (i int) {
	fmt.Sscanf(id[1:], "%d", &i)
	return i
}

// peg says which need is covered by what: by stock, by what is on order, by what
// is planned; and with that which batches a planned order serves.
func (n *netter) peg(r *netted) error {
	var receipts []netting.Receipt
	for i, a := range r.arrivals {
		receipts = append(receipts, netting.Receipt{ID: pegID(pegArrival, i), At: n.date(a.day), Mass: a.quantity})
	}
	for i, o := range r.orders {
		receipts = append(receipts, netting.Receipt{ID: pegID(pegPlanned, i), At: n.arrives(o), Mass: o.Mass})
	}
	var needs []netting.Need
	for day, q := range r.expiring {
		if q > 0 {
			needs = append(needs, netting.Need{ID: pegID(pegExpiry, day), At: n.date(day), Mass: q})
		}
	}
	for i, d := range r.demands {
		needs = append(needs, netting.Need{ID: pegID(pegDemand, i), At: n.date(d.day), Mass: d.quantity})
	}
	all, err := netting.Peg(r.opening, receipts, needs)
	if err != nil {
		return fmt.Errorf("pegging: %w", err)
	}
	for _, p := range all {
		if p.ID[:1] != pegDemand {
			continue
		}
		r.pegs = append(r.pegs, p)
		for _, c := range p.Covers {
			if c.Receipt != "" && c.Receipt[:1] == pegPlanned {
				o := &r.orders[pegIndex(c.Receipt)]
				o.Batches = append(o.Batches, r.demands[pegIndex(p.ID)].batches...)
			}
		}
	}
	for i := range r.orders {
		o := &r.orders[i]
		if len(o.Batches) == 0 {
			o.Batches = r.nextNeeding(o.Receipt)
		}
		slices.Sort(o.Batches)
		o.Batches = slices.Compact(o.Batches)
	}
	return nil
}

// nextNeeding are the batches for whose lack an order was planned that something
// else serves first, late: those that need the material next, from a day on. It is
// empty for what only fills up the safety stock.
func (r *netted) nextNeeding(day int) []string {
	var out []string
	next := -1
	for _, d := range r.demands {
		switch {
		case d.day < day || next >= 0 && d.day > next:
		case d.day == next:
			out = append(out, d.batches...)
		default:
			next, out = d.day, slices.Clone(d.batches)
		}
	}
	return out
}

// arrives is when a planned order is there, ordered today where that is past due.
func (n *netter) arrives(o plannedOrder) time.Time {
	if o.Release.Late > 0 && o.Supplier != "" {
		return o.Arrival
	}
	return n.date(o.Receipt + o.Release.Late)
}

// expedites names the open orders that the plan would bring forward.
func (n *netter) expedites(r *netted) []Expedite {
	var out []Expedite
	used := make([]mass.Mass, len(r.arrivals))
	for _, e := range r.plan.Expedite {
		if e.From < 0 {
			out = append(out, Expedite{Date: n.date(e.Bucket), Quantity: e.Mass})
			continue
		}
		left := e.Mass
		for i, a := range r.arrivals {
			take := min(left, a.quantity-used[i])
			if a.day != e.From || take == 0 {
				continue
			}
			used[i] += take
			left -= take
			out = append(out, Expedite{Date: n.date(e.Bucket), Quantity: take, Source: a.source, Due: n.date(a.day)})
		}
	}
	return out
}
