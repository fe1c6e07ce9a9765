package rpc

import (
	"context"

	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// CostFormula implements the service.
func (s *FormulaServer) CostFormula(ctx context.Context, req *millbasev1.CostFormulaRequest) (*millbasev1.FormulaCost, error) {
	f := &fields{}
	q := app.CostQuery{
		Formula:  f.id("name", req.GetName(), formulas),
		Quantity: f.positive("quantity_kg", req.GetQuantityKg()),
		Basis:    f.basis("cost_basis", req.GetCostBasis()),
		Date:     f.date("date", req.GetDate()),
		Pack:     req.GetPack(),
		Sequence: app.Sequence{Lightness: req.Lightness, After: req.AfterLightness},
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	c, err := s.book.CostFormula(ctx, q)
	if err != nil {
		return nil, err
	}
	return &millbasev1.FormulaCost{
		Formula: nameOf(formulas, c.Formula), QuantityKg: kg(c.Quantity), ChargeKg: kg(c.Charge), Lines: each(c.Lines, costLineOut),
		Total: moneyOut(c.Total), PerKg: amountOut(c.PerKg.Currency, c.PerKg.Amount), CostBasis: basisOut(c.Basis), Assumptions: c.Assumptions,
		ByBasis: each(c.ByBasis, basisCostOut),
	}, nil
}

func basisCostOut(c app.BasisCost) *millbasev1.BasisCost {
	return &millbasev1.BasisCost{CostBasis: basisOut(c.Basis), Materials: moneyOut(c.Materials), Total: moneyOut(c.Total), Difference: moneyOut(c.Difference), Missing: c.Missing}
}

func costLineOut(l app.CostLine) *millbasev1.CostLine {
	return &millbasev1.CostLine{
		Kind: enum[millbasev1.CostLine_Kind](string(l.Kind)), Title: l.Title, Level: int32(l.Level), QuantityKg: kg(l.Quantity),
		Hours: l.Time.Hours(), Rate: moneyOut(l.Rate), Amount: moneyOut(l.Amount),
	}
}
