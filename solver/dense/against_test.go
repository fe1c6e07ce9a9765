package dense

import (
	"context"
	"errors"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"millbase/solver"
	"millbase/solver/certify"
	"millbase/solver/checked"
	"millbase/solver/clp"
	"millbase/solver/solvertest"
)

var reference = checked.New(clp.New(), clp.NewLanl())

// kinds of models that are hard for a simplex method in one way each.
var kinds = map[string]func(t *rapid.T) *solver.Model{
	"blend": func(t *rapid.T) *solver.Model {
		return solvertest.Blend(rapid.Uint64().Draw(t, "seed"), rapid.IntRange(2, 90).Draw(t, "variables"), rapid.IntRange(1, 30).Draw(t, "rows"))
	},
	"degenerate":   degenerate,
	"badly scaled": badlyScaled,
	"any":          figures,
	"plan": func(t *rapid.T) *solver.Model {
		return solvertest.Plan(rapid.Uint64().Draw(t, "seed"), rapid.IntRange(1, 4).Draw(t, "batches"), rapid.IntRange(3, 25).Draw(t, "lots"), rapid.IntRange(1, 5).Draw(t, "limits"))
	},
}

// degenerate models have more rows through one point than variables, many
// equal costs, and right-hand sides of zero.
func degenerate(t *rapid.T) *solver.Model {
	m := &solver.Model{}
	for range rapid.IntRange(2, 25).Draw(t, "rows") {
		switch rapid.IntRange(0, 3).Draw(t, "sides") {
		case 0:
			m.AddRow(solver.Row{Lower: 0, Upper: solver.Inf})
		case 1:
			m.AddRow(solver.Row{Lower: -solver.Inf, Upper: 0})
		case 2:
			m.AddRow(solver.Row{Lower: -solver.Inf, Upper: float64(rapid.IntRange(0, 1).Draw(t, "bound"))})
		default:
			m.AddRow(solver.Row{})
		}
	}
	whole := m.AddRow(solver.Row{Lower: 1, Upper: 1})
	for range rapid.IntRange(2, 25).Draw(t, "variables") {
		entries := []solver.Entry{{Row: whole, Value: 1}}
		for i := range whole {
			entries = append(entries, solver.Entry{Row: i, Value: float64(rapid.IntRange(-1, 1).Draw(t, "coefficient"))})
		}
		m.AddVariable(solver.Variable{Cost: float64(rapid.IntRange(-1, 2).Draw(t, "cost")), Upper: rapid.SampledFrom([]float64{1, 1, solver.Inf}).Draw(t, "upper")}, entries...)
	}
	return m
}

// badlyScaled is a blend with every row and every variable in another unit.
func badlyScaled(t *rapid.T) *solver.Model {
	m := solvertest.Blend(rapid.Uint64().Draw(t, "seed"), rapid.IntRange(5, 40).Draw(t, "variables"), rapid.IntRange(2, 15).Draw(t, "rows"))
	power := func() float64 { return math.Pow(10, float64(rapid.IntRange(-4, 4).Draw(t, "power"))) }
	rows := make([]float64, len(m.Rows))
	for i := range rows {
		rows[i] = power()
		m.Rows[i].Lower *= rows[i]
		m.Rows[i].Upper *= rows[i]
	}
	for j := range m.Variables {
		f, v := power(), &m.Variables[j]
		v.Cost, v.Lower, v.Upper = v.Cost*f, v.Lower/f, v.Upper/f
		index, values := m.Column(j)
		for k, i := range index {
			values[k] *= f * rows[i]
		}
	}
	return m
}

func tenths(from, to int) *rapid.Generator[float64] {
	return rapid.Map(rapid.IntRange(from, to), func(v int) float64 { return float64(v) / 10 })
}

// figures have every kind of bound; infeasible and unbounded ones are common.
func figures(t *rapid.T) *solver.Model {
	m := &solver.Model{}
	bounds := func() (float64, float64) {
		lower := tenths(-50, 50).Draw(t, "lower")
		switch rapid.IntRange(0, 9).Draw(t, "open") {
		case 0:
			return -solver.Inf, solver.Inf
		case 1, 2, 3:
			return lower, solver.Inf
		case 4, 5:
			return -solver.Inf, lower
		case 6:
			return lower, lower
		}
		return lower, lower + tenths(1, 90).Draw(t, "width")
	}
	for range rapid.IntRange(1, 20).Draw(t, "rows") {
		lower, upper := bounds()
		m.AddRow(solver.Row{Lower: lower, Upper: upper})
	}
	for range rapid.IntRange(1, 40).Draw(t, "variables") {
		v := solver.Variable{Cost: tenths(-20, 80).Draw(t, "cost")}
		v.Lower, v.Upper = bounds()
		var entries []solver.Entry
		for i := range m.Rows {
			if rapid.IntRange(0, 2).Draw(t, "there") == 0 {
				entries = append(entries, solver.Entry{Row: i, Value: tenths(-30, 30).Draw(t, "coefficient")})
			}
		}
		m.AddVariable(v, entries...)
	}
	return m
}

// TestAgainstClp: on every kind of model, cold or from any basis at all, the
// answer is that of Clp, and proven.
func TestAgainstClp(t *testing.T) {
	for name, kind := range kinds {
		t.Run(name, func(t *testing.T) {
			answers := map[solver.Stop]int{}
			solves := 0
			rapid.Check(t, func(t *rapid.T) {
				m := kind(t)
				solves++
				answers[compare(t, m, solver.Options{})]++
				compare(t, m, solver.Options{Start: anyBasis(t, m)})
			})
			t.Logf("%v", answers)
			if gave := answers[solver.StopNumerical]; gave > solves/50 {
				t.Errorf("gave up on %d of %d models", gave, solves)
			}
		})
	}
}

// anyBasis has as many basic places as m has rows, anywhere.
func anyBasis(t *rapid.T, m *solver.Model) *solver.Basis {
	n := len(m.Variables)
	places := make([]solver.VarStatus, n+len(m.Rows))
	for k := range places {
		places[k] = rapid.SampledFrom([]solver.VarStatus{solver.AtLower, solver.AtUpper, solver.Free, solver.Fixed, solver.Superbasic}).Draw(t, "place")
	}
	for _, k := range rapid.Permutation(numbers(len(places))).Draw(t, "order")[:len(m.Rows)] {
		places[k] = solver.Basic
	}
	return &solver.Basis{Variables: places[:n], Rows: places[n:]}
}

func numbers(n int) []int {
	list := make([]int, n)
	for k := range list {
		list[k] = k
	}
	return list
}

// compare solves m by the kernel and by Clp and holds the one to the other.
func compare(t *rapid.T, m *solver.Model, o solver.Options) solver.Stop {
	s, err := New().Solve(context.Background(), m, o)
	if err != nil {
		t.Fatal(err)
	}
	if s.Stop == solver.StopNumerical {
		return s.Stop // it claims nothing
	}
	if c := certify.Check(m, s); !c.OK {
		t.Fatalf("%v not proven: %s", s.Stop, c.Reason)
	}
	agrees(t, m, s)
	return s.Stop
}

// agrees holds the answer to Clp's. In units far apart Clp's tolerance can be
// wider than a limit: then the exact answer decides.
func agrees(t interface{ Fatalf(string, ...any) }, m *solver.Model, s *solver.Solution) {
	want, err := reference.Solve(context.Background(), m, solver.Options{})
	if err == nil && agree(s, want.Stop, want.Objective) {
		return
	}
	if stop, objective := solvertest.Exact(m); !agree(s, stop, objective) {
		t.Fatalf("%v, %.12g, want %v, %.12g", s.Stop, s.Objective, stop, objective)
	}
}

func agree(s *solver.Solution, stop solver.Stop, objective float64) bool {
	return s.Stop == stop && (stop != solver.StopOptimal || math.Abs(s.Objective-objective) <= 1e-6*max(1, math.Abs(objective)))
}

// TestStarts: from the optimal basis, its own or Clp's, nothing is left to do.
func TestStarts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := solvertest.Blend(rapid.Uint64().Draw(t, "seed"), rapid.IntRange(10, 90).Draw(t, "variables"), rapid.IntRange(2, 30).Draw(t, "rows"))
		for _, e := range []solver.Engine{New(), clp.New()} {
			first, err := e.Solve(context.Background(), m, solver.Options{})
			if err != nil {
				t.Fatal(err)
			}
			again, err := New().Solve(context.Background(), m, solver.Options{Start: first.Basis})
			if err != nil || again.Stop != solver.StopOptimal || math.Abs(again.Objective-first.Objective) > 1e-8 || again.Iterations > 1 {
				t.Fatalf("from the basis of %s: %+v, %v", e.Name(), again, err)
			}
		}
	})
}

// late is a context that is done only once the solve has begun.
type late struct {
	context.Context
	asked int
}

func (c *late) Done() <-chan struct{} {
	done := make(chan struct{})
	close(done)
	return done
}

func (c *late) Err() error {
	if c.asked++; c.asked > 1 {
		return context.Canceled
	}
	return nil
}

func TestStops(t *testing.T) {
	m := solvertest.Blend(1, 400, 90)
	s, err := New().Solve(&late{Context: t.Context()}, m, solver.Options{})
	if err != nil || s.Stop != solver.StopCancelled {
		t.Errorf("done while it solves: %+v, %v, want cancelled", s, err)
	}
	s, err = New().Solve(t.Context(), m, solver.Options{TimeLimit: time.Nanosecond})
	if err != nil || s.Stop != solver.StopLimit {
		t.Errorf("no time: %+v, %v, want stopped at a limit", s, err)
	}
	if s, err = New().Solve(t.Context(), m, solver.Options{TimeLimit: time.Hour}); err != nil || s.Stop != solver.StopOptimal {
		t.Errorf("an hour: %+v, %v, want optimal", s, err)
	}
}

func TestRefusesSize(t *testing.T) {
	e := New()
	if m := solvertest.Blend(1, 20, MaxRows+1); e.Suits(m) {
		t.Error("takes more rows than it says")
	} else if _, err := e.Solve(t.Context(), m, solver.Options{}); !errors.Is(err, ErrSize) {
		t.Errorf("got %v, want ErrSize", err)
	}
	if m := solvertest.Blend(1, MaxPlaces/40+1, 40); e.Suits(m) {
		t.Error("takes more places than it says")
	}
}

// TestAllocates: a workspace that has seen a model solves the next of its size
// without taking memory.
func TestAllocates(t *testing.T) {
	m := solvertest.Blend(1, 60, 20)
	w := new(work)
	if got := testing.AllocsPerRun(100, func() {
		w.load(m)
		w.cold()
		if o := w.run(m); o != done {
			t.Fatal(o)
		}
	}); got != 0 {
		t.Errorf("%g allocations, want none", got)
	}
}
