package relax_test

import (
	"context"
	"errors"
	"math"
	"math/bits"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"millbase/solver"
	"millbase/solver/engines"
	"millbase/solver/relax"
)

func engine() solver.Engine { return engines.New() }

// drawn is a small random model with small whole figures, so that feasible and
// infeasible are far apart.
func drawn(t *rapid.T) *solver.Model {
	m := &solver.Model{}
	figure := rapid.IntRange(-3, 3)
	for range rapid.IntRange(1, 4).Draw(t, "rows") {
		r := solver.Row{Lower: -solver.Inf, Upper: solver.Inf}
		at := float64(figure.Draw(t, "bound"))
		switch rapid.IntRange(0, 3).Draw(t, "sides") {
		case 0:
			r.Lower = at
		case 1:
			r.Upper = at
		case 2:
			r.Lower, r.Upper = at, at
		case 3:
			r.Lower, r.Upper = at, at+1
		}
		m.AddRow(r)
	}
	for range rapid.IntRange(1, 3).Draw(t, "variables") {
		v := solver.Variable{Upper: float64(rapid.IntRange(0, 3).Draw(t, "upper"))}
		var e []solver.Entry
		for i := range m.Rows {
			e = append(e, solver.Entry{Row: i, Value: float64(figure.Draw(t, "coefficient"))})
		}
		m.AddVariable(v, e...)
	}
	return m
}

// limitsOf names every side of every row and the upper bound of the first
// variable.
func limitsOf(m *solver.Model) []relax.Limit {
	return append(relax.Rows(m), relax.Variable(0, relax.Upper))
}

// feasible opens all limits but those in the mask and solves.
func feasible(t interface{ Fatalf(string, ...any) }, m *solver.Model, limits []relax.Limit, mask uint) bool {
	v := m.Variant()
	for k, l := range limits {
		if mask&(1<<k) != 0 {
			continue
		}
		switch {
		case l.OnVariable:
			v.Variables[l.Number].Upper = solver.Inf
		case l.Side == relax.Lower:
			v.Rows[l.Number].Lower = -solver.Inf
		default:
			v.Rows[l.Number].Upper = solver.Inf
		}
	}
	for j := range v.Variables {
		v.Variables[j].Cost = 0
	}
	s, err := engine().Solve(context.Background(), v, solver.Options{})
	if err != nil {
		t.Fatalf("solve: %v", err)
	}
	return s.Stop == solver.StopOptimal
}

// TestFindSmallest compares with brute force over all subsets.
func TestFindSmallest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawn(t)
		limits := limitsOf(m)
		smallest := math.MaxInt
		for mask := range uint(1) << len(limits) {
			if n := bits.OnesCount(mask); n < smallest && !feasible(t, m, limits, mask) {
				smallest = n
			}
		}
		c, err := relax.Find(context.Background(), engine(), m, limits)
		if err != nil {
			t.Fatal(err)
		}
		if c.Feasible != (smallest == math.MaxInt) {
			t.Fatalf("feasible: got %v, brute force found a clash of %d", c.Feasible, smallest)
		}
		if c.Feasible {
			return
		}
		if len(c.Limits) != smallest || !c.Smallest {
			t.Fatalf("clash of %d (smallest %v), brute force found %d", len(c.Limits), c.Smallest, smallest)
		}
		var mask uint
		for _, l := range c.Limits {
			mask |= 1 << slices.Index(limits, l)
		}
		if feasible(t, m, limits, mask) {
			t.Fatalf("%v do not clash", c.Limits)
		}
		for _, l := range c.Limits {
			if !feasible(t, m, limits, mask&^(1<<slices.Index(limits, l))) {
				t.Fatalf("%v still clash without %v", c.Limits, l)
			}
		}
	})
}

// TestLeastIsLeast: the movement makes the model feasible, and a total a
// little smaller does not.
func TestLeastIsLeast(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawn(t)
		limits := limitsOf(m)
		var movable []relax.Movable
		for k, l := range limits {
			movable = append(movable, relax.Movable{Limit: l, Penalty: float64(1 + k%3)})
		}
		ctx := context.Background()
		got, err := relax.Least(ctx, engine(), m, movable)
		if err != nil {
			t.Fatal(err)
		}
		if !got.Possible {
			t.Fatal("rows and a zero point can always be moved together")
		}
		full := uint(1)<<len(limits) - 1
		if was := feasible(t, m, limits, full); was != (len(got.Moves) == 0) {
			t.Fatalf("feasible as it is: %v, moves %v", was, got.Moves)
		}
		moved := relax.Apply(m, got.Moves, 1e-7)
		if !feasible(t, moved, limits, full) {
			t.Fatalf("still infeasible after %v", got.Moves)
		}
		if len(got.Moves) == 0 {
			return
		}
		// Any one move cut by a tenth must cost feasibility, or it was not least.
		for k := range got.Moves {
			cut := slices.Clone(got.Moves)
			sign := 1.0
			if cut[k].Side == relax.Lower {
				sign = -1
			}
			cut[k].Bound -= sign * 0.1 * cut[k].By
			if feasible(t, relax.Apply(m, cut, 1e-9), limits, full) {
				t.Fatalf("feasible with less than %v", got.Moves[k])
			}
		}
	})
}

// TestClashByHand has two separate clashes, of three and of two limits, and
// one limit that is only a bystander.
func TestClashByHand(t *testing.T) {
	m := &solver.Model{}
	a := m.AddRow(solver.Row{Lower: 2, Upper: solver.Inf})  // x + y >= 2
	b := m.AddRow(solver.Row{Lower: -solver.Inf, Upper: 1}) // x <= 1
	c := m.AddRow(solver.Row{Lower: -solver.Inf, Upper: .5})
	d := m.AddRow(solver.Row{Lower: 3, Upper: solver.Inf}) // z >= 3, z at most 2 in stock
	m.AddRow(solver.Row{Lower: 0, Upper: solver.Inf})
	m.AddVariable(solver.Variable{Upper: solver.Inf}, solver.Entry{Row: a, Value: 1}, solver.Entry{Row: b, Value: 1})
	m.AddVariable(solver.Variable{Upper: solver.Inf}, solver.Entry{Row: a, Value: 1}, solver.Entry{Row: c, Value: 1})
	z := m.AddVariable(solver.Variable{Upper: 2}, solver.Entry{Row: d, Value: 1}, solver.Entry{Row: 4, Value: 1})
	limits := append(relax.Rows(m), relax.Variable(z, relax.Upper))
	got, err := relax.Find(context.Background(), engine(), m, limits)
	if err != nil {
		t.Fatal(err)
	}
	want := []relax.Limit{relax.Row(d, relax.Lower), relax.Variable(z, relax.Upper)}
	if !slices.Equal(got.Limits, want) || !got.Smallest {
		t.Errorf("clash %v, smallest %v, want %v", got.Limits, got.Smallest, want)
	}
	// Moving z's stock by 1 costs 10, the demand by 1 costs 3; x + y is short
	// by 0.5, cheapest at c.
	least, err := relax.Least(context.Background(), engine(), m, []relax.Movable{
		{Limit: relax.Variable(z, relax.Upper), Penalty: 10}, {Limit: relax.Row(d, relax.Lower), Penalty: 3},
		{Limit: relax.Row(a, relax.Lower), Penalty: 2}, {Limit: relax.Row(c, relax.Upper), Penalty: 1},
	})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(least.Total-3.5) > 1e-6 || len(least.Moves) != 2 {
		t.Errorf("least movement %+v, want a total of 3.5 in two moves", least)
	}
}

func TestStockCanBeMoved(t *testing.T) {
	m := &solver.Model{}
	a := m.AddRow(solver.Row{Lower: 5, Upper: 5})
	x := m.AddVariable(solver.Variable{Upper: 2}, solver.Entry{Row: a, Value: 1})
	limit := []relax.Movable{{Limit: relax.Variable(x, relax.Upper), Penalty: 1}}
	got, err := relax.Least(context.Background(), engine(), m, limit)
	if err != nil || len(got.Moves) != 1 || math.Abs(got.Moves[0].By-3) > 1e-9 || math.Abs(got.Moves[0].Bound-5) > 1e-9 || math.Abs(got.X[x]-5) > 1e-9 {
		t.Errorf("got %+v, %v; want the stock moved by 3 to 5", got, err)
	}
	limit[0].Most = 2
	if got, err = relax.Least(context.Background(), engine(), m, limit); err != nil || got.Possible {
		t.Errorf("got %+v, %v; want impossible within 2", got, err)
	}
	c, err := relax.Find(context.Background(), engine(), m, nil)
	if err != nil || c.Feasible || len(c.Limits) != 0 {
		t.Errorf("got %+v, %v; want a contradiction in what is given", c, err)
	}
}

func TestBadLimits(t *testing.T) {
	m := &solver.Model{}
	m.AddRow(solver.Row{Lower: 1, Upper: solver.Inf})
	m.AddVariable(solver.Variable{Upper: 1}, solver.Entry{Row: 0, Value: 1})
	for name, list := range map[string][]relax.Limit{
		"no such row":      {relax.Row(1, relax.Lower)},
		"negative":         {relax.Variable(-1, relax.Upper)},
		"no bound":         {relax.Row(0, relax.Upper)},
		"twice":            {relax.Row(0, relax.Lower), relax.Row(0, relax.Lower)},
		"no such side":     {relax.Row(0, 7)},
		"no such variable": {relax.Variable(1, relax.Lower)},
	} {
		if _, err := relax.Find(context.Background(), engine(), m, list); !errors.Is(err, relax.ErrLimit) {
			t.Errorf("%s: got %v, want ErrLimit", name, err)
		}
	}
	for _, p := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		list := []relax.Movable{{Limit: relax.Row(0, relax.Lower), Penalty: p}}
		if _, err := relax.Least(context.Background(), engine(), m, list); !errors.Is(err, relax.ErrLimit) {
			t.Errorf("penalty %g: got %v, want ErrLimit", p, err)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := relax.Find(ctx, engine(), m, relax.Rows(m)); !errors.Is(err, relax.ErrStopped) || !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: got %v, want ErrStopped", err)
	}
}
