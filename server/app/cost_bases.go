package app

import (
	"errors"
	"slices"

	"millbase/costing/money"
	"millbase/costing/rollup"
	"millbase/costing/valuation"
	"millbase/inventory/formula"
)

// BasisCost is a cost on one basis, in the plant's currency. Without a currency
// there is none, and Missing says why.
type BasisCost struct {
	Basis      valuation.Basis
	Materials  money.Money // bought, through all levels
	Total      money.Money
	Difference money.Money // Total less that on the basis asked for
	Missing    []string    // figures that the basis lacks; others took their place
}

// byBasis costs what was costed on every basis. A basis on which it can't be costed
// says why: through another basis a base ink may be costed through its formula, of
// which nothing need be known where it is valued as a lot.
func (c *costing) byBasis(f formula.Formula, asked FormulaCost, cans []rollup.Can) ([]BasisCost, error) {
	out := []BasisCost{basisCost(asked, asked)}
	for _, basis := range []valuation.Basis{valuation.Lot, valuation.Average, valuation.Replacement, valuation.Standard} {
		if basis == c.basis {
			continue
		}
		other := c.s.costing(basis, c.date)
		other.sequence, other.tried, other.once = c.sequence, c.tried, c.once
		cost, err := other.costed(f, asked, cans)
		var fault *Fault
		var invalid Invalid
		switch {
		case errors.As(err, &fault), errors.As(err, &invalid):
			out = append(out, BasisCost{Basis: basis, Missing: []string{err.Error()}})
		case err != nil:
			return nil, err
		default:
			out = append(out, basisCost(cost, asked))
		}
	}
	return out, nil
}

// costed costs on this basis what was costed on another.
func (c *costing) costed(f formula.Formula, asked FormulaCost, cans []rollup.Can) (FormulaCost, error) {
	r, err := c.cost(f, asked.Quantity, cans)
	if err != nil {
		return FormulaCost{}, err
	}
	return c.answer(f, r)
}

// basisCost sums a cost up, against the one that was asked for.
func basisCost(cost, asked FormulaCost) BasisCost {
	zero := money.Money{Currency: cost.Total.Currency}
	out := BasisCost{Basis: cost.Basis, Materials: zero, Total: cost.Total, Difference: zero, Missing: slices.Clone(cost.lacks)}
	for _, l := range cost.Lines {
		if l.Kind == CostMaterial {
			out.Materials.Amount = out.Materials.Amount.Add(l.Amount.Amount)
		}
	}
	out.Difference.Amount = cost.Total.Amount.Sub(asked.Total.Amount)
	return out
}
