package app

import (
	"maps"
	"slices"
	"sync"
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

// beginPlans begins to look at what is planned.
func (b *Book) beginPlans(s *supply) *planning {
	p := &planning{done: make(chan struct{})}
	if s.calendar == nil { // nothing is planned without shifts
		close(p.done)
		return p
	}
	if p.plans = b.keptPlansOf(s); p.plans != nil {
		close(p.done)
		return p
	}
	go func() {
		defer close(p.done)
		defer func() { p.fell = recover() }()
		p.plans, p.err = b.plansOf(s)
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
	defer plans.locked()()
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

// plans is what is planned already, which every new wish is set against. They are
// shared: whoever works with them locks them.
type plans struct {
	mu       sync.Mutex
	net      *netter
	openings *calendar.Openings
	busy     map[string][]calendar.Interval
}

// locked locks plans, if there are any, until what it returns is called.
func (p *plans) locked() (unlock func()) {
	if p == nil {
		return func() {}
	}
	p.mu.Lock()
	return p.mu.Unlock
}

// keptPlans are the last plans, of a book as it was seen in one minute.
type keptPlans struct {
	seen  string
	from  time.Time
	plans *plans
}

// planFrom is the moment from which plans look: the minute that has begun, so that
// questions that follow each other share them.
func (s *supply) planFrom() time.Time { return s.now.In(s.calendar.Zone()).Truncate(time.Minute) }

// keptPlansOf are the plans of the same book in the same minute; nil: not there.
func (b *Book) keptPlansOf(s *supply) *plans {
	if k := b.keptPlans.Load(); k != nil && s.seen != "" && k.seen == s.seen && k.from.Equal(s.planFrom()) {
		return k.plans
	}
	return nil
}

// plansOf are the plans of a book with shifts.
func (b *Book) plansOf(s *supply) (*plans, error) {
	if p := b.keptPlansOf(s); p != nil {
		return p, nil
	}
	p, err := s.plansFrom(s.planFrom())
	if err == nil && s.seen != "" {
		b.keptPlans.Store(&keptPlans{s.seen, s.planFrom(), p})
	}
	return p, err
}

// plansFrom looks from a moment on. What plans remember is theirs.
func (s *supply) plansFrom(now time.Time) (*plans, error) {
	own := *s
	own.memo = memo{}
	p := &plans{net: own.netOnDemand(monday(s.today), horizonWeeks*7), openings: s.calendar.Openings(now)}
	var err error
	p.busy, err = own.planned(now, p.openings)
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
