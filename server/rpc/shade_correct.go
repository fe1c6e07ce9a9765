package rpc

import (
	"context"
	"fmt"
	"math"

	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/match"
)

// CorrectShade implements the service.
func (s *ShadeServer) CorrectShade(ctx context.Context, req *millbasev1.CorrectShadeRequest) (*millbasev1.CorrectShadeResponse, error) {
	f := &fields{}
	in := app.ShadeCorrectRequest{
		Pot: f.pot(&millbasev1.CorrectBatchRequest{Batch: req.GetBatch(), Pot: req.GetPot(), Specification: req.GetSpecification(), Limits: req.GetLimits(),
			CapacityKg: req.GetCapacityKg(), LeastMass: req.GetLeastMass(), Date: req.GetDate(), CostBasis: req.GetCostBasis(), Book: req.GetBook(),
			Candidates: req.GetCandidates(), Weighing: req.GetWeighing()}),
		Print:     f.print("print", req.GetPrint()),
		Measured:  f.curve("measured", req.GetMeasured()),
		Target:    f.target("target", req.GetTarget()),
		Viewing:   viewingOf(req.GetViewing()),
		Tolerance: f.number("tolerance_de00", req.GetToleranceDe00()),
	}
	if req.GetSecondViewing() != nil {
		second := viewingOf(req.GetSecondViewing())
		in.Second = &second
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	c, err := s.book.CorrectShade(ctx, in)
	if err != nil {
		return nil, shadeFields(err, req.GetWeighing())
	}
	out := shadeCorrectedOut(c)
	if !app.CallerOf(ctx).Role.SeesCost() {
		withoutCosts(out)
	}
	return out, nil
}

func shadeCorrectedOut(c *app.ShadeCorrected) *millbasev1.CorrectShadeResponse {
	s, p, pot := c.Shade, &c.Problem.Problem, correctedOut(c.Corrected)
	out := &millbasev1.CorrectShadeResponse{
		Outcome:       pot.Outcome,
		Summary:       pot.Summary,
		CurrencyCode:  pot.CurrencyCode,
		PotKg:         pot.PotKg,
		KeptKg:        pot.KeptKg,
		TakenOutKg:    pot.TakenOutKg,
		Additions:     pot.Additions,
		AddedKg:       pot.AddedKg,
		AddedCost:     pot.AddedCost,
		ToleranceDe00: p.Tolerance,
		Measured:      shadeLights(p, &s.Measured),
		Expected:      shadeLights(p, &s.Expected),
		Curve:         curveOut(s.After.Curve),
		After:         shadeLights(p, &s.After),
		CommonFactor:  s.Common,
		LimitsBefore:  pot.Before,
		LimitsAfter:   pot.After,
		LeftOut:       pot.LeftOut,
		Assumptions:   pot.Assumptions,
		Cautions:      pot.Cautions,
		Proof:         pot.Proof,
		TargetCurve:   optionalCurveOut(p.Target.Curve),
	}
	if !math.IsNaN(s.After.Metamerism) {
		out.Metamerism = &s.After.Metamerism
	}
	for i, factor := range s.Strengths {
		of := &c.Problem.Pot.Components[i]
		if c.Problem.PotColourants[i].K != nil {
			out.Strengths = append(out.Strengths, &millbasev1.ShadeStrength{Candidate: of.ID, Title: of.Name(), Factor: factor})
		}
	}
	if s.Reach != nil {
		out.Reach = reachOut(p, s.Reach)
	}
	return out
}

// shadeLights are a colour and the target under both lights.
func shadeLights(p *match.Problem, o *match.Offer) []*millbasev1.ShadeLight {
	return []*millbasev1.ShadeLight{shadeLight(p, p.Viewing, &o.Lab), shadeLight(p, p.SecondViewing(), &o.SecondLab)}
}

// withoutCosts takes out what quality control need not know.
func withoutCosts(out *millbasev1.CorrectShadeResponse) {
	out.AddedCost, out.CurrencyCode = nil, ""
	for _, a := range out.Additions {
		a.PricePerKg, a.Cost, a.UsePremium, a.PriceLow, a.PriceHigh, a.StockWorthPerKg = nil, nil, nil, nil, nil, 0
	}
	for _, limits := range [][]*millbasev1.LimitResult{out.LimitsBefore, out.LimitsAfter} {
		for _, l := range limits {
			l.ShadowPrice, l.HoldsFrom, l.HoldsTo = 0, nil, nil
		}
	}
}

// pot reads what is in a pot and what may be added to it.
func (f *fields) pot(req *millbasev1.CorrectBatchRequest) app.CorrectRequest {
	in := app.CorrectRequest{
		Batch:         f.optionalID("batch", req.GetBatch(), batches),
		Specification: f.optionalID("specification", req.GetSpecification(), specifications),
		Limits:        f.limits("limits", req.GetLimits()),
		Tests:         map[string]float64{},
		Capacity:      f.mass("capacity_kg", req.GetCapacityKg()),
		LeastMass:     req.GetLeastMass(),
		Date:          f.date("date", req.GetDate()),
		Basis:         f.basis("cost_basis", req.GetCostBasis()),
		Book:          f.bookCandidates("book", req.GetBook()),
		Weighing:      f.weighing("weighing", req.GetWeighing()),
	}
	for key, v := range req.GetTests() {
		in.Tests[key] = f.number("tests["+key+"]", v)
	}
	for i, x := range req.GetPot() {
		field := fmt.Sprintf("pot[%d]", i)
		in.Pot = append(in.Pot, app.PotComponent{Candidate: x.GetCandidate(), Mass: f.positive(field+".mass_kg", x.GetMassKg())})
	}
	for i, c := range req.GetCandidates() {
		in.Inline = append(in.Inline, f.inlineCandidate(fmt.Sprintf("candidates[%d]", i), c, ""))
	}
	return in
}
