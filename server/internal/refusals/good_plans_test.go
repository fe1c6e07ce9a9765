package refusals

import (
	"github.com/google/uuid"
	"google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// goodPlans is good for the joint plan.
func (b *book) goodPlans() map[string]func() proto.Message {
	return map[string]func() proto.Message{
		"MakePlan": func() proto.Message { return b.planOfBook() },
		"StartPlan": func() proto.Message {
			return &pb.StartPlanRequest{Plan: b.planOfBook(), RequestId: uuid.NewString()}
		},
		"GetPlan": func() proto.Message { return &pb.GetPlanRequest{Name: b.plan()} },
		"ListPlans": func() proto.Message {
			return &pb.ListPlansRequest{PageSize: 10, Filter: `state = "PLAN_STATE_PROPOSED"`}
		},
		"AcceptPlan": func() proto.Message { return &pb.AcceptPlanRequest{Name: b.plan(), RequestId: uuid.NewString()} },
	}
}

// planOfBook plans what is in the book, with everything said that can be.
func (b *book) planOfBook() *pb.MakePlanRequest {
	b.batch(false)
	return &pb.MakePlanRequest{PlanId: b.fresh("plan"), RequestId: uuid.NewString(), GapPercent: 1, TimeLimitSeconds: 20,
		What: &pb.MakePlanRequest_Book{Book: &pb.PlanBook{Weeks: 4, PeriodDays: 7, StorageCostPerKg: &money.Money{CurrencyCode: "EUR", Nanos: 10_000_000}, BudgetPerPeriod: eur(100000), LatePerKg: eur(1),
			UnmadePerKg: eur(50), BelowSafetyPerKg: eur(1), CostPerOrder: eur(10), LeftoverPercent: 10, Excluded: []string{"lots/l-2"},
			Forecasts: []*pb.PriceForecast{{Of: "materials/linseed", FromDate: b.due, Price: &pb.PriceForecast_PricePerKg{PricePerKg: eur(3)}},
				{Of: "suppliers/quellmark", FromDate: b.due, Price: &pb.PriceForecast_Percent{Percent: 5}}}}}}
}

// plan makes a plan of its own.
func (b *book) plan() string {
	b.t.Helper()
	p, err := pb.NewPlanServiceClient(b.server.As(app.Admin)).MakePlan(b.t.Context(), b.planOfBook())
	return must(b.t, p.GetName(), err)
}
