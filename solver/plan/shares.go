package plan

import (
	"context"
	"math"

	"millbase/solver"
	"millbase/solver/formulation"
)

// largestShares is the most of each offer that limits let into a blend of anything
// there is, kg put in per kg of ink; +Inf where there is no such limit. Only offers
// with whole orders are asked for.
func (b *built) largestShares(ctx context.Context, lp solver.Engine, r *formulation.Ratios) []float64 {
	m := b.blendModel(r)
	out := make([]float64, len(b.p.Offers))
	var start *solver.Basis
	for o := range b.p.Offers {
		j := len(b.pools) + o
		if !b.p.Offers[o].whole() || r.Missing[j] != "" {
			continue
		}
		m.Variables[j].Cost = -1
		s, err := lp.Solve(ctx, m, solver.Options{Start: start})
		m.Variables[j].Cost = 0
		switch {
		case err == nil && s.Stop == solver.StopOptimal:
			out[o], start = -s.Objective*(1+1e-6)+1e-9, s.Basis
		case err == nil && s.Stop == solver.StopInfeasible:
			return out
		default:
			out[o] = math.Inf(1)
		}
	}
	return out
}

// blendModel is one kg of ink from anything there is that has the values that limits
// ask for.
func (b *built) blendModel(r *formulation.Ratios) *solver.Model {
	m := &solver.Model{}
	m.AddRow(solver.Row{Lower: 1, Upper: 1})
	sides := sidesOf(m, r)
	for j := range b.ofBook {
		entries := []solver.Entry{{Row: 0, Value: b.ofBook[j].Properties.Retained()}}
		most := math.Inf(1)
		if r.Missing[j] != "" {
			most = 0
		} else {
			entries = append(entries, sidesAt(sides, r, 1, j)...)
		}
		m.AddVariable(solver.Variable{Upper: most}, entries...)
	}
	return m
}
