package rpc

import (
	"context"
	"fmt"

	"github.com/shopspring/decimal"

	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/formulation"
)

// CompareFormulas implements the service.
func (s *StudyServer) CompareFormulas(ctx context.Context, req *millbasev1.CompareFormulasRequest) (*millbasev1.CompareFormulasResponse, error) {
	f := &fields{}
	in := app.CompareRequest{
		First:         f.formulaRef("first", req.GetFirst()),
		Second:        f.formulaRef("second", req.GetSecond()),
		Specification: f.optionalID("specification", req.GetSpecification(), specifications),
		Limits:        f.limits("limits", req.GetLimits()),
		Basis:         f.basis("cost_basis", req.GetCostBasis()),
		Date:          f.date("date", req.GetDate()),
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	c, err := s.book.CompareFormulas(ctx, in)
	if err != nil {
		return nil, candidateFields(limitFields(err))
	}
	return comparedOut(c), nil
}

// formulaRef reads which formula to compare.
func (f *fields) formulaRef(field string, m *millbasev1.FormulaRef) app.FormulaRef {
	out := app.FormulaRef{
		Formula: f.optionalID(field+".formula", m.GetFormula(), formulas),
		Batch:   f.optionalID(field+".batch", m.GetBatch(), batches),
		Title:   m.GetTitle(),
	}
	if m.GetQuestion() != nil {
		q := &fields{}
		asked := q.question(m.GetQuestion())
		f.bad = append(f.bad, inside(field+".question", q.bad)...)
		out.Question = &asked
	}
	for i, x := range m.GetComponents() {
		out.Components = append(out.Components, app.PotComponent{Candidate: x.GetCandidate(),
			Mass: f.positive(fmt.Sprintf("%s.components[%d].mass_kg", field, i), x.GetMassKg())})
	}
	return out
}

func comparedOut(c *app.Compared) *millbasev1.CompareFormulasResponse {
	out := &millbasev1.CompareFormulasResponse{FirstTitle: c.Titles[0], SecondTitle: c.Titles[1], CurrencyCode: c.Currency,
		FirstCostPerKg: amountOut(c.Currency, c.CostPerKg[0].RoundBank(4)), SecondCostPerKg: amountOut(c.Currency, c.CostPerKg[1].RoundBank(4)),
		Summary: c.Summary, Assumptions: c.Assumptions}
	for _, x := range c.Components {
		of := &c.Problem.Candidates[x.Candidate]
		out.Components = append(out.Components, &millbasev1.ComparedComponent{Candidate: of.ID, Title: of.Name(),
			FirstShare: share(x.Shares[0]), SecondShare: share(x.Shares[1]),
			PricePerKg: amountOut(c.Currency, x.PricePerKg), Difference: amountOut(c.Currency, x.Difference)})
	}
	for k := range c.Problem.Limits {
		l, first, second := &c.Problem.Limits[k], &c.Reports[0][k], &c.Reports[1][k]
		out.Limits = append(out.Limits, &millbasev1.ComparedLimit{LimitId: l.ID, Title: l.Title, Unit: l.Unit(c.Problem.Catalogue),
			Lower: l.Lower, Upper: l.Upper, FirstValue: valueOut(first), SecondValue: valueOut(second), FirstMet: first.Met, SecondMet: second.Met})
	}
	return out
}

func share(d decimal.Decimal) float64 {
	v, _ := d.Float64()
	return v
}

// valueOut is absent where a limit has no value.
func valueOut(r *formulation.LimitReport) *float64 {
	if r.Why != "" {
		return nil
	}
	return finite(&r.Value)
}
