package rpc

import (
	"github.com/shopspring/decimal"
	moneypb "google.golang.org/genproto/googleapis/type/money"

	"millbase/costing/money"
	"millbase/inventory/mass"
	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// planWriter writes amounts in the plan's currency.
type planWriter struct{ currency string }

func (w planWriter) amount(v decimal.Decimal) *moneypb.Money { return amountOut(w.currency, v) }

func planOut(p *app.JointPlan) *pb.Plan {
	w := planWriter{p.Currency}
	out := &pb.Plan{Name: nameOf(plans, p.ID), State: enum[pb.PlanState](string(p.State)), Outcome: enum[pb.PlanOutcome](string(p.Outcome)),
		CurrencyCode: p.Currency, Date: dateOut(p.Date), Cost: w.cost(p.Cost),
		Bound: w.amount(p.Bound), GapPercent: p.Gap * 100, Assumptions: p.Assumptions, Difference: w.difference(p.Difference),
		Acceptance: acceptanceOfPlan(p.Acceptance), CreateTime: momentOut(p.Created),
		Size: &pb.PlanSize{Columns: int32(p.Size.Columns), Rows: int32(p.Size.Rows), Integers: int32(p.Size.Integers), Merged: int32(p.Size.Merged),
			Iterations: int32(p.Size.Iterations), Certified: p.Certified}}
	if p.ID != "" {
		out.Etag = etagOut(p.Version)
	}
	out.InTurnCost, out.Saving = w.amount(p.InTurn), w.amount(p.Saving())
	if p.InTurn.Sign() != 0 {
		out.SavingPercent = p.Saving().Div(p.InTurn.Abs()).Shift(2).Round(2).InexactFloat64()
	}
	for _, t := range p.Periods {
		m := &pb.PlanPeriod{Title: t.Title, FirstDate: dateOut(t.First), Spent: w.amount(t.Spent), BudgetWorth: t.Worth}
		if t.Budget != nil {
			m.Budget = w.amount(*t.Budget)
		}
		out.Periods = append(out.Periods, m)
	}
	out.Count = &pb.PlanCount{Batches: int32(len(p.Batches)), Orders: int32(len(p.Orders))}
	for i := range p.Batches {
		w.count(out.Count, &p.Batches[i])
		out.Batches = append(out.Batches, w.batch(&p.Batches[i]))
	}
	for _, o := range p.Orders {
		if o.Today {
			out.Count.OrdersToday++
		}
		out.Orders = append(out.Orders, w.order(o))
	}
	for _, s := range p.Scarce {
		out.Scarce = append(out.Scarce, &pb.ScarceSupply{Candidate: s.Candidate, Title: s.Title, Material: s.Material, WorthPerKg: w.amount(s.Worth)})
	}
	for _, s := range p.Stock {
		out.Stock = append(out.Stock, &pb.PlannedStock{Material: s.Material, Title: s.Title, MassKg: each(s.Mass, mass.Mass.Kilograms)})
	}
	for _, l := range p.LeftOut {
		out.LeftOut = append(out.LeftOut, &pb.PlanLeftOut{Candidate: l.Candidate, Title: l.Title, Reason: l.Why})
	}
	return out
}

func (w planWriter) count(n *pb.PlanCount, b *app.PlannedBatch) {
	if b.Late {
		n.Late++
	}
	if b.Unmade > 0 {
		n.Unmade++
	}
	if len(b.Changes) > 0 {
		n.Reformulated++
	}
}

func (w planWriter) cost(c app.PlanCost) *pb.PlanCost {
	return &pb.PlanCost{Total: w.amount(c.Total), Lots: w.amount(c.Lots), Orders: w.amount(c.Orders), Charges: w.amount(c.Charges),
		Storage: w.amount(c.Storage), Scrap: w.amount(c.Scrap), Late: w.amount(c.Late), Unmade: w.amount(c.Unmade),
		BelowSafety: w.amount(c.Safety), Worth: w.amount(c.Worth), Leftover: w.amount(c.Leftover)}
}

func (w planWriter) batch(b *app.PlannedBatch) *pb.PlannedBatch {
	out := &pb.PlannedBatch{Batch: b.Batch, Title: b.Title, Material: b.Material, Formula: nameOf(formulas, b.Formula),
		Specification: nameOf(specifications, b.Specification), QuantityKg: kg(b.Quantity), DueDate: dateOut(b.Due), BeginByDate: dateOut(b.BeginBy),
		UnmadeKg: kg(b.Unmade), Why: b.Why, CostPerKg: w.amount(b.CostPerKg), MarginalCostPerKg: w.amount(b.MarginalPerKg), Late: b.Late,
		ToBePlanned: b.ToPlan, FromStock: b.FromStock}
	for _, r := range b.Runs {
		m := &pb.PlannedRun{Period: int32(r.Period), BeginDate: dateOut(r.Begin), MassKg: kg(r.Mass)}
		for _, c := range r.Components {
			m.Components = append(m.Components, &pb.PlannedComponent{Candidate: c.Candidate, Title: c.Title, Material: c.Material, MassKg: kg(c.Mass), Share: c.Share})
		}
		out.Runs = append(out.Runs, m)
	}
	for _, c := range b.Changes {
		out.Changes = append(out.Changes, &pb.PlannedShare{Material: nameOf(materials, c.Material), Title: c.Title, Formula: c.Now, Planned: c.Cheapest})
	}
	return out
}

func (w planWriter) order(o app.PlannedOrder) *pb.PlannedOrder {
	return &pb.PlannedOrder{Offer: o.Offer, Supplier: nameOf(suppliers, o.Supplier), Title: o.Title, Material: o.Material, QuantityKg: kg(o.Quantity),
		Packs: int32(o.Packs), PricePerKg: moneyOut(money.Money(o.PricePerKg)), LandedCost: w.amount(o.Landed), Period: int32(o.Period),
		ArrivalPeriod: int32(o.Arrival), OrderByDate: dateOut(o.OrderBy), ArrivalDate: dateOut(o.Arrives), Batches: o.Batches, Today: o.Today}
}

func (w planWriter) difference(d *app.PlanDifference) *pb.PlanDifference {
	if d == nil {
		return nil
	}
	out := &pb.PlanDifference{Cost: w.amount(d.Cost), CostWithout: w.amount(d.CostWithout), Summary: d.Summary}
	for _, b := range d.Batches {
		out.Batches = append(out.Batches, &pb.BatchDifference{Batch: b.Batch, Title: b.Title, BeginWithout: dateOut(b.BeginWithout),
			BeginWith: dateOut(b.BeginWith), UnmadeWithoutKg: kg(b.UnmadeWithout), UnmadeWithKg: kg(b.UnmadeWith)})
	}
	for _, o := range d.Orders {
		out.Orders = append(out.Orders, &pb.OrderDifference{Offer: o.Offer, Title: o.Title, WithoutKg: kg(o.Without), WithKg: kg(o.With),
			OrderByWithout: dateOut(o.ByWithout), OrderByWith: dateOut(o.ByWith)})
	}
	for _, s := range d.Shortages {
		out.Shortages = append(out.Shortages, &pb.ShortageDifference{Material: nameOf(materials, s.Material), Title: s.Title,
			LeastWithoutKg: kg(s.Without), LeastWithKg: kg(s.With)})
	}
	return out
}

func acceptanceOfPlan(a *app.PlanAcceptance) *pb.PlanAcceptance {
	if a == nil {
		return nil
	}
	names := func(ids []string, collection string) []string {
		return each(ids, func(id string) string { return nameOf(collection, id) })
	}
	return &pb.PlanAcceptance{PurchaseOrders: names(a.Orders, purchaseOrders), ReservedBatches: names(a.Reserved, batches),
		PlannedBatches: names(a.Planned, batches), WaitingBatches: names(a.Waiting, batches), AcceptTime: momentOut(a.At)}
}
