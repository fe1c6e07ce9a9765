package rpc

import (
	"context"

	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/formulation"
)

// CorrectionServer serves the correction of batches.
type CorrectionServer struct {
	millbasev1.UnimplementedCorrectionServiceServer
	book *app.Book
}

// NewCorrectionServer serves the book's corrections.
func NewCorrectionServer(book *app.Book) *CorrectionServer { return &CorrectionServer{book: book} }

// CorrectBatch implements the service.
func (s *CorrectionServer) CorrectBatch(ctx context.Context, req *millbasev1.CorrectBatchRequest) (*millbasev1.CorrectBatchResponse, error) {
	f := &fields{}
	in := f.pot(req)
	if err := f.err(); err != nil {
		return nil, err
	}
	c, err := s.book.CorrectBatch(ctx, in)
	if err != nil {
		return nil, candidateFields(limitFields(weighingFields(err, req.GetWeighing())))
	}
	return correctedOut(c), nil
}

var corrections = map[formulation.CorrectionOutcome]millbasev1.CorrectionOutcome{
	formulation.InLimits:   millbasev1.CorrectionOutcome_CORRECTION_OUTCOME_IN_LIMITS,
	formulation.Corrected:  millbasev1.CorrectionOutcome_CORRECTION_OUTCOME_CORRECTED,
	formulation.InPart:     millbasev1.CorrectionOutcome_CORRECTION_OUTCOME_IN_PART,
	formulation.Impossible: millbasev1.CorrectionOutcome_CORRECTION_OUTCOME_IMPOSSIBLE,
}

func correctedOut(c *app.Corrected) *millbasev1.CorrectBatchResponse {
	a, v := c.Answer, c.View
	out := &millbasev1.CorrectBatchResponse{
		Outcome:      corrections[a.Outcome],
		CurrencyCode: v.Currency,
		PotKg:        kg(a.Pot),
		KeptKg:       kg(a.Kept),
		TakenOutKg:   kg(a.Pot - a.Kept),
		AddedKg:      kg(a.Added),
		AddedCost:    moneyOut(c.Cost),
		Summary:      c.Summary,
		Assumptions:  v.Assumptions,
		Cautions:     c.Cautions,
		Proof: &millbasev1.Proof{Certified: a.Proof.OK, PrimalViolation: finiteOr0(a.Proof.Primal), DualViolation: finiteOr0(a.Proof.Dual),
			Gap: finiteOr0(a.Proof.Gap), Engine: a.Engine, Candidates: int32(len(v.Problem.Candidates)), Limits: int32(len(v.Problem.Limits))},
	}
	components := a.Components()
	for i := range components {
		out.Additions = append(out.Additions, componentOut(v, &components[i]))
	}
	for i := range a.Before {
		out.Before = append(out.Before, limitResultOut(v, &a.Before[i]))
	}
	for i := range a.After {
		out.After = append(out.After, limitResultOut(v, &a.After[i]))
	}
	if a.Clash != nil {
		out.Clash, out.CapacityClashes = correctionClashOut(c), a.Clash.Capacity
	}
	for _, w := range c.WorkOff {
		out.WorkOff = append(out.WorkOff, &millbasev1.WorkOffPlace{Into: w.Into, Title: w.Title, MostShare: w.Share, MostKg: kg(w.Mass), OfKg: kg(w.Of)})
	}
	for _, l := range v.LeftOut {
		out.LeftOut = append(out.LeftOut, &millbasev1.LeftOutCandidate{Candidate: l.Candidate, Title: l.Title, Reason: l.Why})
	}
	return out
}

func correctionClashOut(c *app.Corrected) *millbasev1.Clash {
	out := &millbasev1.Clash{Summary: c.Summary}
	for _, i := range c.Answer.Clash.Limits {
		out.LimitIds = append(out.LimitIds, c.View.Problem.Limits[i].ID)
	}
	for _, j := range c.Answer.Clash.Stock {
		out.Stocks = append(out.Stocks, c.View.Problem.Candidates[j].ID)
	}
	return out
}
