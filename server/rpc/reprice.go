package rpc

import (
	"context"
	"fmt"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	moneypb "google.golang.org/genproto/googleapis/type/money"

	"millbase/costing/money"
	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// repricingService serves the repriced book.
type repricingService struct {
	pb.UnimplementedRepricingServiceServer
	book *app.Book
}

// RepriceBook implements the service.
func (s *repricingService) RepriceBook(ctx context.Context, req *pb.RepriceBookRequest) (*pb.RepriceBookResponse, error) {
	return s.reprice(ctx, req, nil)
}

func (s *repricingService) reprice(ctx context.Context, req *pb.RepriceBookRequest, progress app.Progress) (*pb.RepriceBookResponse, error) {
	in, err := repriceIn(req)
	if err != nil {
		return nil, err
	}
	in.Progress = progress
	r, err := s.book.RepriceBook(ctx, in)
	if err != nil {
		return nil, err
	}
	return repricedOut(r, app.CallerOf(ctx).Role.ReadsFormulas()), nil
}

// StartRepricing implements the service. What is wrong with the question is refused
// now, not found out later.
func (s *repricingService) StartRepricing(ctx context.Context, req *pb.StartRepricingRequest) (*longrunningpb.Operation, error) {
	in, err := repriceIn(req.GetReprice())
	if err != nil {
		return nil, within("reprice.", err)
	}
	once, err := requestOf("StartRepricing", req.GetRequestId(), req.GetReprice())
	if err != nil {
		return nil, err
	}
	return startOperation(ctx, s.book, repriceKind, req.GetReprice(), once, func(ctx context.Context) error {
		return within("reprice.", s.book.CheckReprice(ctx, in))
	})
}

func repriceIn(req *pb.RepriceBookRequest) (app.RepriceRequest, error) {
	f := &fields{}
	in := app.RepriceRequest{Date: f.date("date", req.GetDate()), Quantity: f.mass("quantity_kg", req.GetQuantityKg()), Most: int(req.GetMaxFormulas())}
	if req.GetCostBasis() != pb.CostBasis_COST_BASIS_UNSPECIFIED {
		in.Basis = f.basis("cost_basis", req.GetCostBasis())
	}
	for i, c := range req.GetChanges() {
		field := fmt.Sprintf("changes[%d]", i)
		t := app.PriceTrial{Material: f.id(field+".material", c.GetMaterial(), materials), Percent: f.float(field+".percent", c.GetPercent())}
		if c.GetPricePerKg() != nil {
			p := money.PerKg(f.money(field+".price_per_kg", c.GetPricePerKg()))
			t.Price = &p
		}
		in.Trials = append(in.Trials, t)
	}
	for i, name := range req.GetFormulas() {
		in.Formulas = append(in.Formulas, f.id(fmt.Sprintf("formulas[%d]", i), name, formulas))
	}
	return in, f.err()
}

// repricedOut leaves out what the formulas are made of and what they have to meet
// unless the caller may read them.
func repricedOut(r *app.Repriced, reads bool) *pb.RepriceBookResponse {
	out := &pb.RepriceBookResponse{CurrencyCode: r.Currency, Date: dateOut(r.Date), CostBasis: basisOut(r.Basis), Assumptions: r.Assumptions,
		SavingPerYear: moneyOut(r.SavingPerYear),
		Count: &pb.RepriceCount{Formulas: int32(r.Count.Formulas), Unchanged: int32(r.Count.Unchanged), Proved: int32(r.Count.Proved),
			Solved: int32(r.Count.Solved), Impossible: int32(r.Count.Impossible), Reformulate: int32(r.Count.Reformulate)}}
	for i := range r.Rows {
		row := &r.Rows[i]
		m := &pb.RepricedFormula{Formula: nameOf(formulas, row.Formula), Title: row.Title, Specification: nameOf(specifications, row.Specification),
			CostBeforePerKg: perKgOut(row.Before), CostPerKg: perKgOut(row.AsIs), CheapestPerKg: perKgOut(row.Cheapest), SavingPerKg: perKgOut(row.Saving),
			Reformulate: row.Reformulate, YearlyKg: kg(row.YearlyMass), SavingPerYear: moneyOut(row.SavingPerYear)}
		if reads {
			m.Summary = row.Summary
			m.Changes = each(row.Changes, shareChangeOut)
		}
		out.Formulas = append(out.Formulas, m)
	}
	return out
}

func perKgOut(p *money.PerKg) *moneypb.Money {
	if p == nil {
		return nil
	}
	return moneyOut(money.Money(*p))
}

func shareChangeOut(c app.ShareChange) *pb.ShareChange {
	return &pb.ShareChange{Material: nameOf(materials, c.Material), Title: c.Title, Now: c.Now, Cheapest: c.Cheapest}
}
