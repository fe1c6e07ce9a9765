package formulation_test

import (
	"context"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"millbase/inventory/mass"
	"millbase/solver"
	"millbase/solver/formulation"
)

// Pots that can't be brought back whole: the proof holds, and the part that is kept
// is the largest, by bisection on pots of which a part was weighed out.
func TestKeptPartIsTheLargest(t *testing.T) {
	outcomes := map[formulation.CorrectionOutcome]int{}
	rapid.Check(t, func(r *rapid.T) {
		s := spoil(r)
		// Less room and less of everything than the hidden additions need, but more
		// than milligrams of it.
		less := rapid.Float64Range(0.01, 0.7).Draw(r, "room")
		room := s.Capacity.Kilograms() - s.potKg
		s.Capacity = mass.RoundKilograms(s.potKg+room*less, mass.RoundCeil)
		if rapid.Bool().Draw(r, "little stock") {
			for j := range s.Candidates {
				s.Candidates[j].Available = mass.RoundKilograms(s.hidden[j]*less, mass.RoundHalfEven)
			}
		}
		a := correct(r, s.CorrectionProblem)
		outcomes[a.Outcome]++
		switch a.Outcome {
		case formulation.InPart, formulation.Impossible:
		default:
			return
		}
		if _, feasible := s.gonum(r); feasible {
			r.Fatal("gonum corrects all of it")
		}
		if !a.Proof.OK || a.Proof.Claim != solver.StopInfeasible {
			r.Errorf("not proven: %+v", a.Proof)
		}
		kg := make([]float64, len(s.Candidates))
		for _, x := range a.Additions {
			kg[x.Candidate] = x.Mass.Kilograms()
		}
		part := float64(a.Kept) / float64(a.Pot)
		if a.Outcome == formulation.InPart {
			s.check(r, part, kg, a)
			if a.Kept+a.Added > s.Capacity+mass.Milligram {
				r.Errorf("%s and %s in a pot of %s", a.Kept, a.Added, s.Capacity)
			}
		}
		low, high := 0.0, 1.0
		for high-low > 2e-5 {
			mid := (low + high) / 2
			if s.correctable(r, mid) {
				low = mid
			} else {
				high = mid
			}
		}
		near(r, "the largest part", part, low, 1e-4)
		s.clashIsSmall(r, a)
	})
	if outcomes[formulation.InPart] < 20 {
		t.Errorf("too few kept in part: %v", outcomes)
	}
}

// correctable reports whether a part of the pot can be brought back whole.
func (s *spoiled) correctable(r tester, part float64) bool {
	q := *s.CorrectionProblem
	q.Pot.Masses = slices.Clone(q.Pot.Masses)
	for i, m := range q.Pot.Masses {
		q.Pot.Masses[i] = mass.RoundKilograms(m.Kilograms()*part, mass.RoundHalfEven)
	}
	a, err := formulation.Correct(context.Background(), engine, &q)
	if err != nil {
		r.Fatalf("part %g: capacity %s, pot %g kg, masses %v, tests %v: %v", part, q.Capacity, s.potKg, q.Pot.Masses, q.Pot.Tests, err)
	}
	return a.Outcome == formulation.Corrected || a.Outcome == formulation.InLimits
}

// clashIsSmall drops each member of the clash in turn: the rest can be met.
func (s *spoiled) clashIsSmall(r tester, a *formulation.Correction) {
	if a.Clash == nil {
		r.Errorf("no clash is named: %v", a.Assumed)
		return
	}
	possible := func(capacity bool, limit, stock int) bool {
		q := *s.CorrectionProblem
		q.Limits, q.Candidates = nil, slices.Clone(s.Candidates)
		for _, i := range a.Clash.Limits {
			if i != limit {
				q.Limits = append(q.Limits, s.Limits[i])
			}
		}
		for j := range q.Candidates {
			c := &q.Candidates[j]
			if c.Available != 0 && (!slices.Contains(a.Clash.Stock, j) || j == stock) {
				c.Available = -1
			}
		}
		if !a.Clash.Capacity || !capacity {
			q.Capacity *= 1000
		}
		o := correct(r, &q).Outcome
		return o == formulation.Corrected || o == formulation.InLimits
	}
	if possible(true, -1, -1) {
		r.Errorf("the clash %+v can be met", a.Clash)
	}
	for _, i := range a.Clash.Limits {
		if !possible(true, i, -1) {
			r.Errorf("the clash %+v holds without limit %d", a.Clash, i)
		}
	}
	for _, j := range a.Clash.Stock {
		if !possible(true, -1, j) {
			r.Errorf("the clash %+v holds without stock %d", a.Clash, j)
		}
	}
	if a.Clash.Capacity && !possible(false, -1, -1) {
		r.Errorf("the clash %+v holds with a larger pot", a.Clash)
	}
}
