package app

import (
	"errors"
	"fmt"
	"time"

	"millbase/costing/leadtime"
	"millbase/inventory/calendar"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
)

// promise is one question for a lead time on its way to an answer.
type promise struct {
	s    *supply
	q    LeadTimeQuery
	open bool // the caller may read of materials and machines
	// by is the formula that it is made by; nil: the newest released one.
	by    *formula.Formula
	plans *plans // nil: worked out when they are needed

	now      time.Time
	net      *netter
	openings *calendar.Openings
	busy     map[string][]calendar.Interval
	claimed  map[string]mass.Mass // by material: what this question uses already
	made     map[string]*making   // base inks that are made for it, by material
	cannot   map[string]string    // base inks that can't be made, and why
	answer   LeadTime
}

// horizonWeeks is how far ahead what is planned is set against new wishes.
const horizonWeeks = 52

func (p *promise) work() error {
	s := p.s
	p.now = s.now
	if s.calendar != nil {
		p.now = s.now.In(s.calendar.Zone())
	}
	inStock := min(p.q.Quantity, s.freeOn(p.q.Material, p.q.From))
	p.answer = LeadTime{Material: p.q.Material, Quantity: p.q.Quantity, FromStock: inStock, ToMake: p.q.Quantity - inStock}
	if p.answer.ToMake == 0 {
		p.fromStock()
		return nil
	}
	f, ok := s.formulas.byMaterial[p.q.Material]
	if p.by != nil {
		f, ok = *p.by, true
	}
	if !ok {
		p.impossible("it has no released formula", "it is not made at present")
		return nil
	}
	if s.calendar == nil {
		p.impossible("the plant's calendar has no shifts", "the plant's calendar is not set")
		return nil
	}
	if p.plans == nil {
		plans, err := s.plansFrom(p.now)
		if err != nil {
			return err
		}
		p.plans = plans
	}
	p.use(p.plans)
	m, err := p.make(f, p.answer.ToMake, 0)
	if err != nil {
		return p.refuse(err)
	}
	p.conclude(m)
	return nil
}

// refuse turns what the plant can't do into an answer; anything else stays an
// error.
func (p *promise) refuse(err error) error {
	var fault *Fault
	switch {
	case errors.As(err, &fault):
		p.impossible(trimStop(fault.Message), "the plant can't make it at present")
		return nil
	case errors.Is(err, calendar.ErrNeverOpen):
		p.impossible("it would take longer than the ten years that the plant's calendar reaches", "it would take too long")
		return nil
	}
	return err
}

func (p *promise) fromStock() {
	p.answer.Possible, p.answer.DecidedBy = true, ByFinishedStock
	at := p.now
	if p.s.calendar != nil {
		if open, err := p.s.calendar.NextOpening(at); err == nil {
			at = open
		}
	}
	p.ready(at)
	p.answer.Reason = fmt.Sprintf("All %s can be had from stock.", p.q.Quantity)
}

// ready sets the moment, not before the day asked for.
func (p *promise) ready(at time.Time) {
	if from := p.s.midnight(p.q.From); at.Before(from) {
		at = from
		if p.s.calendar != nil {
			if open, err := p.s.calendar.NextOpening(from); err == nil {
				at = open
			}
		}
	}
	p.answer.Ready, p.answer.ReadyDate = at, p.s.dateAt(at)
}

func (p *promise) impossible(plain, public string) {
	p.answer.Possible, p.answer.DecidedBy = false, ByNothingPossible
	why := public
	if p.open {
		why = plain
	}
	p.answer.Reason = fmt.Sprintf("It can't be promised: %s are in stock, and the rest can't be made: %s.", p.answer.FromStock, why)
	if p.answer.FromStock == 0 {
		p.answer.Reason = fmt.Sprintf("It can't be promised: nothing is in stock, and %s.", why)
	}
}

// planned is when the machines are taken by the batches that are planned: each
// is begun as late as its due date allows, or at once when that is past, the
// earliest due first.
func (s *supply) planned(now time.Time, open *calendar.Openings) (map[string][]calendar.Interval, error) {
	busy := map[string][]calendar.Interval{}
	for _, b := range s.batches {
		f, ok := s.formulas.of(b)
		if !ok || len(f.Route) == 0 {
			continue
		}
		plan, err := s.planRoute(f, b.Quantity)
		if err != nil || plan.batches > maxPlanned {
			continue
		}
		start := now
		if by := s.midnight(s.startBy(f, b.Quantity, b.DueDate)); by.After(now) {
			start = by
		}
		chain, _, err := leadtime.Place(leadtime.Request{Now: start, Quantity: b.Quantity, Steps: plan.steps, Batches: plan.batches, Busy: busy, Calendar: s.calendar, Openings: open})
		if errors.Is(err, calendar.ErrNeverOpen) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("placing batch %s: %w", b.ID, err)
		}
		occupy(busy, chain)
	}
	return busy, nil
}

// maxPlanned is the largest number of charges that one order is split into.
const maxPlanned = 200

func occupy(busy map[string][]calendar.Interval, chain []leadtime.Planned) {
	for _, c := range chain {
		if c.Machine != "" {
			busy[c.Machine] = append(busy[c.Machine], calendar.Interval{Start: c.Start, End: c.End})
		}
	}
}
