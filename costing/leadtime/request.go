package leadtime

import (
	"errors"
	"fmt"
	"time"

	"millbase/inventory/calendar"
	"millbase/inventory/mass"
)

// ErrRequest is the answer to a request that makes no sense; its text says what
// to change.
var ErrRequest = errors.New("leadtime: bad request")

// maxBatches is the largest number of batches of one request.
const maxBatches = 200

// Supply is a mass that becomes free at a moment. The zero time means now.
type Supply struct {
	ID   string // lot, batch or order
	Due  time.Time
	Mass mass.Mass
}

// Material is one material of the formula and where it can come from.
type Material struct {
	ID       string
	Need     mass.Mass
	Stock    mass.Mass // free now
	Supplies []Supply  // free part of open orders, by due date
	// CanOrder says that a supplier would deliver more; LeadTime is then the
	// time from now until it can be used, incoming inspection included, in
	// calendar time.
	CanOrder bool
	LeadTime time.Duration
	// Step is the index of the first step that needs it: pigment at the premix,
	// wax at the let-down.
	Step int
}

// Step is one process step of a batch.
type Step struct {
	Name     string
	Machines []string // any one of them; none: needs no machine (a quality test)
	Work     time.Duration
	// Elapsed: Work passes by the clock, not in working time (a film that
	// dries, an outside laboratory).
	Elapsed bool
	// Unbroken: cannot be left overnight; must fit into one opening of the plant.
	Unbroken bool
}

// Request is a question for a promise.
type Request struct {
	Now       time.Time
	Quantity  mass.Mass
	Finished  []Supply // finished stock and batches on their way, the free part
	Materials []Material
	Steps     []Step                         // of one batch, in order
	Batches   int                            // how many such batches make the quantity; 0: cannot be made
	Busy      map[string][]calendar.Interval // what is planned, by machine
	Calendar  *calendar.Calendar
	// Openings of Calendar, kept by a caller that makes many requests one after
	// the other; nil: looked up for this request.
	Openings *calendar.Openings
}

func (r *Request) check() error {
	bad := func(format string, args ...any) error {
		return fmt.Errorf("%w: "+format, append([]any{ErrRequest}, args...)...)
	}
	switch {
	case r.Quantity <= 0:
		return bad("the quantity must be above zero, got %s", r.Quantity)
	case r.Now.IsZero():
		return bad("the moment of asking is missing")
	case r.Calendar == nil:
		return bad("the plant's calendar is missing")
	case r.Batches < 0 || r.Batches > maxBatches:
		return bad("the number of batches must be from 0 to 200, got %d", r.Batches)
	case r.Batches > 0 && len(r.Steps) == 0:
		return bad("a batch needs at least one process step")
	}
	for _, s := range r.Steps {
		if s.Work < 0 {
			return bad("step %q has a negative time of %s", s.Name, s.Work)
		}
	}
	for _, s := range r.Finished {
		if s.Mass < 0 {
			return bad("finished lot %q has a negative mass of %s", s.ID, s.Mass)
		}
	}
	seen := map[string]bool{}
	for _, m := range r.Materials {
		switch {
		case seen[m.ID]:
			return bad("material %q is listed twice; add its needs up", m.ID)
		case m.Need < 0 || m.Stock < 0:
			return bad("material %q has a negative need or stock", m.ID)
		case m.CanOrder && m.LeadTime < 0:
			return bad("material %q has a negative lead time", m.ID)
		case m.Step < 0 || (r.Batches > 0 && m.Step >= len(r.Steps)):
			return bad("material %q is needed at step %d of %d", m.ID, m.Step, len(r.Steps))
		}
		for _, s := range m.Supplies {
			if s.Mass < 0 {
				return bad("order %q of material %q has a negative mass", s.ID, m.ID)
			}
		}
		seen[m.ID] = true
	}
	return nil
}
