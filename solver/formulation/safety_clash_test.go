package formulation_test

import (
	"testing"

	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

// Where only the safety is in the way: the highest confidence that is said to be
// possible is, and a little more is not; the movements that are said to help do, at
// the cost that is said; and so does each single one.
func TestImpossibleSafety(t *testing.T) {
	impossible, single := 0, 0
	for seed := range uint64(60) {
		p := formulationtest.Problem(seed, 10+int(seed%6), 4+int(seed%8))
		formulationtest.Uncertain(seed, p)
		formulationtest.Confident(seed, p, seed%3 == 0)
		for i := range p.Limits {
			if l := &p.Limits[i]; l.Confidence > 0 {
				l.Confidence = 0.99
			}
		}
		a := optimise(t, p)
		if a.Outcome != formulation.Infeasible {
			continue
		}
		impossible++
		if !a.Safety.Nominal || len(a.Clash.Limits) == 0 || !a.Clash.Proved {
			t.Errorf("seed %d: %+v %+v %v", seed, a.Safety, a.Clash, a.Assumed)
			continue
		}
		checkHighest(t, seed, p, a)
		q := p
		for _, m := range a.Clash.Movements {
			q = apply(q, m, 1)
		}
		near(t, "cost after the movements", optimal(t, q).CostPerKg, a.Clash.MovedCostPerKg, 1e-4*a.Clash.MovedCostPerKg)
		for _, m := range a.Clash.Single {
			single++
			near(t, "cost after one movement", optimal(t, apply(p, m, 1)).CostPerKg, m.CostPerKg, 1e-4*m.CostPerKg)
			if optimise(t, apply(p, m, 0.98)).Outcome == formulation.Optimal {
				t.Errorf("seed %d: less of the movement %+v would do", seed, m)
			}
		}
	}
	t.Logf("%d impossible, %d single movements", impossible, single)
	if impossible < 5 || single < 5 {
		t.Errorf("%d impossible, %d single movements", impossible, single)
	}
}

func checkHighest(t *testing.T, seed uint64, p *formulation.Problem, a *formulation.Answer) {
	t.Helper()
	try := func(change func(*formulation.Limit)) formulation.Outcome {
		q := clone(p)
		for i := range q.Limits {
			if q.Limits[i].Confidence > 0 {
				change(&q.Limits[i])
			}
		}
		return optimise(t, q).Outcome
	}
	if c := a.Safety.Confidence; c > 0.5 {
		if try(func(l *formulation.Limit) { l.Confidence = min(l.Confidence, c) }) != formulation.Optimal {
			t.Errorf("seed %d: confidence %g is not possible", seed, c)
		}
		if try(func(l *formulation.Limit) { l.Confidence = min(l.Confidence, c+2e-4) }) == formulation.Optimal {
			t.Errorf("seed %d: more than %g is possible", seed, c)
		}
	}
	for _, s := range a.Safety.Limits {
		if s.Highest == 0 {
			continue
		}
		q := clone(p)
		l := &q.Limits[s.Limit]
		if l.Budget > 0 {
			l.Budget = s.Highest
		} else if s.Highest > 0.5 {
			l.Confidence = s.Highest
		} else {
			l.Confidence = 0
		}
		if optimise(t, q).Outcome != formulation.Optimal {
			t.Errorf("seed %d: limit %d can't have %g", seed, s.Limit, s.Highest)
		}
	}
}
