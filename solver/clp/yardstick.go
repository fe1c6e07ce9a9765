package clp

import (
	"runtime"

	lanl "github.com/lanl/clp"

	"millbase/solver"
)

// Yardstick solves a model by lanl/clp as its documentation shows it, columns
// appended one by one, Dual, and returns the objective. It is what benchmarks
// measure against, and trusts the model: no validation, no certificate.
func Yardstick(m *solver.Model) float64 {
	matrix := lanl.NewPackedMatrix()
	costs, bounds := make([]float64, len(m.Variables)), make([]lanl.Bounds, len(m.Variables))
	for j := range m.Variables {
		v := &m.Variables[j]
		index, values := m.Column(j)
		column := make([]lanl.Nonzero, 0, len(index))
		for k, i := range index {
			column = append(column, lanl.Nonzero{Index: int(i), Value: values[k]})
		}
		matrix.AppendColumn(column)
		costs[j], bounds[j] = v.Cost, lanl.Bounds{Lower: v.Lower, Upper: v.Upper}
	}
	limits := make([]lanl.Bounds, len(m.Rows))
	for i := range m.Rows {
		limits[i] = lanl.Bounds{Lower: m.Rows[i].Lower, Upper: m.Rows[i].Upper}
	}
	s := lanl.NewSimplex()
	s.LoadProblem(matrix, bounds, costs, limits, nil)
	s.SetOptimizationDirection(lanl.Minimize)
	s.Dual(lanl.NoValuesPass, lanl.NoStartFinishOptions)
	s.PrimalColumnSolution()
	s.DualColumnSolution()
	v := s.ObjectiveValue()
	runtime.KeepAlive(s)
	return v
}
