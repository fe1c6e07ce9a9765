package leadtime

import (
	"errors"
	"fmt"
	"time"

	"millbase/inventory/calendar"
)

// Planned is one step of one batch with its place in time.
type Planned struct {
	Batch   int // from 1
	Step    string
	Machine string // empty when the step needs none
	Start   time.Time
	End     time.Time
	// What the start waited for after the step before it was done: for a
	// material, and then for a free machine.
	MaterialWait time.Duration
	Material     string
	MachineWait  time.Duration
}

// schedule places all steps of all batches, one batch after the other, each
// step as early as it can be. readyAt(step) is the moment from which its
// materials are there and the last of them.
type schedule struct {
	cal   *calendar.Calendar
	open  *calendar.Openings
	busy  map[string][]calendar.Interval // merged
	steps []Step
	from  []time.Time
	by    []string
}

// newSchedule takes the readiness of the materials (nil: all here) and what is
// planned on the machines (nil: all free).
func newSchedule(r *Request, materials []Ready, busy map[string][]calendar.Interval) *schedule {
	if r.Openings == nil {
		r.Openings = r.Calendar.Openings(r.Now)
	}
	s := &schedule{cal: r.Calendar, open: r.Openings, steps: r.Steps, busy: map[string][]calendar.Interval{}}
	for machine, planned := range busy {
		s.busy[machine] = calendar.Merge(planned)
	}
	s.from, s.by = make([]time.Time, len(r.Steps)), make([]string, len(r.Steps))
	for i := range s.from {
		s.from[i] = r.Now
	}
	for _, m := range materials {
		i := m.Step
		if m.At.After(s.from[i]) || (m.At.Equal(s.from[i]) && s.by[i] != "" && m.Material < s.by[i]) {
			s.from[i], s.by[i] = m.At, m.Material
		}
	}
	return s
}

// run plans that many batches from now on and returns the steps and the end of
// the last batch to be done.
func (s *schedule) run(now time.Time, batches int) ([]Planned, time.Time, error) {
	var chain []Planned
	done := now
	for b := 1; b <= batches; b++ {
		t := now
		for i := range s.steps {
			p, err := s.place(i, t)
			if err != nil {
				return nil, time.Time{}, err
			}
			p.Batch = b
			if p.Machine != "" {
				s.busy[p.Machine] = calendar.Merge(append(s.busy[p.Machine], calendar.Interval{Start: p.Start, End: p.End}))
			}
			chain = append(chain, p)
			t = p.End
		}
		if t.After(done) {
			done = t
		}
	}
	return chain, done, nil
}

// place finds the earliest end of the step from t on over its machines; the
// machine named first alphabetically wins a tie.
func (s *schedule) place(i int, t time.Time) (Planned, error) {
	step := s.steps[i]
	p := Planned{Step: step.Name}
	from := t
	if s.from[i].After(t) {
		from, p.Material, p.MaterialWait = s.from[i], s.by[i], s.from[i].Sub(t)
	}
	free, freeEnd, err := s.fit(step, from, nil)
	if err != nil {
		return p, fmt.Errorf("step %q: %w", step.Name, err)
	}
	if len(step.Machines) == 0 {
		p.Start, p.End = free, freeEnd
		return p, nil
	}
	for _, machine := range step.Machines {
		start, end, err := s.fit(step, from, s.busy[machine])
		if err != nil {
			return p, fmt.Errorf("step %q on machine %q: %w", step.Name, machine, err)
		}
		if p.Machine == "" || end.Before(p.End) || (end.Equal(p.End) && machine < p.Machine) {
			p.Machine, p.Start, p.End = machine, start, end
		}
	}
	p.MachineWait = p.Start.Sub(free)
	return p, nil
}

// fit is the earliest place of the step from t on, outside the busy times.
func (s *schedule) fit(step Step, t time.Time, busy []calendar.Interval) (start, end time.Time, err error) {
	for k := 0; ; {
		if start, end, err = s.span(step, t); err != nil {
			return start, end, err
		}
		for k < len(busy) && !busy[k].End.After(start) {
			k++
		}
		if k == len(busy) || !end.After(busy[k].Start) {
			return start, end, nil
		}
		t = busy[k].End
	}
}

// errTooLong is the answer to an unbroken step that no opening is long enough for.
var errTooLong = errors.New("no opening of the plant is long enough for a step that must not be interrupted; split it or lengthen a shift")

// span is the first place of the step from t on as if the machine were free.
func (s *schedule) span(step Step, t time.Time) (start, end time.Time, err error) {
	if step.Elapsed {
		return t.In(s.cal.Zone()), t.In(s.cal.Zone()).Add(step.Work), nil
	}
	if start, err = s.open.NextOpening(t); err != nil {
		return start, end, err
	}
	if !step.Unbroken {
		end, err = s.open.AddWorking(start, step.Work)
		return start, end, err
	}
	// Half a year of openings holds every kind of shift that a plant has.
	const search = 183 * 24 * time.Hour
	open, err := s.cal.Open(start, start.Add(search))
	if err != nil {
		return start, end, err
	}
	for _, o := range open {
		if o.End.Sub(o.Start) >= step.Work {
			return o.Start, o.Start.Add(step.Work), nil
		}
	}
	return start, end, errTooLong
}
