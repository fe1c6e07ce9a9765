package app

import (
	"errors"
	"slices"
	"strings"
	"time"

	"millbase/costing/leadtime"
	"millbase/inventory"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/inventory/netting"
)

// making is a quantity that is made, and when.
type making struct {
	promise  leadtime.Promise
	released time.Time // when quality control has released it
	batches  int
}

// madeHere marks the supply of a base ink that is made for the order.
const madeHere = "made here"

// maxMade is how many levels of base inks are made for an order: a base ink for
// the ink, and one for the base ink.
const maxMade = 2

// make plans the making of a quantity: its materials, the base inks that are
// lacking first, then the machines.
func (p *promise) make(f formula.Formula, quantity mass.Mass, depth int) (*making, error) {
	plan, err := planRoute(p.s.plant, f, quantity)
	switch {
	case err != nil:
		return nil, err
	case len(f.Route) == 0:
		return nil, Faultf(ErrNotReady, "NO_ROUTE", "formulas/"+f.ID, "formulas/%s has no route, so its process time is not known", revisionID(f.ID, f.Revision))
	case plan.batches > maxPlanned:
		return nil, Faultf(ErrNotReady, "TOO_MANY_BATCHES", "formulas/"+f.ID, "it would take %d batches; ask for less at once", plan.batches)
	}
	materials, err := p.materials(f, quantity, depth)
	if err != nil {
		return nil, err
	}
	made, err := leadtime.Make(leadtime.Request{Now: p.now, Quantity: quantity, Materials: materials, Steps: plan.steps,
		Batches: plan.batches, Busy: p.busy, Calendar: p.s.calendar, Openings: p.openings})
	if err != nil {
		return nil, err
	}
	m := &making{promise: made, batches: plan.batches}
	if made.Possible {
		m.released = p.release(made.At)
		if depth > 0 {
			occupy(p.busy, made.Chain)
		}
	}
	return m, nil
}

// release is the moment at which what was finished is released: at the same time
// of day, the plant's number of working days later.
func (p *promise) release(done time.Time) time.Time {
	days := p.s.plant.QualityReleaseDays
	if days == 0 {
		return done
	}
	day := p.s.workingDays(p.s.dateAt(done), days)
	midnight := p.s.midnight(p.s.dateAt(done))
	return p.s.midnight(day).Add(done.Sub(midnight))
}

// materials are what the formula needs and where it can come from. The base inks
// come first, because making them takes from the same raw materials.
func (p *promise) materials(f formula.Formula, quantity mass.Mass, depth int) ([]leadtime.Material, error) {
	need := map[string]mass.Mass{}
	var order []string
	for i, in := range f.Ingredients {
		key := in.Material
		if in.Lot != "" {
			key += "/" + in.Lot
		}
		if _, seen := need[key]; !seen {
			order = append(order, key)
		}
		need[key] += f.Charge(i, quantity)
	}
	slices.SortStableFunc(order, func(a, b string) int { return p.rank(a) - p.rank(b) })
	letDown := slices.IndexFunc(f.Route, func(s formula.RouteStep) bool { return s.Step == formula.LetDown })
	var out []leadtime.Material
	for _, key := range order {
		m, err := p.material(key, need[key], depth)
		if err != nil {
			return nil, err
		}
		if letDown > 0 && p.entersAtLetDown(key) {
			m.Step = letDown
		}
		out = append(out, m)
	}
	return out, nil
}

// rank puts what is made here before what is bought.
func (p *promise) rank(key string) int {
	if _, made := p.s.formulas.byMaterial[key]; made {
		return 0
	}
	return 1
}

// entersAtLetDown: driers, waxes and additives are not milled; they go in when
// the dispersion is let down (common practice).
func (p *promise) entersAtLetDown(key string) bool {
	id, _, _ := strings.Cut(key, "/")
	switch p.s.materials[id].Class {
	case inventory.Drier, inventory.Wax, inventory.Additive:
		return true
	}
	return false
}

func (p *promise) material(key string, need mass.Mass, depth int) (leadtime.Material, error) {
	m := leadtime.Material{ID: key, Need: need}
	id, lot, named := strings.Cut(key, "/")
	if named { // one lot: neither another lot nor an order can take its place
		for _, i := range p.s.stock[id] {
			if i.ID == lot {
				m.Stock = i.free(p.s.today)
			}
		}
		return m, nil
	}
	lead, canOrder, err := p.s.fastest(id)
	if err != nil {
		return m, err
	}
	if m.CanOrder = canOrder; canOrder {
		m.LeadTime = max(0, p.s.midnight(p.s.today.AddDate(0, 0, lead)).Sub(p.now))
	}
	if m.Stock, m.Supplies, err = p.promisable(id, lead, canOrder); err != nil {
		return m, err
	}
	p.claim(&m)
	if f, made := p.s.formulas.byMaterial[id]; made && m.Stock < need && depth < maxMade {
		inner, err := p.make(f, need-m.Stock, depth+1)
		var fault *Fault
		switch {
		case errors.As(err, &fault): // it can still be bought, perhaps
			p.cannot[id] = trimStop(fault.Message)
		case err != nil:
			return m, err
		default:
			p.made[id] = inner
			if inner.promise.Possible {
				m.Supplies = append(m.Supplies, leadtime.Supply{ID: madeHere, Due: inner.released, Mass: need - m.Stock})
			}
		}
	}
	return m, nil
}

// claim takes off what this very question has used of the material for a base
// ink, and claims the need of this one.
func (p *promise) claim(m *leadtime.Material) {
	used := p.claimed[m.ID]
	p.claimed[m.ID] += m.Need
	take := min(used, m.Stock)
	m.Stock -= take
	used -= take
	for i := range m.Supplies {
		take := min(used, m.Supplies[i].Mass)
		m.Supplies[i].Mass -= take
		used -= take
	}
}

// fastest is the shortest lead time, in calendar days, among the offers of a
// material that hold today.
func (s *supply) fastest(material string) (days int, ok bool, err error) {
	all, err := s.offersOn(material, s.today)
	if err != nil {
		return 0, false, err
	}
	for _, o := range all {
		if !ok || o.LeadTimeDays < days {
			days, ok = o.LeadTimeDays, true
		}
	}
	return days, ok, nil
}

// promisable is what of a material can be promised without taking it from a
// planned batch: now, and with each delivery. A need that lies so far ahead that
// an order placed today would cover it holds nothing back.
func (p *promise) promisable(id string, lead int, canOrder bool) (stock mass.Mass, supplies []leadtime.Supply, err error) {
	r, err := p.net.of(id)
	if err != nil {
		return 0, nil, err
	}
	today := p.net.day(p.s.today)
	if r == nil {
		return p.s.freeOn(id, p.s.today), nil, nil
	}
	needs := slices.Clone(r.required)
	if canOrder {
		for d := min(today+lead, len(needs)); d < len(needs); d++ {
			needs[d] = 0
		}
	}
	atp, err := netting.AvailableToPromise(netting.MasterInput{Product: id, Opening: r.opening,
		Forecast: make([]mass.Mass, len(needs)), Orders: needs, Receipts: r.expected})
	if err != nil {
		return 0, nil, err
	}
	for d, m := range atp.Available {
		switch {
		case m == 0:
		case d <= today:
			stock += m
		default:
			supplies = append(supplies, leadtime.Supply{ID: r.sourceOn(d), Due: p.s.midnight(p.net.date(d)), Mass: m})
		}
	}
	return stock, supplies, nil
}

// sourceOn names what arrives on the day: the largest of several.
func (r *netted) sourceOn(day int) string {
	var best arrival
	for _, a := range r.arrivals {
		if a.day == day && a.quantity > best.quantity {
			best = a
		}
	}
	return best.source
}
