package leadtime

import (
	"fmt"
	"time"

	"millbase/inventory/calendar"
	"millbase/inventory/mass"
)

// Cause is what decides a promise.
type Cause uint8

// The causes.
const (
	Stock       Cause = iota + 1 // finished stock, or a finished batch on its way
	Materials                    // waits for a material
	Capacity                     // waits for a machine
	ProcessTime                  // nothing waits: it takes as long as it takes
	NoWay                        // cannot be promised
)

var causeNames = [...]string{Stock: "stock", Materials: "materials", Capacity: "capacity", ProcessTime: "process time", NoWay: "no way"}

// String is the cause in words.
func (c Cause) String() string {
	if c >= Stock && int(c) < len(causeNames) {
		return causeNames[c]
	}
	return fmt.Sprintf("cause %d", uint8(c))
}

// Promise is the answer.
type Promise struct {
	Possible bool
	At       time.Time // when all of it can be had; not meaningful unless Possible
	Decides  Cause
	// What it waits for: the lot or batch with Stock, the material with
	// Materials or NoWay, the machine with Capacity.
	On     string
	Supply string // with Materials: the open order that completes it; empty: a new order
	Reason string // one sentence for people

	FromStockNow mass.Mass // finished stock free now, up to the quantity
	Materials    []Ready   // when each material is there, in the order asked
	Chain        []Planned // steps, when it is made

	// When it would be made with one cause taken away. Zero when it cannot be
	// made or comes from stock.
	WithMaterials time.Time
	WithMachines  time.Time
	WithBoth      time.Time

	zone   *time.Location
	allNow bool // all of it from stock, at once
}

// Make answers a request. The error is for a request that makes no sense
// (ErrRequest) or a calendar that holds no such work; that something cannot be
// had is an answer, not an error.
func Make(r Request) (Promise, error) {
	if err := r.check(); err != nil {
		return Promise{}, err
	}
	r.Now = r.Now.In(r.Calendar.Zone())
	p := Promise{Decides: NoWay, zone: r.Calendar.Zone()}
	for _, s := range r.Finished {
		if !s.Due.After(r.Now) {
			p.FromStockNow += min(s.Mass, r.Quantity-p.FromStockNow)
		}
	}
	for _, m := range r.Materials {
		p.Materials = append(p.Materials, ready(r.Now, m))
	}
	stockAt, lot, inStock := covered(r.Now, r.Finished, r.Quantity)
	if inStock && !stockAt.After(r.Now) {
		p.fromStock(r.Now, r.Quantity, lot)
		return p, nil
	}
	if err := p.byMaking(r); err != nil {
		return Promise{}, err
	}
	if inStock && (!p.Possible || !stockAt.After(p.At)) {
		p.Chain = nil
		p.WithMaterials, p.WithMachines, p.WithBoth = time.Time{}, time.Time{}, time.Time{}
		p.fromStock(stockAt, r.Quantity, lot)
	}
	return p, nil
}

func (p *Promise) fromStock(at time.Time, quantity mass.Mass, lot string) {
	p.Possible, p.At, p.Decides, p.On, p.Supply = true, at.In(p.zone), Stock, lot, ""
	if p.FromStockNow == quantity {
		p.allNow = true
		p.Reason = fmt.Sprintf("%s are in stock.", quantity)
		return
	}
	p.Reason = fmt.Sprintf("%s are in stock once %s is free on %s.", quantity, lot, p.day(at))
}

func (p *Promise) byMaking(r Request) error {
	if r.Batches == 0 {
		p.Reason = "There is not enough in stock, and it cannot be made."
		return nil
	}
	missing := -1
	for i, m := range p.Materials {
		if m.Source == Unavailable && (missing < 0 || m.Material < p.Materials[missing].Material) {
			missing = i
		}
	}
	if missing >= 0 {
		m := p.Materials[missing]
		p.On = m.Material
		p.Reason = fmt.Sprintf("Material %s is %s short; no open order covers it and no supplier is known.", m.Material, m.Short)
		return nil
	}
	run := func(materials []Ready, busy map[string][]calendar.Interval) ([]Planned, time.Time, error) {
		return newSchedule(&r, materials, busy).run(r.Now, r.Batches)
	}
	var err error
	if p.Chain, p.At, err = run(p.Materials, r.Busy); err != nil {
		return err
	}
	if _, p.WithMaterials, err = run(nil, r.Busy); err != nil {
		return err
	}
	if _, p.WithMachines, err = run(p.Materials, nil); err != nil {
		return err
	}
	if _, p.WithBoth, err = run(nil, nil); err != nil {
		return err
	}
	p.Possible = true
	p.explain()
	return nil
}

// explain names the cause. When only taking both away helps, the materials
// decide: they are what purchasing can act on.
func (p *Promise) explain() {
	byMaterial, byMachine := p.At.Sub(p.WithMaterials), p.At.Sub(p.WithMachines)
	material, machine := p.longestWaits()
	switch {
	case material != nil && p.WithBoth.Before(p.At) && byMaterial >= byMachine:
		m := p.material(material.Material)
		p.Decides, p.On, p.Supply = Materials, m.Material, m.Supply
		from := "stock"
		switch m.Source {
		case FromSupply:
			from = "order " + m.Supply
		case FromOrder:
			from = "a new order of " + m.ToOrder.String()
		}
		p.Reason = fmt.Sprintf("Waits for material %s, here on %s by %s.", m.Material, p.day(m.At), from)
	case machine != nil && p.WithMachines.Before(p.At):
		p.Decides, p.On = Capacity, machine.Machine
		p.Reason = fmt.Sprintf("Waits for %s, free for step %s on %s.", machine.Machine, machine.Step, p.day(machine.Start))
	default:
		p.Decides = ProcessTime
		p.Reason = "Nothing waits: the steps take that long."
	}
}

// longestWaits are the steps that waited longest for a material and for a
// machine, the earlier on a tie; nil when none did.
func (p *Promise) longestWaits() (material, machine *Planned) {
	for i := range p.Chain {
		s := &p.Chain[i]
		if s.MaterialWait > 0 && (material == nil || s.MaterialWait > material.MaterialWait) {
			material = s
		}
		if s.MachineWait > 0 && (machine == nil || s.MachineWait > machine.MachineWait) {
			machine = s
		}
	}
	return material, machine
}

func (p *Promise) material(id string) Ready {
	for _, m := range p.Materials {
		if m.Material == id {
			return m
		}
	}
	return Ready{Material: id}
}

func (p *Promise) day(t time.Time) string { return t.In(p.zone).Format("Mon 2 Jan 2006 15:04") }
