package formulation

import (
	"context"
	"sort"

	"millbase/inventory/mass"
	"millbase/solver"
)

// UseUp says what the preference for using some candidates up costs.
//
// With premiums u_j the formula is the cheapest by sum (c_j-u_j) x_j. Its real
// cost is sum c_j x_j, which no formula undercuts by more than it earns in
// premiums: Extra is at least 0 and at most Premium.
type UseUp struct {
	// Premium is earned by the formula, money per kg of ink.
	Premium float64
	// CostPerKgWithout is of the cheapest formula when no premium is offered.
	CostPerKgWithout float64
	// Extra is what the preference costs: CostPerKg - CostPerKgWithout.
	Extra float64
	// Lots are the candidates with a premium, those that take part: used ones
	// first, then in the order of the problem.
	Lots []LotUse
}

// LotUse is one candidate with a premium.
type LotUse struct {
	Candidate int
	Mass      mass.Mass // used in the formula
	// KgWithout is the mass in the cheapest formula when no premium is offered, kg.
	KgWithout float64
	Premium   float64 // earned for Mass, money
	// Extra is what its use costs per kg of ink: the real cost of the formula
	// less that of the best one, by the same premiums, without this candidate.
	// Below 0 it saves. 0 when it is not used, or when Needed.
	Extra float64
	// Needed is true when there is no formula without it.
	Needed bool
	// Unknown is true when there was no time to find out what its use costs.
	Unknown bool
}

// maxLotUses is the largest number of candidates of which the cost of using each
// is worked out: the used ones with the largest premiums.
const maxLotUses = 50

// premium is what shares x earn, money per kg of ink.
func (b *built) premium(x []float64) float64 {
	sum := 0.0
	for k, j := range b.active {
		sum += x[k] * b.p.Candidates[j].UsePremium
	}
	return sum
}

// realCost is what shares x cost, money per kg of ink.
func (b *built) realCost(x []float64) float64 {
	sum := 0.0
	for k, j := range b.active {
		sum += x[k] * b.p.Candidates[j].CostPerKg
	}
	return sum
}

// useUp works out what premiums cost; nil where there are none, or no time.
func (b *built) useUp(ctx context.Context, engine solver.Engine, a *Answer, premium float64) (*UseUp, error) {
	var lots []LotUse
	var columns []int
	used := make(map[int]mass.Mass, len(a.Components))
	for _, c := range a.Components {
		used[c.Candidate] = c.Mass
	}
	for k, j := range b.active {
		if u := b.p.Candidates[j].UsePremium; u > 0 {
			m := used[int(j)]
			lots = append(lots, LotUse{Candidate: int(j), Mass: m, Premium: u * m.Kilograms()})
			columns = append(columns, k)
		}
	}
	if len(lots) == 0 {
		return nil, nil
	}
	without, err := b.again(ctx, engine, a.Solution.Basis, func(m *solver.Model) {
		for k, j := range b.active {
			m.Variables[k].Cost = b.p.Candidates[j].CostPerKg
		}
	})
	if err != nil || without == nil {
		return nil, err
	}
	out := &UseUp{Premium: premium, CostPerKgWithout: b.realCost(without)}
	out.Extra = max(0, a.CostPerKg-out.CostPerKgWithout) // below 0 is rounding
	for i := range lots {
		lots[i].KgWithout = without[columns[i]] * b.p.Quantity.Kilograms()
	}
	if err := b.eachWithout(ctx, engine, a, lots, columns); err != nil {
		return nil, err
	}
	sort.SliceStable(lots, func(x, y int) bool { return lots[x].Mass > 0 && lots[y].Mass == 0 })
	out.Lots = lots
	return out, nil
}

// eachWithout works out what the use of each lot costs, by leaving it out.
func (b *built) eachWithout(ctx context.Context, engine solver.Engine, a *Answer, lots []LotUse, columns []int) error {
	order := make([]int, 0, len(lots))
	for i := range lots {
		if lots[i].Mass > 0 {
			order = append(order, i)
		}
	}
	sort.SliceStable(order, func(x, y int) bool { return lots[order[x]].Premium > lots[order[y]].Premium })
	for n, i := range order {
		l := &lots[i]
		if b.p.Candidates[l.Candidate].AtLeast > 0 {
			l.Needed = true
			continue
		}
		if n >= maxLotUses || ctx.Err() != nil {
			l.Unknown = true
			continue
		}
		x, err := b.again(ctx, engine, a.Solution.Basis, func(m *solver.Model) { m.Variables[columns[i]].Upper = 0 })
		if err != nil {
			return err
		}
		switch {
		case x != nil:
			l.Extra = a.CostPerKg - b.realCost(x)
		case ctx.Err() != nil:
			l.Unknown = true
		default:
			l.Needed = true
		}
	}
	return nil
}

// again solves the model with a change, from the basis of the answer; nil when
// there is no answer that can be used.
func (b *built) again(ctx context.Context, engine solver.Engine, start *solver.Basis, change func(*solver.Model)) ([]float64, error) {
	for round := 0; ; round++ {
		m := b.model.Variant()
		change(m)
		s, _, err := solve(ctx, engine, m, solver.Options{Start: extended(start, len(m.Rows))})
		if err != nil || s.Stop != solver.StopOptimal {
			return nil, unlessNumerical(err)
		}
		if round == maxCuts || b.cut(s.X) == 0 {
			return s.X, nil
		}
		start = s.Basis
	}
}
