package formulation_test

import (
	"math"
	"math/bits"
	"slices"
	"testing"

	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

// applyAll moves everything that a way moves.
func applyAll(p *formulation.Problem, moves []formulation.Movement, part float64) *formulation.Problem {
	for _, m := range moves {
		p = apply(p, m, part)
	}
	return p
}

// Every way is enough, none of its movements can be left out, a little less of it
// is not enough, and they stand in order of weight.
func TestWaysOut(t *testing.T) {
	several, joint := 0, 0
	for seed := range uint64(40) {
		p := formulationtest.Impossible(seed, 12+int(seed%30), 3+int(seed%14))
		a := optimise(t, p)
		if a.Outcome != formulation.Infeasible {
			continue
		}
		ways := a.Clash.Ways
		if len(ways) == 0 {
			t.Errorf("seed %d: no way out", seed)
			continue
		}
		if len(ways) > 1 {
			several++
		}
		if ways[0].Weight > a.Clash.Weight*(1+1e-6) {
			t.Errorf("seed %d: the lightest way weighs %g, the least movement %g", seed, ways[0].Weight, a.Clash.Weight)
		}
		for i, w := range ways {
			if i > 0 && w.Weight < ways[i-1].Weight {
				t.Errorf("seed %d: ways are not in order", seed)
			}
			moved := applyAll(p, w.Movements, 1)
			b, err := formulation.Optimise(t.Context(), engine, moved)
			if err != nil || b.Outcome != formulation.Optimal || math.Abs(b.CostPerKg-w.CostPerKg) > 1e-4*math.Abs(w.CostPerKg) {
				t.Errorf("seed %d: way %d does not lead out at %g: %v %+v", seed, i, w.CostPerKg, err, b)
			}
			if len(w.Movements) == 1 {
				continue
			}
			joint++
			if feasible(t, applyAll(p, w.Movements, 0.99)) {
				t.Errorf("seed %d: way %d is more than it takes: %+v", seed, i, w.Movements)
			}
			for k := range w.Movements {
				if feasible(t, applyAll(p, slices.Delete(slices.Clone(w.Movements), k, k+1), 1)) {
					t.Errorf("seed %d: way %d does without movement %d", seed, i, k)
				}
			}
		}
	}
	if several < 8 || joint < 8 {
		t.Errorf("%d problems had several ways, %d ways move more than one thing: nothing is tested", several, joint)
	}
}

// opened is p with some sides of limits, by the bits of a mask, left out.
func opened(p *formulation.Problem, mask uint) *formulation.Problem {
	out := *p
	out.Limits = slices.Clone(p.Limits)
	for i := range out.Limits {
		if mask>>i&1 == 1 {
			out.Limits[i].Lower, out.Limits[i].Upper = nil, nil
		}
	}
	keep := out.Limits[:0]
	for _, l := range out.Limits {
		if l.Lower != nil || l.Upper != nil {
			keep = append(keep, l)
		}
	}
	out.Limits = keep
	return &out
}

// On problems of few limits and all the stock one could wish for, every smallest
// set of limits that has to give, found by trying all sets, is among the ways.
func TestWaysAgainstAllSubsets(t *testing.T) {
	found := 0
	for seed := range uint64(60) {
		p := formulationtest.Impossible(seed, 10, 5)
		for j := range p.Candidates {
			p.Candidates[j].Available, p.Candidates[j].AtLeast = -1, 0
		}
		a := optimise(t, p)
		if a.Outcome != formulation.Infeasible || len(a.Clash.Ways) == 8 {
			continue
		}
		var want []uint
		for size := 1; size <= 3 && len(want) == 0; size++ {
			for mask := range uint(1) << len(p.Limits) {
				if bits.OnesCount(mask) == size && feasible(t, opened(p, mask)) {
					want = append(want, mask)
				}
			}
		}
		for _, mask := range want {
			found++
			if !slices.ContainsFunc(a.Clash.Ways, func(w formulation.Way) bool {
				var of uint
				for _, m := range w.Movements {
					if m.Limit >= 0 {
						of |= 1 << m.Limit
					}
				}
				return of == mask
			}) {
				t.Errorf("seed %d: moving limits %b is a way, and not listed: %+v", seed, mask, a.Clash.Ways)
			}
		}
	}
	if found < 20 {
		t.Errorf("only %d ways to find: nothing is tested", found)
	}
}
