package app

import (
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/leadtime"
	"millbase/costing/money"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
)

// routePlan is how a quantity runs through the plant: in how many batches, and
// what each of them takes.
type routePlan struct {
	batches int
	charge  mass.Mass // of one batch
	steps   []leadtime.Step
}

// work is the working time of one batch, one step after the other.
func (r routePlan) work() time.Duration {
	var t time.Duration
	for _, s := range r.steps {
		t += s.Work
	}
	return t
}

// chargeOf is all that is weighed in for a finished quantity.
func chargeOf(f formula.Formula, quantity mass.Mass) mass.Mass {
	var total mass.Mass
	for i := range f.Ingredients {
		total += f.Charge(i, quantity)
	}
	return total
}

// machinesFor are the machines that do a step, in the plant's order.
func (p Plant) machinesFor(step formula.Step) []Machine {
	var out []Machine
	for _, m := range p.Machines {
		for _, s := range m.Steps {
			if s == string(step) {
				out = append(out, m)
				break
			}
		}
	}
	return out
}

// largest is the largest charge that one of the machines holds; 0: no limit.
func largest(machines []Machine) mass.Mass {
	var out mass.Mass
	for _, m := range machines {
		if m.Capacity == 0 {
			return 0
		}
		out = max(out, m.Capacity)
	}
	return out
}

// holding are the machines that hold the charge.
func holding(machines []Machine, charge mass.Mass) []Machine {
	var out []Machine
	for _, m := range machines {
		if m.Capacity == 0 || m.Capacity >= charge {
			out = append(out, m)
		}
	}
	return out
}

func noMachine(step formula.Step) error {
	return Faultf(ErrNotReady, "NO_MACHINE", "plant", "No machine of the plant does the step %s; add it to a machine, or take the step out of the formula's route.", inWords(step))
}

// planRoute splits the quantity into equal batches that every step can hold.
// Where several machines do a step the time is that of the slowest of them that
// holds the batch, so that the promise holds on any of them.
func planRoute(p Plant, f formula.Formula, quantity mass.Mass) (routePlan, error) {
	total := chargeOf(f, quantity)
	plan := routePlan{batches: 1}
	for _, s := range f.Route {
		machines := p.machinesFor(s.Step)
		if len(machines) == 0 {
			return plan, noMachine(s.Step)
		}
		if limit := largest(machines); limit > 0 {
			plan.batches = max(plan.batches, int((total+limit-1)/limit))
		}
	}
	plan.charge = mass.MulDiv(total, 1, int64(plan.batches), mass.RoundCeil)
	for _, s := range f.Route {
		step := leadtime.Step{Name: inWords(s.Step)}
		for _, m := range holding(p.machinesFor(s.Step), plan.charge) {
			step.Machines = append(step.Machines, m.ID)
			step.Work = max(step.Work, m.timeFor(plan.charge, s.Passes))
		}
		plan.steps = append(plan.steps, step)
	}
	return plan, nil
}

// longest is the most seconds that a step can take, a hundred years: a wrong
// throughput must not run over the end of a time.Duration.
const longest = 100 * 366 * 24 * 3600

// timeFor is how long one batch takes on the machine: setting up, the time per
// batch, the passes at its throughput, washing up.
func (m Machine) timeFor(charge mass.Mass, passes int) time.Duration {
	t := time.Duration(m.SetupMinutes+m.MinutesPerBatch+m.WashUpMinutes) * time.Minute
	if m.KgPerHour.Sign() > 0 {
		seconds := money.Kilograms(charge).Mul(decimal.NewFromInt(int64(max(passes, 1)))).Mul(decimal.NewFromInt(3600))
		seconds = decimal.Min(money.DivDecimal(seconds, m.KgPerHour, 0, money.RoundUp), decimal.NewFromInt(longest))
		t += time.Duration(seconds.IntPart()) * time.Second
	}
	return t
}

// perHour is the throughput as a mass; 0 when there is none.
func (m Machine) perHour() mass.Mass {
	if m.KgPerHour.Sign() <= 0 {
		return 0
	}
	mg := decimal.Min(m.KgPerHour.Shift(6), decimal.NewFromInt(int64(mass.Max)))
	return max(mass.Mass(mg.IntPart()), mass.Milligram)
}

// workingDays moves a calendar date by whole working days: days on which the
// plant has a shift. Without a calendar every day counts.
func (s *supply) workingDays(date time.Time, days int) time.Time {
	step := 1
	if days < 0 {
		step, days = -1, -days
	}
	for tries := 0; days > 0 && tries < 4000; tries++ {
		date = date.AddDate(0, 0, step)
		if s.worksOn(date) {
			days--
		}
	}
	return date
}

func (s *supply) worksOn(date time.Time) bool {
	if s.calendar == nil {
		return true
	}
	start := s.midnight(date)
	open, err := s.calendar.Open(start, s.midnight(date.AddDate(0, 0, 1)))
	return err == nil && len(open) > 0
}

// midnight is the first moment of a calendar date at the plant.
func (s *supply) midnight(date time.Time) time.Time {
	y, m, d := date.Date()
	zone := time.UTC
	if s.calendar != nil {
		zone = s.calendar.Zone()
	}
	return time.Date(y, m, d, 0, 0, 0, 0, zone)
}

// dateAt is the calendar date at the plant of a moment.
func (s *supply) dateAt(t time.Time) time.Time {
	if s.calendar != nil {
		t = t.In(s.calendar.Zone())
	}
	y, m, d := t.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
}

// routed is a quantity of a revision on its way through the plant.
type routed struct {
	formula  string
	quantity mass.Mass
}

// started is a batch with its due date.
type started struct {
	routed
	due time.Time
}

// memo keeps what is asked again and again of the same batches while one question
// is answered. A supply is not changed once it is read.
type memo struct {
	routes map[routed]routePlan
	starts map[started]time.Time
}

// planRoute is the plan of a formula of the book, worked out once.
func (s *supply) planRoute(f formula.Formula, quantity mass.Mass) (routePlan, error) {
	key := routed{revisionID(f.ID, f.Revision), quantity}
	if plan, ok := s.memo.routes[key]; ok {
		return plan, nil
	}
	plan, err := planRoute(s.plant, f, quantity)
	if err != nil {
		return plan, err
	}
	if s.memo.routes == nil {
		s.memo.routes = map[routed]routePlan{}
	}
	s.memo.routes[key] = plan
	return plan, nil
}

// startBy is the last day on which a batch must be begun to be released on its
// due date: the quality release and the working time of its route before it.
func (s *supply) startBy(f formula.Formula, quantity mass.Mass, due time.Time) time.Time {
	key := started{routed{revisionID(f.ID, f.Revision), quantity}, due}
	start, ok := s.memo.starts[key]
	if !ok {
		if s.memo.starts == nil {
			s.memo.starts = map[started]time.Time{}
		}
		start = s.workStartBy(f, quantity, due)
		s.memo.starts[key] = start
	}
	return start
}

func (s *supply) workStartBy(f formula.Formula, quantity mass.Mass, due time.Time) time.Time {
	done := s.workingDays(due, -s.plant.QualityReleaseDays)
	plan, err := s.planRoute(f, quantity)
	if err != nil || s.calendar == nil {
		return done
	}
	// The batches of one order run behind one another on the slowest step.
	t, err := s.calendar.SubWorking(s.midnight(done.AddDate(0, 0, 1)), plan.work())
	if err != nil {
		return done
	}
	return s.dateAt(t)
}
