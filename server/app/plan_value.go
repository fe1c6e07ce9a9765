package app

import (
	"math"

	"millbase/inventory/formula"
)

// stockBefore is the part of its price at which stock counts unless the request says,
// so that it is used before more is bought.
const stockBefore = 0.98

// valueStock values the lots, where the request names no basis, at the least that
// they cost to buy or make again: what they cost once is spent either way. What
// nobody offers and no formula makes keeps its own cost.
func (j *jointPlanning) valueStock() error {
	if j.req.Book.Basis != 0 {
		return nil
	}
	v := valuing{j, map[string]float64{}}
	for i := range j.p.Supplies {
		s := &j.p.Supplies[i]
		if j.supplies[i].lot == "" {
			continue
		}
		if again, ok := v.again(j.p.Materials[s.Material].ID); ok {
			s.CostPerKg = again * stockBefore
			if s.ScrapCost > 0 {
				s.ScrapCost = s.CostPerKg
			}
		}
	}
	return nil
}

// valuing finds what materials cost to buy or make again.
type valuing struct {
	j     *jointPlanning
	known map[string]float64 // NaN: neither can be done, or it is being looked at
}

func (v valuing) again(material string) (perKg float64, ok bool) {
	if known, seen := v.known[material]; seen {
		return known, !math.IsNaN(known)
	}
	v.known[material] = math.NaN()
	low := math.Inf(1)
	if at, is := v.j.at[material]; is {
		low = v.j.cheapest(at)
	}
	if f, made := v.j.supply.formulas.byMaterial[material]; made && math.IsInf(low, 1) {
		low = v.ofFormula(f)
	}
	if math.IsInf(low, 1) {
		return 0, false
	}
	v.known[material] = low
	return low, true
}

// ofFormula is what a kg costs in materials.
func (v valuing) ofFormula(f formula.Formula) float64 {
	sum := 0.0
	for _, in := range f.Ingredients {
		again, ok := v.again(in.Material)
		if !ok {
			return math.Inf(1)
		}
		sum += again * stockBefore * float64(in.PartsPerMillion) / float64(f.Yield())
	}
	return sum
}
