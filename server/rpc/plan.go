package rpc

import (
	"context"
	"fmt"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"github.com/google/uuid"
	moneypb "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/protobuf/proto"

	"millbase/costing/money"
	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// planService serves the joint plan.
type planService struct {
	pb.UnimplementedPlanServiceServer
	book *app.Book
}

var planFilter = filterFields{"state": enumField(pb.PlanState(0))}

// MakePlan implements the service.
func (s *planService) MakePlan(ctx context.Context, req *pb.MakePlanRequest) (*pb.Plan, error) {
	return s.make(ctx, req, nil)
}

func (s *planService) make(ctx context.Context, req *pb.MakePlanRequest, progress app.Progress) (*pb.Plan, error) {
	f := &fields{}
	in := f.plan(req)
	if err := f.err(); err != nil {
		return nil, err
	}
	in.Progress = progress
	once, err := requestOf("MakePlan", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	made, err := s.book.MakePlan(ctx, in, once)
	if err != nil {
		return nil, limitFields(err)
	}
	return planOut(made), nil
}

// StartPlan implements the service. What is wrong with the request is refused now,
// not found out later.
func (s *planService) StartPlan(ctx context.Context, req *pb.StartPlanRequest) (*longrunningpb.Operation, error) {
	f := &fields{}
	in := f.plan(req.GetPlan())
	if err := f.err(); err != nil {
		return nil, within("plan.", err)
	}
	once, err := requestOf("StartPlan", req.GetRequestId(), req.GetPlan())
	if err != nil {
		return nil, err
	}
	// With a request id the plan is kept once, however often the work is begun.
	asked := proto.CloneOf(req.GetPlan())
	if asked.RequestId == "" {
		asked.RequestId = uuid.NewString()
	}
	return startOperation(ctx, s.book, planKind, asked, once, func(ctx context.Context) error {
		return within("plan.", limitFields(s.book.CheckPlan(ctx, in)))
	})
}

// GetPlan implements the service.
func (s *planService) GetPlan(ctx context.Context, req *pb.GetPlanRequest) (*pb.Plan, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), plans)
	if err := f.err(); err != nil {
		return nil, err
	}
	p, err := s.book.GetPlan(ctx, id)
	if err != nil {
		return nil, err
	}
	return planOut(p), nil
}

// ListPlans implements the service.
func (s *planService) ListPlans(ctx context.Context, req *pb.ListPlansRequest) (*pb.ListPlansResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), req.GetFilter())
	if err != nil {
		return nil, err
	}
	where, err := planFilter.conditions(req.GetFilter())
	if err != nil {
		return nil, err
	}
	list, err := s.book.ListPlans(ctx, p.query(where))
	if err != nil {
		return nil, err
	}
	out := &pb.ListPlansResponse{}
	list, out.NextPageToken = cut(p, list, func(p *app.JointPlan) string { return p.ID })
	for _, p := range list {
		m := planOut(p)
		m.Batches, m.Orders, m.Stock, m.Scarce, m.LeftOut, m.Assumptions = nil, nil, nil, nil, nil, nil
		out.Plans = append(out.Plans, m)
	}
	return out, nil
}

// AcceptPlan implements the service.
func (s *planService) AcceptPlan(ctx context.Context, req *pb.AcceptPlanRequest) (*pb.Plan, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), plans)
	if err := f.err(); err != nil {
		return nil, err
	}
	once, err := requestOf("AcceptPlan", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	p, err := s.book.AcceptPlan(ctx, id, once)
	if err != nil {
		return nil, err
	}
	return planOut(p), nil
}

// plan reads a request for a plan.
func (f *fields) plan(req *pb.MakePlanRequest) app.PlanRequest {
	in := app.PlanRequest{ID: req.GetPlanId(), Gap: f.number("gap_percent", req.GetGapPercent()) / 100,
		TimeLimit: time.Duration(req.GetTimeLimitSeconds()) * time.Second}
	if req.GetProblem() != nil {
		in.Inline = f.planProblem(req.GetProblem())
	}
	if m := req.GetBook(); m != nil {
		in.Book = f.planBook(m)
	}
	for i, c := range req.GetChanges() {
		in.Changes = append(in.Changes, f.planChange(fmt.Sprintf("changes[%d]", i), c))
	}
	return in
}

func (f *fields) planBook(m *pb.PlanBook) *app.PlanBook {
	out := &app.PlanBook{Weeks: int(m.GetWeeks()), PeriodDays: int(m.GetPeriodDays()),
		Storage: f.perKg("book.storage_cost_per_kg", m.GetStorageCostPerKg()), Late: f.perKg("book.late_per_kg", m.GetLatePerKg()),
		Unmade: f.perKg("book.unmade_per_kg", m.GetUnmadePerKg()), BelowSafety: f.perKg("book.below_safety_per_kg", m.GetBelowSafetyPerKg()),
		KeepFormulas: m.GetKeepFormulas(), Excluded: m.GetExcluded(), Leftover: f.number("book.leftover_percent", m.GetLeftoverPercent()) / 100}
	if m.GetCostBasis() != pb.CostBasis_COST_BASIS_UNSPECIFIED {
		out.Basis = f.basis("book.cost_basis", m.GetCostBasis())
	}
	out.Budget = (*money.Money)(f.perKg("book.budget_per_period", m.GetBudgetPerPeriod()))
	out.PerOrder = (*money.Money)(f.perKg("book.cost_per_order", m.GetCostPerOrder()))
	for i, name := range m.GetBatches() {
		out.Batches = append(out.Batches, f.id(fmt.Sprintf("book.batches[%d]", i), name, batches))
	}
	for i, p := range m.GetForecasts() {
		field := fmt.Sprintf("book.forecasts[%d]", i)
		out.Forecasts = append(out.Forecasts, app.PriceForecast{Of: p.GetOf(), From: f.needDate(field+".from_date", p.GetFromDate()),
			Percent: f.float(field+".percent", p.GetPercent()), Price: f.perKg(field+".price_per_kg", p.GetPricePerKg())})
	}
	return out
}

// perKg reads an amount of zero or more that may be left to its usual value.
func (f *fields) perKg(field string, m *moneypb.Money) *money.PerKg {
	if m == nil {
		return nil
	}
	v := f.money(field, m)
	if v.Sign() < 0 {
		f.add(field, "must not be below zero")
	}
	return (*money.PerKg)(&v)
}

func (f *fields) planChange(field string, m *pb.PlanChange) app.PlanChange {
	var out app.PlanChange
	switch c := m.GetChange().(type) {
	case *pb.PlanChange_Late:
		out.Order, out.Days = f.id(field+".late.purchase_order", c.Late.GetPurchaseOrder(), purchaseOrders), int(c.Late.GetDays())
	case *pb.PlanChange_Price:
		out.Of, out.Percent = c.Price.GetOf(), f.float(field+".price.percent", c.Price.GetPercent())
	case *pb.PlanChange_RejectedLot:
		out.Lot = f.id(field+".rejected_lot", c.RejectedLot, lots)
	case *pb.PlanChange_Due:
		out.Batch, out.DueDate = f.id(field+".due.batch", c.Due.GetBatch(), batches), f.needDate(field+".due.due_date", c.Due.GetDueDate())
	}
	return out
}
