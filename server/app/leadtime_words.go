package app

import (
	"fmt"
	"strings"
	"time"

	"millbase/costing/leadtime"
)

// conclude writes the answer in words fit for the caller.
func (p *promise) conclude(m *making) {
	if !m.promise.Possible {
		p.impossible(p.lacking(m), "a raw material can't be had")
		return
	}
	a := &p.answer
	a.Possible = true
	p.ready(m.released)
	switch m.promise.Decides {
	case leadtime.Materials:
		a.DecidedBy = ByMaterial
	case leadtime.Capacity:
		a.DecidedBy = ByCapacity
	default:
		a.DecidedBy = ByProcessTime
	}
	if p.open {
		a.Reason, a.Steps = p.plainReason(m), p.plainSteps(m)
	} else {
		a.Reason, a.Steps = p.publicReason(m), p.publicSteps(m)
	}
	if a.FromStock > 0 {
		a.Reason += fmt.Sprintf(" %s of it can be had from stock at once.", a.FromStock)
	}
}

// date writes a day for people, with the year where it is not this one.
func (p *promise) date(t time.Time) string {
	d := p.s.dateAt(t)
	if d.Year() != p.s.today.Year() {
		return d.Format("2 January 2006")
	}
	return d.Format("2 January")
}

// trimStop takes a full stop off, so that a sentence can stand inside another.
func trimStop(s string) string { return strings.TrimSuffix(s, ".") }

// plainReason is for those who know the formulas.
func (p *promise) plainReason(m *making) string {
	r := m.promise
	switch r.Decides {
	case leadtime.Materials:
		return "Waits for " + p.waitsFor(r) + "."
	case leadtime.Capacity:
		return fmt.Sprintf("Waits for %s, taken by earlier batches until %s.", p.machine(r.On), p.date(p.machineFree(r)))
	}
	return fmt.Sprintf("All materials are there and nothing waits: making takes until %s, the release until %s.", p.date(r.At), p.date(m.released))
}

// waitsFor says which material decides, and what brings it.
func (p *promise) waitsFor(r leadtime.Promise) string {
	id, _, _ := strings.Cut(r.On, "/")
	title := p.s.title(id)
	for _, m := range r.Materials {
		if m.Material != r.On {
			continue
		}
		kind, source, _ := strings.Cut(m.Supply, "/")
		switch {
		case m.Source == leadtime.FromOrder:
			return fmt.Sprintf("%s: %s more must be ordered, and ordered today it is here on %s", title, m.ToOrder, p.date(m.At))
		case m.Supply == madeHere:
			return fmt.Sprintf("%s, which is made here first, by %s (%s)", title, p.date(m.At), p.innerReason(r.On))
		case kind == "batches":
			return fmt.Sprintf("%s, due %s from batch %s", title, p.date(m.At), source)
		case kind == "purchaseOrders":
			return fmt.Sprintf("%s, due %s on purchase order %s", title, p.date(m.At), source)
		}
		return fmt.Sprintf("%s, there on %s", title, p.date(m.At))
	}
	return title
}

// innerReason says why a base ink that is made for the order takes as long.
func (p *promise) innerReason(material string) string {
	inner := p.made[material]
	if inner == nil || inner.promise.Decides == leadtime.ProcessTime {
		return "its materials are there"
	}
	reason := trimStop(p.plainReason(inner))
	return strings.ToLower(reason[:1]) + reason[1:]
}

// lacking says which material can't be had.
func (p *promise) lacking(m *making) string {
	id, lot, named := strings.Cut(m.promise.On, "/")
	title := p.s.title(id)
	if inner := p.made[m.promise.On]; inner != nil && !inner.promise.Possible {
		return fmt.Sprintf("%s can't be made for it: %s", title, p.lacking(inner))
	}
	if why := p.cannot[m.promise.On]; why != "" {
		return fmt.Sprintf("%s can't be made for it: %s", title, why)
	}
	for _, r := range m.promise.Materials {
		if r.Material != m.promise.On {
			continue
		}
		if named {
			return fmt.Sprintf("the formula asks for lot %s of %s, which lacks %s", lot, title, r.Short)
		}
		return fmt.Sprintf("%s of %s are lacking, no open order covers them and no offer holds today", r.Short, title)
	}
	return title + " is lacking"
}

func (p *promise) machine(id string) string {
	for _, m := range p.s.plant.Machines {
		if m.ID == id {
			return m.named()
		}
	}
	return id
}

// machineFree is when the machine that decides could start.
func (p *promise) machineFree(r leadtime.Promise) time.Time {
	longest := time.Duration(-1)
	at := r.At
	for _, c := range r.Chain {
		if c.Machine == r.On && c.MachineWait > longest {
			longest, at = c.MachineWait, c.Start
		}
	}
	return at
}

// publicReason names nothing that the plant keeps to itself.
func (p *promise) publicReason(m *making) string {
	r := m.promise
	switch r.Decides {
	case leadtime.Materials:
		for _, w := range r.Materials {
			if w.Material == r.On {
				return fmt.Sprintf("Waits for a raw material, due %s.", p.date(w.At))
			}
		}
		return "Waits for a raw material."
	case leadtime.Capacity:
		return fmt.Sprintf("The plant is busy with earlier orders until %s.", p.date(p.machineFree(r)))
	}
	return fmt.Sprintf("It is made to order: making and testing take until %s.", p.date(m.released))
}

func (p *promise) plainSteps(m *making) []LeadTimeStep {
	var out []LeadTimeStep
	for _, w := range m.promise.Materials {
		if w.Source != leadtime.FromStock && w.At.After(p.now) {
			id, _, _ := strings.Cut(w.Material, "/")
			out = append(out, LeadTimeStep{"Waiting for " + p.s.title(id), p.now, w.At})
		}
	}
	for _, c := range m.promise.Chain {
		title := c.Step
		if c.Machine != "" {
			title += " on " + p.machine(c.Machine)
		}
		if m.batches > 1 {
			title += fmt.Sprintf(", batch %d of %d", c.Batch, m.batches)
		}
		out = append(out, LeadTimeStep{title, c.Start, c.End})
	}
	return p.withRelease(out, m)
}

func (p *promise) publicSteps(m *making) []LeadTimeStep {
	var out []LeadTimeStep
	chain := m.promise.Chain
	if len(chain) > 0 {
		begin, end := chain[0].Start, chain[0].End
		for _, c := range chain {
			if c.Start.Before(begin) {
				begin = c.Start
			}
			if c.End.After(end) {
				end = c.End
			}
		}
		if begin.After(p.now) {
			out = append(out, LeadTimeStep{"Waiting to begin", p.now, begin})
		}
		out = append(out, LeadTimeStep{"Making and testing", begin, end})
	}
	return p.withRelease(out, m)
}

func (p *promise) withRelease(steps []LeadTimeStep, m *making) []LeadTimeStep {
	if m.released.After(m.promise.At) {
		steps = append(steps, LeadTimeStep{"Quality release", m.promise.At, m.released})
	}
	return steps
}
