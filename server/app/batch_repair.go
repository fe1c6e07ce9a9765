package app

import (
	"millbase/inventory/mass"
	"millbase/solver/formulation"
)

// repairSteps is how many divisions of the scale a repair may move.
const repairSteps = 40

// repair looks for weights on the scale that meet every limit near those that
// rounding gave: it moves one division at a time from one component to another,
// each time the move that brings the limits nearest to being met, the cheaper
// one on a tie. ok is false when no move helps any more. The total stays as it
// is.
func repair(p *formulation.Problem, masses []mass.Mass, division mass.Mass) (fixed []mass.Mass, ok bool) {
	r := newRepairing(p, masses, division)
	missed, err := r.missed()
	for range repairSteps {
		if err != nil || missed == 0 {
			break
		}
		var next float64
		if next, err = r.step(missed); next >= missed {
			break
		}
		missed = next
	}
	if err != nil || missed > 0 {
		return nil, false
	}
	out := make([]mass.Mass, len(masses))
	for k, j := range r.of {
		out[j] = r.mass[k]
	}
	return out, true
}

// repairing is the part of a problem that is in the pot.
type repairing struct {
	problem  formulation.Problem
	of       []int // candidates of the whole problem
	mass     []mass.Mass
	kg       []float64
	division mass.Mass
}

func newRepairing(p *formulation.Problem, masses []mass.Mass, division mass.Mass) *repairing {
	r := &repairing{problem: *p, division: division}
	r.problem.Candidates = nil
	for j, m := range masses {
		if m > 0 {
			r.problem.Candidates = append(r.problem.Candidates, p.Candidates[j])
			r.of, r.mass, r.kg = append(r.of, j), append(r.mass, m), append(r.kg, m.Kilograms())
		}
	}
	return r
}

// missed is by how much the limits are missed together, each in parts of its
// size.
func (r *repairing) missed() (sum float64, err error) {
	reports, err := formulation.Evaluate(&r.problem, r.kg)
	for _, x := range reports {
		switch {
		case x.Met:
		case x.Why != "":
			sum++
		default:
			sum += -x.Slack / sizeOf(&r.problem.Limits[x.Limit])
		}
	}
	return sum, err
}

// step makes the best move, if it is better than now.
func (r *repairing) step(now float64) (float64, error) {
	best, from, to, price := now, -1, -1, 0.0
	for i := range r.mass {
		for j := range r.mass {
			if i == j || r.mass[i] < r.division || r.mass[j]+r.division > r.problem.Candidates[j].Available {
				continue
			}
			r.move(i, j, r.division)
			missed, err := r.missed()
			r.move(i, j, -r.division)
			if err != nil {
				return now, err
			}
			dearer := r.problem.Candidates[j].CostPerKg - r.problem.Candidates[i].CostPerKg
			if missed < best || missed == best && from >= 0 && dearer < price {
				best, from, to, price = missed, i, j, dearer
			}
		}
	}
	if from >= 0 {
		r.move(from, to, r.division)
	}
	return best, nil
}

func (r *repairing) move(from, to int, m mass.Mass) {
	r.mass[from] -= m
	r.mass[to] += m
	r.kg[from], r.kg[to] = r.mass[from].Kilograms(), r.mass[to].Kilograms()
}

// sizeOf is the larger bound of a limit, 1 where that is 0.
func sizeOf(l *formulation.Limit) float64 {
	size := 0.0
	for _, b := range []*float64{l.Lower, l.Upper} {
		if b != nil {
			size = max(size, *b, -*b)
		}
	}
	if size == 0 {
		return 1
	}
	return size
}
