package app

import (
	"fmt"
	"slices"
	"time"

	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/inventory/netting"
)

// demand is a mass that is needed on a day, and the batches that need it.
type demand struct {
	day      int // of the horizon
	quantity mass.Mass
	batches  []string
}

// arrival is a mass that comes in on a day.
type arrival struct {
	day      int
	quantity mass.Mass
	source   string // "purchaseOrders/po-118" or "batches/b-7"
}

// netted is one material over the horizon, by day.
type netted struct {
	demands  []demand
	arrivals []arrival
	required []mass.Mass
	expected []mass.Mass
	expiring []mass.Mass // left unused on its last day, counted on the day after
	opening  mass.Mass   // released, in date, not reserved
	plan     netting.Plan
	// On the board only: the planned orders, as plan.Orders, and which need is
	// covered by what.
	orders []plannedOrder
	pegs   []netting.Pegged
}

// netter sets the needs of all planned batches against stock and orders, level
// by level: what a base ink lacks becomes a need of its ingredients.
type netter struct {
	s        *supply
	start    time.Time // midnight UTC of day 0
	days     int
	demands  map[string][]demand
	arrivals map[string][]arrival
	rows     map[string]*netted
	remarks  []string
	ruled    bool                // orders are planned by the rules of the materials
	users    map[string][]string // of a material: what is made from it here; only on demand
	asked    map[string]bool     // materials that are under way or done; only on demand
	passed   map[string]bool     // made materials whose lack was passed on; only on demand
}

// net works out every material that is needed, expected, or on hand.
func (s *supply) net(start time.Time, days int) (*netter, error) {
	n := s.demanded(start, days)
	for _, material := range n.topDown() {
		if err := n.material(material); err != nil {
			return nil, err
		}
	}
	return n, nil
}

// board is net with orders planned by the rules of the materials: what is made
// here is needed in the lots that its rule makes.
func (s *supply) board(start time.Time, days int) (*netter, error) {
	n := s.demanded(start, days)
	n.ruled = true
	for _, material := range n.topDown() {
		if err := n.material(material); err != nil {
			return nil, err
		}
	}
	return n, nil
}

// netOnDemand works materials out as of asks for them.
func (s *supply) netOnDemand(start time.Time, days int) *netter {
	n := s.demanded(start, days)
	n.users, n.asked, n.passed = map[string][]string{}, map[string]bool{}, map[string]bool{}
	for _, made := range sortedKeys(s.formulas.byMaterial) {
		for _, in := range s.formulas.byMaterial[made].Ingredients {
			n.users[in.Material] = append(n.users[in.Material], made)
		}
	}
	return n
}

// of is a material as net has it: what is made from it comes first, where
// something needs that.
func (n *netter) of(id string) (*netted, error) {
	if n.asked == nil || n.asked[id] {
		return n.rows[id], nil
	}
	n.asked[id] = true
	for _, user := range n.users[id] {
		if err := n.lacking(user); err != nil {
			return nil, err
		}
	}
	if err := n.material(id); err != nil {
		return nil, err
	}
	return n.rows[id], nil
}

// lacking passes on what a made material lacks. One that nothing needs lacks
// nothing.
func (n *netter) lacking(id string) error {
	if n.asked[id] || n.passed[id] {
		return nil
	}
	n.passed[id] = true
	for _, user := range n.users[id] {
		if err := n.lacking(user); err != nil {
			return err
		}
	}
	if len(n.demands[id]) == 0 {
		return nil
	}
	_, err := n.of(id)
	return err
}

// demanded is a netter with what orders bring and batches need.
func (s *supply) demanded(start time.Time, days int) *netter {
	n := &netter{s: s, start: start, days: days, demands: map[string][]demand{}, arrivals: map[string][]arrival{}, rows: map[string]*netted{}}
	for _, o := range s.orders {
		for _, l := range o.Lines {
			n.expect(l.Material, l.DueDate, l.Open(), "purchaseOrders/"+o.ID)
		}
	}
	for _, b := range s.batches {
		n.batch(b)
	}
	for _, l := range s.lost {
		n.need(l)
	}
	return n
}

// day is the day of the horizon of a calendar date; what is overdue counts
// today.
func (n *netter) day(date time.Time) int {
	if date.Before(n.s.today) {
		date = n.s.today
	}
	return int(date.Sub(n.start) / (24 * time.Hour))
}

func (n *netter) date(day int) time.Time { return n.start.AddDate(0, 0, day) }

func (n *netter) expect(material string, due time.Time, q mass.Mass, source string) {
	if d := n.day(due); q > 0 && d < n.days {
		n.arrivals[material] = append(n.arrivals[material], arrival{d, q, source})
	}
}

// batch counts what a planned batch will bring, and what it needs unless its
// lots are set aside already.
func (n *netter) batch(b batch.Batch) {
	n.expect(b.Material, b.DueDate, b.Quantity, "batches/"+b.ID)
	if b.State != batch.Planned {
		return
	}
	f, ok := n.s.formulas.of(b)
	if !ok {
		why := "its formula is not in the book"
		if b.Formula == "" {
			why = fmt.Sprintf("there is no released formula for specifications/%s yet", b.Specification)
		}
		n.remarks = append(n.remarks, fmt.Sprintf("Batch %s (%s of %s, due %s) is not counted: %s.",
			b.ID, b.Quantity, n.s.title(b.Material), b.DueDate.Format(time.DateOnly), why))
		return
	}
	aside := map[string]mass.Mass{}
	for _, l := range b.Lines {
		aside[l.Material] += l.Quantity
	}
	n.explode(f, b.Quantity, n.day(n.s.startBy(f, b.Quantity, b.DueDate)), []string{b.ID}, aside)
}

// explode adds the needs of making a quantity by a formula, less what is set aside
// for it by material.
func (n *netter) explode(f formula.Formula, quantity mass.Mass, day int, batches []string, aside map[string]mass.Mass) {
	if day >= n.days {
		return
	}
	for i, in := range f.Ingredients {
		need := f.Charge(i, quantity)
		if has := min(need, aside[in.Material]); has > 0 {
			need -= has
			aside[in.Material] -= has
		}
		if need > 0 {
			n.demands[in.Material] = append(n.demands[in.Material], demand{day, need, batches})
		}
	}
}

// topDown orders the materials so that each comes before its ingredients. The
// store refuses formulas that need themselves; should one be there, its loop is
// cut where it is met and a remark says so.
func (n *netter) topDown() []string {
	const entered, left = 1, 2
	state := map[string]int{}
	var order []string
	var visit func(material string)
	visit = func(material string) {
		state[material] = entered
		for _, in := range n.s.formulas.byMaterial[material].Ingredients {
			switch state[in.Material] {
			case 0:
				visit(in.Material)
			case entered:
				n.remarks = append(n.remarks, fmt.Sprintf("%s is made from itself by its formulas; what it needs is counted only once.", n.s.title(in.Material)))
			}
		}
		state[material] = left
		order = append(order, material)
	}
	var all []string
	for m := range n.s.materials {
		all = append(all, m)
	}
	slices.Sort(all)
	for _, m := range all {
		if state[m] == 0 {
			visit(m)
		}
	}
	slices.Reverse(order)
	return order
}

// material nets one material and passes on what it lacks to its ingredients
// when it is made here.
func (n *netter) material(id string) error {
	r := &netted{demands: n.demands[id], arrivals: n.arrivals[id],
		required: make([]mass.Mass, n.days), expected: make([]mass.Mass, n.days)}
	for _, d := range r.demands {
		r.required[d.day] += d.quantity
	}
	for _, a := range r.arrivals {
		r.expected[a.day] += a.quantity
	}
	sums := n.s.sums(id, n.s.today)
	r.opening = max(0, sums.onHand-sums.reserved)
	r.expiring = n.expiring(id, r)
	gross := make([]mass.Mass, n.days)
	for d := range gross {
		gross[d] = r.required[d] + r.expiring[d]
	}
	in := netting.Input{Material: id, OnHand: r.opening, Gross: gross, Scheduled: r.expected}
	var err error
	if r.plan, err = netting.Make(in); err != nil {
		return fmt.Errorf("netting: %w", err)
	}
	n.rows[id] = r
	if n.ruled {
		return n.replenish(id, in, r)
	}
	f, made := n.s.formulas.byMaterial[id]
	if !made {
		return nil
	}
	for day, lacking := range r.plan.Net {
		if lacking > 0 {
			begin := n.day(n.s.startBy(f, lacking, n.date(day)))
			n.explode(f, lacking, begin, n.needing(r, day), nil)
		}
	}
	return nil
}

// needing are the batches that need the material on the day.
func (n *netter) needing(r *netted, day int) []string {
	var out []string
	for _, d := range r.demands {
		if d.day == day {
			out = append(out, d.batches...)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// expiring is what of the lots on hand is still there after their last day when
// the needs take the lot first that expires first. What arrives is taken last:
// its life is not known yet.
func (n *netter) expiring(id string, r *netted) []mass.Mass {
	out := make([]mass.Mass, n.days)
	type layer struct {
		last int // last day of use; n.days: beyond the horizon
		left mass.Mass
	}
	var layers []layer
	for _, i := range n.s.stock[id] {
		last := n.days
		if !i.ExpiryDate.IsZero() {
			last = min(n.days, int(i.ExpiryDate.Sub(n.start)/(24*time.Hour)))
		}
		if free := i.free(n.s.today); free > 0 {
			layers = append(layers, layer{last, free})
		}
	}
	for day, need := range r.required {
		for k := range layers {
			l := &layers[k]
			if l.last < day && l.left > 0 {
				out[day] += l.left
				l.left = 0
			}
			take := min(l.left, need)
			l.left -= take
			need -= take
		}
	}
	return out
}
