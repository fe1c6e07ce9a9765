package solvertest

import (
	"math/rand/v2"

	"millbase/solver"
)

// Book makes formulas over shared materials: models of the size and shape of
// Blend, the number of the material behind each of their columns, and the prices
// by material. The materials' properties are the same in every formula; each
// formula has limits of its own around a hidden mix that meets them, so each has
// an optimum. rows must be at least 1, materials at least variables.
func Book(seed uint64, formulas, variables, rows, materials int) (models []*solver.Model, items [][]int32, prices []float64) {
	r := rand.New(rand.NewPCG(seed, 3))
	properties := rows + rows/2
	prices = make([]float64, materials)
	property := make([][]float64, materials)
	for k := range prices {
		prices[k] = 1 + 9*r.Float64()
		property[k] = make([]float64, properties)
		for i := range property[k] {
			if r.Float64() < 0.6 {
				property[k][i] = r.Float64()
			}
		}
	}
	for range formulas {
		item := make([]int32, variables)
		for j, k := range r.Perm(materials)[:variables] {
			item[j] = int32(k)
		}
		m := fromMaterials(r, item, property, r.Perm(properties)[:rows-1])
		for j, k := range item {
			m.Variables[j].Cost = prices[k]
		}
		models, items = append(models, m), append(items, item)
	}
	return models, items, prices
}

// fromMaterials is one formula of a Book: the whole, then a limit on each of the
// properties in limits.
func fromMaterials(r *rand.Rand, item []int32, property [][]float64, limits []int) *solver.Model {
	mix, sum := make([]float64, len(item)), 0.0
	for j := range mix {
		mix[j] = 0.5 + r.Float64()
		sum += mix[j]
	}
	m := &solver.Model{}
	m.AddRow(solver.Row{Name: "whole", Lower: 1, Upper: 1})
	for i, p := range limits {
		var at float64
		for j, k := range item {
			at += property[k][p] * mix[j] / sum
		}
		switch i % 3 {
		case 0:
			m.AddRow(atLeast(at * (0.97 + 0.03*r.Float64())))
		case 1:
			m.AddRow(atMost(at * (1.0 + 0.03*r.Float64())))
		default:
			m.AddRow(solver.Row{Lower: at * 0.96, Upper: at * 1.05})
		}
	}
	for j, k := range item {
		entries := []solver.Entry{{Row: 0, Value: 1}}
		for i, p := range limits {
			entries = append(entries, solver.Entry{Row: i + 1, Value: property[k][p]})
		}
		m.AddVariable(solver.Variable{Upper: mix[j]/sum + 0.05 + 0.3*r.Float64()}, entries...)
	}
	return m
}
