package dense

import (
	"context"
	"testing"

	"millbase/solver"
	"millbase/solver/certify"
	"millbase/solver/clp"
	"millbase/solver/solvertest"
)

// boxed is a blend whose candidates may each give little, so that many end at
// their upper bound.
func boxed(seed uint64, variables, rows int) *solver.Model {
	m := solvertest.Blend(seed, variables, rows)
	for j := range m.Variables {
		m.Variables[j].Upper = 3.0 / float64(variables)
	}
	return m
}

// TestIterations: choosing rows by steepest edge and flipping boxed variables on
// the way keeps the number of exchanges at Clp's.
func TestIterations(t *testing.T) {
	for name, model := range map[string]func(seed uint64, variables, rows int) *solver.Model{"blend": solvertest.Blend, "boxed": boxed} {
		ours, clps := 0, 0
		for seed := range uint64(30) {
			m := model(seed, 60+4*int(seed), 20+int(seed)/2)
			s, err := New().Solve(context.Background(), m, solver.Options{})
			if err != nil || s.Stop != solver.StopOptimal {
				continue // a box may leave no room
			}
			c, err := clp.New().Solve(context.Background(), m, solver.Options{})
			if err != nil {
				t.Fatal(err)
			}
			ours, clps = ours+s.Iterations, clps+c.Iterations
		}
		t.Logf("%s: %d exchanges, Clp %d", name, ours, clps)
		if clps < 300 || ours > clps+clps/5 {
			t.Errorf("%s: %d exchanges, Clp %d; want a fifth more at most", name, ours, clps)
		}
	}
}

// TestClaimsOnlyWhatHolds: a ray that proves nothing is not handed out.
func TestClaimsOnlyWhatHolds(t *testing.T) {
	m := solvertest.Blend(1, 20, 8)
	w := new(work)
	w.load(m)
	w.cold()
	w.proof, w.proofSign = 0, 1
	for o, claim := range map[outcome]solver.Stop{infeasible: solver.StopInfeasible, unbounded: solver.StopUnbounded} {
		if s := w.answer(t.Context(), m, o, false); s.Stop != solver.StopNumerical {
			t.Errorf("a sound model is said to be %v: %+v, want that it gives up", claim, s)
		}
	}
	// The optimum with a figure spoiled: the model's own units tell.
	if o := w.run(m); o != done {
		t.Fatal(o)
	}
	for name, spoil := range map[string]func(){
		"price": func() { w.y[w.tight[0]] += 1 },
		"value": func() { w.xb[0] += 0.5 },
	} {
		w.refined()
		w.prices()
		if s := w.answer(t.Context(), m, done, false); s.Stop != solver.StopOptimal {
			t.Fatalf("%+v", s)
		}
		spoil()
		if s := w.answer(t.Context(), m, done, false); s.Stop != solver.StopNumerical {
			t.Errorf("%s spoiled: %+v, want that it gives up", name, s)
		}
	}
	w.valueError = 1
	if w.inBounds() || w.sound() {
		t.Error("values that do not add up are called sound")
	}
}

// TestBorder: rows that miss each other by less than any tolerance are met; by
// more, they clash.
func TestBorder(t *testing.T) {
	for _, c := range []struct {
		by   float64
		want solver.Stop
	}{{0, solver.StopOptimal}, {3e-10, solver.StopOptimal}, {3e-9, solver.StopOptimal}, {1e-6, solver.StopInfeasible}} {
		m := solvertest.Blend(3, 20, 8)
		first, err := New().Solve(t.Context(), m, solver.Options{})
		if err != nil {
			t.Fatal(err)
		}
		held := m.AddRow(solver.Row{Lower: -solver.Inf, Upper: first.Objective * (1 - c.by)})
		costs := &solver.Model{Rows: m.Rows}
		for j, v := range m.Variables {
			rows, values := m.Column(j)
			entries := []solver.Entry{{Row: held, Value: v.Cost}}
			for k, i := range rows {
				entries = append(entries, solver.Entry{Row: int(i), Value: values[k]})
			}
			v.Cost = float64(j % 3)
			costs.AddVariable(v, entries...)
		}
		s, err := New().Solve(t.Context(), costs, solver.Options{})
		if err != nil || s.Stop != c.want || !certify.Check(costs, s).OK {
			t.Errorf("cheaper than the cheapest by %g: %+v, %v, want %v", c.by, s, err, c.want)
		}
	}
}
