package app

import (
	"maps"
	"slices"
	"time"

	"millbase/inventory/calendar"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
)

// planning is plansFrom on its way beside other work.
type planning struct {
	done  chan struct{}
	plans *plans
	err   error
	fell  any // what it panicked with
}

// beginPlans begins to look at what is planned. Until wait returns, nothing else
// may ask the supply for routes and starting days.
func (s *supply) beginPlans() *planning {
	p := &planning{done: make(chan struct{})}
	if s.calendar == nil { // nothing is planned without shifts
		close(p.done)
		return p
	}
	go func() {
		defer close(p.done)
		defer func() { p.fell = recover() }()
		p.plans, p.err = s.plansFrom(s.now.In(s.calendar.Zone()))
	}()
	return p
}

func (p *planning) wait() (*plans, error) {
	<-p.done
	if p.fell != nil {
		panic(p.fell) // where the caller's own would be met
	}
	return p.plans, p.err
}

// leadTimes says of every quantity of a quote when it can be had, each as if it
// were the only one.
func (s *supply) leadTimes(q *Quote, f formula.Formula, plans *plans) error {
	for i := range q.Breaks {
		k := &q.Breaks[i]
		p := &promise{s: s, by: &f, plans: plans, open: true, q: LeadTimeQuery{Material: f.Material, Quantity: k.Quantity, From: s.today}}
		if err := p.work(); err != nil {
			return err
		}
		plans = p.plans
		a := p.answer
		k.Lead = QuoteLead{Possible: a.Possible, DecidedBy: a.DecidedBy, Reason: a.Reason}
		if a.Possible {
			k.Lead.Ready, k.Lead.Days = a.ReadyDate, int(a.ReadyDate.Sub(s.today)/(24*time.Hour))
		}
	}
	return nil
}

// plans is what is planned already, which every new wish is set against.
type plans struct {
	net      *netter
	openings *calendar.Openings
	busy     map[string][]calendar.Interval
}

// plansFrom looks from a moment on.
func (s *supply) plansFrom(now time.Time) (*plans, error) {
	p := &plans{net: s.netOnDemand(monday(s.today), horizonWeeks*7), openings: s.calendar.Openings(now)}
	var err error
	p.busy, err = s.planned(now, p.openings)
	return p, err
}

// use gives a promise its own copy of what it adds to.
func (p *promise) use(plans *plans) {
	p.plans, p.net, p.openings = plans, plans.net, plans.openings
	p.busy = maps.Clone(plans.busy)
	for machine := range p.busy {
		p.busy[machine] = slices.Clip(p.busy[machine])
	}
	p.claimed, p.made, p.cannot = map[string]mass.Mass{}, map[string]*making{}, map[string]string{}
}
