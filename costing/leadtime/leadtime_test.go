package leadtime_test

import (
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"millbase/costing/leadtime"
	"millbase/inventory/calendar"
	"millbase/inventory/mass"
)

const (
	kg   = mass.Kilogram
	hour = time.Hour
)

// oneShift is a plant that works 08:00 to 16:00 UTC, Monday to Friday.
func oneShift(t testing.TB) *calendar.Calendar {
	t.Helper()
	week := map[time.Weekday][]calendar.Shift{}
	for d := time.Monday; d <= time.Friday; d++ {
		week[d] = []calendar.Shift{calendar.Hours(8, 16)}
	}
	cal, err := calendar.New(calendar.Config{Zone: "UTC", Week: week})
	if err != nil {
		t.Fatal(err)
	}
	return cal
}

// on is a moment in the week of Monday 5 January 2026.
func on(day, hour int) time.Time { return time.Date(2026, 1, 4+day, hour, 0, 0, 0, time.UTC) }

// ink is 250 kg of an offset ink: the route of the trade (common practice), with
// times invented for the test: 16 h of work.
func ink(t testing.TB) leadtime.Request {
	return leadtime.Request{
		Now: on(1, 8), Quantity: 250 * kg, Batches: 1, Calendar: oneShift(t),
		Steps: []leadtime.Step{
			{Name: "premix", Machines: []string{"mixer 1"}, Work: 2 * hour},
			{Name: "bead mill", Machines: []string{"bead mill 1", "bead mill 2"}, Work: 4 * hour},
			{Name: "three-roll mill", Machines: []string{"three-roll mill 1"}, Work: 5 * hour},
			{Name: "let-down", Machines: []string{"mixer 1"}, Work: 2 * hour},
			{Name: "quality release", Work: 1 * hour},
			{Name: "canning", Work: 2 * hour},
		},
		Materials: []leadtime.Material{
			{ID: "PB15:3", Need: 45 * kg, Stock: 60 * kg},
			{ID: "varnish", Need: 150 * kg, Stock: 400 * kg},
			{ID: "wax", Need: 8 * kg, Stock: 8 * kg, Step: 3},
		},
	}
}

func promise(t testing.TB, r leadtime.Request) leadtime.Promise {
	t.Helper()
	p, err := leadtime.Make(r)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestWhatDecides(t *testing.T) {
	week := 7 * 24 * hour
	for name, c := range map[string]struct {
		change  func(*leadtime.Request)
		at      time.Time
		decides leadtime.Cause
		on      string
		supply  string
	}{
		"process time": {func(*leadtime.Request) {}, on(2, 16), leadtime.ProcessTime, "", ""},
		"finished stock": {func(r *leadtime.Request) {
			r.Finished = []leadtime.Supply{{ID: "F1", Mass: 100 * kg}, {ID: "F2", Mass: 150 * kg}}
		}, on(1, 8), leadtime.Stock, "F2", ""},
		"a batch on its way, sooner than making it": {func(r *leadtime.Request) {
			r.Finished = []leadtime.Supply{{ID: "F1", Mass: 100 * kg}, {ID: "B7", Mass: 200 * kg, Due: on(2, 12)}}
		}, on(2, 12), leadtime.Stock, "B7", ""},
		"a batch on its way, later than making it": {func(r *leadtime.Request) {
			r.Finished = []leadtime.Supply{{ID: "F1", Mass: 100 * kg}, {ID: "B7", Mass: 200 * kg, Due: on(4, 12)}}
		}, on(2, 16), leadtime.ProcessTime, "", ""},
		"an open order": {func(r *leadtime.Request) {
			r.Materials[0].Stock = 10 * kg
			r.Materials[0].Supplies = []leadtime.Supply{
				{ID: "PO2", Mass: 30 * kg, Due: on(3, 8)}, {ID: "PO1", Mass: 20 * kg, Due: on(2, 8)}}
		}, on(4, 16), leadtime.Materials, "PB15:3", "PO2"},
		"a new order, sooner than the open one": {func(r *leadtime.Request) {
			r.Materials[1].Stock = 0
			r.Materials[1].Supplies = []leadtime.Supply{{ID: "PO1", Mass: 500 * kg, Due: on(20, 8)}}
			r.Materials[1].CanOrder, r.Materials[1].LeadTime = true, week
		}, on(9, 16), leadtime.Materials, "varnish", ""},
		"a material that is needed later than it comes": {func(r *leadtime.Request) {
			r.Materials[2].Stock = 0
			r.Materials[2].Supplies = []leadtime.Supply{{ID: "PO3", Mass: 8 * kg, Due: on(2, 11)}}
		}, on(2, 16), leadtime.ProcessTime, "", ""},
		"a material for the let-down": {func(r *leadtime.Request) {
			r.Materials[2].Stock = 0
			r.Materials[2].Supplies = []leadtime.Supply{{ID: "PO3", Mass: 8 * kg, Due: on(2, 13)}}
		}, on(3, 10), leadtime.Materials, "wax", "PO3"},
		"a busy mill": {func(r *leadtime.Request) {
			r.Busy = map[string][]calendar.Interval{"three-roll mill 1": {{Start: on(1, 8), End: on(3, 12)}}}
		}, on(4, 14), leadtime.Capacity, "three-roll mill 1", ""},
		"one of two mills busy": {func(r *leadtime.Request) {
			r.Busy = map[string][]calendar.Interval{"bead mill 1": {{Start: on(1, 8), End: on(5, 16)}}}
		}, on(2, 16), leadtime.ProcessTime, "", ""},
		"an order nobody can fill": {func(r *leadtime.Request) {
			r.Materials[0].Stock = 44 * kg
		}, time.Time{}, leadtime.NoWay, "PB15:3", ""},
		"nobody makes it": {func(r *leadtime.Request) { r.Batches = 0 }, time.Time{}, leadtime.NoWay, "", ""},
	} {
		r := ink(t)
		c.change(&r)
		p := promise(t, r)
		if p.Possible != (c.decides != leadtime.NoWay) || p.Decides != c.decides || p.On != c.on || p.Supply != c.supply || p.Reason == "" {
			t.Errorf("%s: decided by %s on %q %q (%s); want %s on %q %q", name, p.Decides, p.On, p.Supply, p.Reason, c.decides, c.on, c.supply)
		}
		if p.Possible && !p.At.Equal(c.at) {
			t.Errorf("%s: promised for %s, want %s", name, p.At, c.at)
		}
	}
}

// A gap between two planned jobs is used when the step fits into it, and what
// is planned does not move.
func TestInsertIntoAGap(t *testing.T) {
	r := ink(t)
	r.Steps = []leadtime.Step{{Name: "three-roll mill", Machines: []string{"M"}, Work: 3 * hour}}
	r.Materials = nil
	for _, c := range []struct{ busyFrom, start int }{{11, 8}, {10, 12}} {
		r.Busy = map[string][]calendar.Interval{"M": {{Start: on(1, c.busyFrom), End: on(1, c.busyFrom+2)}}}
		if p := promise(t, r); !p.Chain[0].Start.Equal(on(1, c.start)) {
			t.Errorf("3 h before a job at %d:00: start %s, want %d:00", c.busyFrom, p.Chain[0].Start, c.start)
		}
	}
}

func TestUnbrokenAndElapsedSteps(t *testing.T) {
	r := ink(t)
	r.Materials = nil
	r.Steps = []leadtime.Step{
		{Name: "premix", Work: 5 * hour},
		{Name: "bead mill", Work: 4 * hour, Unbroken: true},
		{Name: "drying test", Work: 24 * hour, Elapsed: true},
	}
	p := promise(t, r)
	if !p.Chain[1].Start.Equal(on(2, 8)) || !p.At.Equal(on(3, 12)) {
		t.Errorf("mill from %s, done %s; want Tuesday 08:00 and Wednesday 12:00", p.Chain[1].Start, p.At)
	}
	r.Steps[1].Work = 9 * hour
	if _, err := leadtime.Make(r); err == nil || !strings.Contains(err.Error(), "bead mill") {
		t.Errorf("9 h at a stretch in shifts of 8: %v", err)
	}
}

func TestSeveralBatchesShareTheMachines(t *testing.T) {
	r := ink(t)
	r.Materials = nil
	r.Steps = []leadtime.Step{
		{Name: "premix", Machines: []string{"mixer 1"}, Work: 2 * hour},
		{Name: "mill", Machines: []string{"mill 1", "mill 2"}, Work: 4 * hour},
	}
	r.Batches = 3
	p := promise(t, r)
	// Mixer: 8-10, 10-12, 12-14. Mills: 10-14 on 1, 12-16 on 2, 14-16 and 8-10 on 1.
	if !p.At.Equal(on(2, 10)) || p.Chain[3].Machine != "mill 2" || p.Chain[5].Machine != "mill 1" {
		t.Errorf("three batches: done %s, chain %+v", p.At, p.Chain)
	}
}

// The public part names no material, order or machine of the request.
func TestPublicPartKeepsSecrets(t *testing.T) {
	r := ink(t)
	r.Finished = []leadtime.Supply{{ID: "SECRETLOT", Mass: 100 * kg}}
	r.Materials[0] = leadtime.Material{ID: "SECRETPIGMENT", Need: kg, Supplies: []leadtime.Supply{{ID: "SECRETORDER", Mass: kg, Due: on(9, 8)}}}
	p := promise(t, r)
	if p.Decides != leadtime.Materials || !strings.Contains(p.Reason, "SECRETPIGMENT") {
		t.Fatalf("the plant's own reason must name the material: %s", p.Reason)
	}
	if pub := p.Public(); strings.Contains(pub.Reason, "SECRET") || !strings.Contains(pub.Reason, "100 kg") || !pub.At.Equal(p.At) {
		t.Errorf("public: %+v", pub)
	}
}

func TestBadRequests(t *testing.T) {
	for name, change := range map[string]func(*leadtime.Request){
		"no quantity":       func(r *leadtime.Request) { r.Quantity = 0 },
		"no moment":         func(r *leadtime.Request) { r.Now = time.Time{} },
		"no calendar":       func(r *leadtime.Request) { r.Calendar = nil },
		"negative batches":  func(r *leadtime.Request) { r.Batches = -1 },
		"too many batches":  func(r *leadtime.Request) { r.Batches = 1 << 30 },
		"no steps":          func(r *leadtime.Request) { r.Steps, r.Materials = nil, nil },
		"negative work":     func(r *leadtime.Request) { r.Steps[0].Work = -1 },
		"negative stock":    func(r *leadtime.Request) { r.Materials[0].Stock = -1 },
		"negative supply":   func(r *leadtime.Request) { r.Materials[0].Supplies = []leadtime.Supply{{Mass: -1}} },
		"negative finished": func(r *leadtime.Request) { r.Finished = []leadtime.Supply{{Mass: -1}} },
		"twice":             func(r *leadtime.Request) { r.Materials[1].ID = r.Materials[0].ID },
		"no such step":      func(r *leadtime.Request) { r.Materials[0].Step = 6 },
		"negative lead":     func(r *leadtime.Request) { r.Materials[0].CanOrder, r.Materials[0].LeadTime = true, -1 },
	} {
		r := ink(t)
		change(&r)
		if _, err := leadtime.Make(r); !errors.Is(err, leadtime.ErrRequest) {
			t.Errorf("%s: %v, want ErrRequest", name, err)
		}
	}
}

func randomRequest(t *rapid.T, cal *calendar.Calendar) leadtime.Request {
	machines := []string{"M1", "M2", "M3"}
	moment := func(label string) time.Time {
		return on(1, 0).Add(time.Duration(rapid.IntRange(0, 20*24*60).Draw(t, label)) * time.Minute)
	}
	r := leadtime.Request{Now: on(3, 7), Quantity: 100 * kg, Batches: rapid.IntRange(1, 3).Draw(t, "batches"),
		Calendar: cal, Busy: map[string][]calendar.Interval{}}
	for range rapid.IntRange(1, 5).Draw(t, "steps") {
		r.Steps = append(r.Steps, leadtime.Step{
			Name: "step", Work: time.Duration(rapid.IntRange(0, 600).Draw(t, "work")) * time.Minute,
			Machines: rapid.SliceOfNDistinct(rapid.SampledFrom(machines), 0, 3, rapid.ID[string]).Draw(t, "machines"),
		})
	}
	for i := range rapid.IntRange(0, 4).Draw(t, "materials") {
		r.Materials = append(r.Materials, leadtime.Material{
			ID: string(rune('a' + i)), Need: 10 * kg, Stock: mass.Mass(rapid.IntRange(0, 12).Draw(t, "stock")) * kg,
			Supplies: []leadtime.Supply{{ID: "x", Mass: 5 * kg, Due: moment("due")}, {ID: "y", Mass: 5 * kg, Due: moment("due")}},
			CanOrder: rapid.Bool().Draw(t, "order"), LeadTime: 10 * 24 * hour,
			Step: rapid.IntRange(0, len(r.Steps)-1).Draw(t, "step"),
		})
	}
	for _, m := range machines {
		for range rapid.IntRange(0, 4).Draw(t, "jobs") {
			start := moment("job")
			r.Busy[m] = append(r.Busy[m], calendar.Interval{Start: start, End: start.Add(time.Duration(rapid.IntRange(1, 900).Draw(t, "length")) * time.Minute)})
		}
	}
	return r
}

// No machine does two things at once, steps keep their order and their working
// time, no step starts before its materials; the answer does not depend on the
// order of the lists.
func TestPlansAreSound(t *testing.T) {
	cal := oneShift(t)
	rapid.Check(t, func(t *rapid.T) {
		r := randomRequest(t, cal)
		p, err := leadtime.Make(r)
		if err != nil {
			t.Fatal(err)
		}
		shuffled := r
		shuffled.Materials = rapid.Permutation(r.Materials).Draw(t, "materials")
		q, err := leadtime.Make(shuffled)
		if err != nil || !q.At.Equal(p.At) || q.Decides != p.Decides || q.On != p.On || !reflect.DeepEqual(q.Chain, p.Chain) {
			t.Fatalf("materials in another order: %v %s %q, before %v %s %q (%v)", q.At, q.Decides, q.On, p.At, p.Decides, p.On, err)
		}
		if !p.Possible {
			return
		}
		taken := map[string][]calendar.Interval{}
		for m, jobs := range r.Busy {
			taken[m] = append(taken[m], calendar.Merge(jobs)...)
		}
		end := r.Now
		for k, s := range p.Chain {
			step := r.Steps[k%len(r.Steps)]
			if k%len(r.Steps) == 0 {
				end = r.Now
			}
			if worked, err := cal.Between(s.Start, s.End); err != nil || worked != step.Work || s.Start.Before(end) || s.End.After(p.At) {
				t.Fatalf("step %+v after %s: worked %s of %s (%v)", s, end, worked, step.Work, err)
			}
			for _, m := range p.Materials {
				if m.Step <= k%len(r.Steps) && s.Start.Before(m.At) {
					t.Fatalf("step %+v starts before material %+v", s, m)
				}
			}
			for _, other := range taken[s.Machine] {
				if s.Start.Before(other.End) && other.Start.Before(s.End) {
					t.Fatalf("step %+v overlaps %v", s, other)
				}
			}
			if s.Machine != "" && s.End.After(s.Start) {
				taken[s.Machine] = append(taken[s.Machine], calendar.Interval{Start: s.Start, End: s.End})
			}
			end = s.End
		}
	})
}

// With one batch, more stock never makes the promise later.
func TestMoreStockIsNeverLater(t *testing.T) {
	cal := oneShift(t)
	rapid.Check(t, func(t *rapid.T) {
		r := randomRequest(t, cal)
		r.Batches = 1
		before, err := leadtime.Make(r)
		if err != nil {
			t.Fatal(err)
		}
		if !before.Possible || len(r.Materials) == 0 {
			return
		}
		k := rapid.IntRange(0, len(r.Materials)-1).Draw(t, "which")
		r.Materials[k].Stock += 3 * kg
		after, err := leadtime.Make(r)
		if err != nil || after.At.After(before.At) {
			t.Fatalf("3 kg more of %s: %s, before %s (%v)", r.Materials[k].ID, after.At, before.At, err)
		}
	})
}

func TestPlaceBesideABusyMill(t *testing.T) {
	r := ink(t)
	r.Materials = nil
	r.Batches = 2
	r.Busy = map[string][]calendar.Interval{"three-roll mill 1": {{Start: on(1, 8), End: on(2, 8)}}}
	chain, done, err := leadtime.Place(r)
	if err != nil || len(chain) != 12 {
		t.Fatalf("%d steps, %v", len(chain), err)
	}
	p := promise(t, r)
	if !done.Equal(p.At) {
		t.Errorf("placed until %s, promised for %s", done, p.At)
	}
	r.Quantity = 0
	if _, _, err := leadtime.Place(r); err == nil {
		t.Error("nothing was placed without an error")
	}
}
