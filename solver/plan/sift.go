package plan

import (
	"context"
	"math"
	"slices"

	"millbase/solver"
)

// sifted is the linear program without the columns that are far from coming in: most
// of what a plan could use it never does. What was left out is priced after each
// solve, and put back where it would come in.
type sifted struct {
	model   solver.Model
	columns []int32 // of the whole model, rising
}

// nearMoney is how far from coming in, per kg, a column may be to stay.
const nearMoney = 0.15

// sift picks the columns of the optimum that are basic, away from their lower bound
// or near to coming in, with those of more.
func sift(m *solver.Model, at *proven, more []int32) *sifted {
	s := &sifted{}
	s.model.Rows = slices.Clone(m.Rows)
	kept := make([]bool, len(m.Variables))
	for _, j := range more {
		kept[j] = true
	}
	for j := range m.Variables {
		v := &m.Variables[j]
		if kept[j] || at.Basis.Variables[j] == solver.Basic || math.Abs(at.ReducedCost[j]) <= nearMoney || at.X[j] != v.Lower || v.Lower != 0 {
			s.columns = append(s.columns, int32(j))
			rows, values := m.Column(j)
			s.model.Variables = append(s.model.Variables, *v)
			if len(s.model.Start) == 0 {
				s.model.Start = append(s.model.Start, 0)
			}
			s.model.Index, s.model.Value = append(s.model.Index, rows...), append(s.model.Value, values...)
			s.model.Start = append(s.model.Start, int32(len(s.model.Index)))
		}
	}
	return s
}

// resolve solves a model from the optimum that it had with other bounds or costs, by
// sifting; nil where that does not lead to one.
func resolve(ctx context.Context, lp solver.Engine, m *solver.Model, was *proven) (*proven, error) {
	basis := was.Basis
	var more []int32
	for range 6 {
		s := sift(m, was, more)
		start := &solver.Basis{Rows: basis.Rows, Variables: make([]solver.VarStatus, len(s.columns))}
		for k, j := range s.columns {
			start.Variables[k] = basis.Variables[j]
		}
		got, err := lp.Solve(ctx, &s.model, solver.Options{Start: start})
		if err != nil || got.Stop != solver.StopOptimal || got.Basis == nil {
			return nil, ctx.Err()
		}
		whole, entering := s.expand(m, got)
		if len(entering) == 0 {
			return prove(m, whole), nil
		}
		basis, more = whole.Basis, append(more, entering...)
	}
	return nil, nil
}

// expand is a solution of the sifted model as one of the whole, and the columns left
// out that would come in.
func (s *sifted) expand(m *solver.Model, got *solver.Solution) (*solver.Solution, []int32) {
	n := len(m.Variables)
	out := *got
	out.X, out.ReducedCost = make([]float64, n), make([]float64, n)
	out.Basis = &solver.Basis{Rows: got.Basis.Rows, Variables: make([]solver.VarStatus, n)}
	out.Ranging = nil
	var entering []int32
	k := 0
	for j := range m.Variables {
		if k < len(s.columns) && int(s.columns[k]) == j {
			out.X[j], out.ReducedCost[j], out.Basis.Variables[j] = got.X[k], got.ReducedCost[k], got.Basis.Variables[k]
			k++
			continue
		}
		v := &m.Variables[j]
		price := v.Cost
		rows, values := m.Column(j)
		for e, i := range rows {
			price -= got.RowDual[i] * values[e]
		}
		out.X[j], out.ReducedCost[j], out.Basis.Variables[j] = v.Lower, price, solver.AtLower
		if price < -1e-9*(1+math.Abs(v.Cost)) {
			entering = append(entering, int32(j))
		}
	}
	return &out, entering
}
