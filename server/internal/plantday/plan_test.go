package plantday

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

// planner asks for plans of the first weeks at the demo plant.
type planner struct {
	*testing.T
	s     *servertest.Server
	plans pb.PlanServiceClient
}

func (p planner) ctx() context.Context {
	ctx, cancel := context.WithTimeout(p.Context(), 5*time.Minute)
	p.Cleanup(cancel)
	return ctx
}

func (p planner) make(change ...func(*pb.MakePlanRequest)) *pb.Plan {
	p.Helper()
	r := &pb.MakePlanRequest{What: &pb.MakePlanRequest_Book{Book: &pb.PlanBook{Weeks: 4}}, TimeLimitSeconds: 5}
	for _, f := range change {
		f(r)
	}
	made, err := p.plans.MakePlan(p.ctx(), r)
	return must(p.T, made, err)
}

func TestTheJointPlan(t *testing.T) {
	s := plant(t)
	p := planner{t, s, pb.NewPlanServiceClient(s.As(app.Purchasing))}
	first := p.make()
	p.stands(first)
	p.tried(first)
	again, err := p.plans.GetPlan(p.ctx(), &pb.GetPlanRequest{Name: first.Name})
	if must(t, again, err); again.Cost.Total.Units != first.Cost.Total.Units || len(again.Batches) != len(first.Batches) {
		t.Errorf("kept as %v", again.Cost)
	}
	p.refusedWhenALotMoved(first)
	one, other := p.make(), p.make()
	p.acceptedOnce(one, other)
	check, err := pb.NewLedgerServiceClient(s.As(app.Quality)).CheckLedger(p.ctx(), &pb.CheckLedgerRequest{})
	if must(t, check, err); len(check.Differences) > 0 {
		t.Errorf("the ledger: %v", check.Differences)
	}
}

// stands checks a plan from its own figures: masses add up, no lot gives more than
// is free of it, orders are as the suppliers take them, and a batch made from stock
// meets its specification by the arithmetic of this package.
func (p planner) stands(made *pb.Plan) {
	p.Helper()
	if made.GapPercent > 5 || !made.Size.Certified || made.Saving.Units < 0 || len(made.Batches) < 10 || made.Name == "" {
		p.Errorf("gap %g %%, %v, saving %v, %d batches", made.GapPercent, made.Size, made.Saving, len(made.Batches))
	}
	used := map[string]float64{}
	for _, b := range made.Batches {
		sum := b.UnmadeKg
		for _, r := range b.Runs {
			sum += r.MassKg
			for _, c := range r.Components {
				used[c.Candidate] += c.MassKg
			}
		}
		if math.Abs(sum-b.QuantityKg) > 1e-3 {
			p.Errorf("%s: %g made and unmade of %g", b.Batch, sum, b.QuantityKg)
		}
	}
	balances, err := pb.NewLotServiceClient(p.s.As(app.Purchasing)).ListBalances(p.ctx(), &pb.ListBalancesRequest{PageSize: 1000})
	must(p.T, 0, err)
	free := map[string]float64{}
	for _, b := range balances.Balances {
		free[b.Lot] += b.OnHandKg - b.ReservedKg
	}
	for candidate, kg := range used {
		if strings.HasPrefix(candidate, "lots/") && kg > free[candidate]+1e-5 {
			p.Errorf("%s gives %g kg of %g", candidate, kg, free[candidate])
		}
	}
	for _, o := range made.Orders {
		offer, err := pb.NewSupplierServiceClient(p.s.As(app.Purchasing)).GetOffer(p.ctx(), &pb.GetOfferRequest{Name: o.Offer})
		must(p.T, 0, err)
		if o.QuantityKg < offer.MinimumOrderKg || offer.PackSizeKg > 0 && math.Abs(math.Remainder(o.QuantityKg, offer.PackSizeKg)) > 1e-9 ||
			o.OrderByDate < made.Date || o.ArrivalDate < o.OrderByDate || o.Today != (o.OrderByDate == made.Date) {
			p.Errorf("%v, offered as %v", o, offer)
		}
	}
	p.meetsLimits(made, 1e-4) // before it is put on the scale
}

func (p planner) meetsLimits(made *pb.Plan, within float64) {
	maker := p.s.As(app.InkMaker)
	checked := 0
	for _, b := range made.Batches {
		if !b.FromStock || len(b.Changes) == 0 {
			continue
		}
		book, err := pb.NewBatchServiceClient(maker).GetBatch(p.ctx(), &pb.GetBatchRequest{Name: b.Batch})
		must(p.T, 0, err)
		name := book.Specification
		if name == "" {
			f, err := pb.NewFormulaServiceClient(maker).GetFormula(p.ctx(), &pb.GetFormulaRequest{Name: book.Formula})
			must(p.T, 0, err)
			name = f.Specification
		}
		spec, err := pb.NewSpecificationServiceClient(maker).GetSpecification(p.ctx(), &pb.GetSpecificationRequest{Name: name})
		must(p.T, 0, err)
		answer := &pb.OptimiseResponse{}
		for _, c := range b.Runs[0].Components {
			answer.Components = append(answer.Components, &pb.FormulaComponent{Candidate: c.Candidate, Material: c.Material, MassKg: c.MassKg})
		}
		mix := filled(p.T, maker, answer)
		for _, l := range spec.Limits {
			got := mix.value(p.T, l)
			room := within * max(math.Abs(l.GetLower()), math.Abs(l.GetUpper())) // as the book calls a limit met
			if l.Lower != nil && got < *l.Lower-room || l.Upper != nil && got > *l.Upper+room {
				p.Errorf("%s: %s is %g", b.Batch, l.LimitId, got)
			}
		}
		checked++
	}
	if checked == 0 {
		p.Error("no batch from stock takes another blend than its formula")
	}
}

// tried compares a plan to one with a rejected lot, a price and a due date changed.
func (p planner) tried(plain *pb.Plan) {
	var lot string
	for _, b := range plain.Batches {
		for _, c := range b.Runs[0].Components {
			if strings.HasPrefix(c.Candidate, "lots/") && lot == "" {
				lot = c.Candidate
			}
		}
	}
	last := plain.Batches[len(plain.Batches)-1]
	with := p.make(func(r *pb.MakePlanRequest) {
		r.Changes = []*pb.PlanChange{{Change: &pb.PlanChange_RejectedLot{RejectedLot: lot}},
			{Change: &pb.PlanChange_Price{Price: &pb.PlanChange_PriceMove{Of: "materials/soya", Percent: 50}}},
			{Change: &pb.PlanChange_Due{Due: &pb.PlanChange_OtherDueDate{Batch: last.Batch, DueDate: plain.Batches[0].DueDate}}}}
	})
	for _, b := range with.Batches {
		for _, r := range b.Runs {
			for _, c := range r.Components {
				if c.Candidate == lot {
					p.Errorf("%s takes the rejected %s", b.Batch, lot)
				}
			}
		}
		if b.Batch == last.Batch && b.DueDate != plain.Batches[0].DueDate {
			p.Errorf("%s is due %s", b.Batch, b.DueDate)
		}
	}
	d := with.Difference
	if with.Name != "" || d == nil || len(d.Summary) < 2 || euros(d.Cost) <= 0 || math.Abs(euros(d.CostWithout)+euros(d.Cost)-euros(with.Cost.Total)) > 0.02 {
		p.Errorf("%q: %v", with.Name, d)
	}
}

// refusedWhenALotMoved issues a little of a lot: the plan is refused by the lot's
// name, and nothing of it is left behind.
func (p planner) refusedWhenALotMoved(made *pb.Plan) {
	lot := ""
	for _, c := range made.Batches[0].Runs[0].Components {
		if strings.HasPrefix(c.Candidate, "lots/") {
			lot = c.Candidate
		}
	}
	stock := pb.NewLedgerServiceClient(p.s.As(app.Floor))
	at, err := pb.NewLotServiceClient(p.s.As(app.Floor)).ListBalances(p.ctx(), &pb.ListBalancesRequest{Filter: fmt.Sprintf("lot = %q", lot)})
	must(p.T, 0, err)
	_, err = stock.CreateMovement(p.ctx(), &pb.CreateMovementRequest{MovementId: uuid.NewString(), Movement: &pb.Movement{
		Kind: pb.MovementKind_MOVEMENT_KIND_ISSUE, Lot: lot, Location: at.Balances[0].Location, QuantityKg: 0.001, Customer: "a trial"}})
	must(p.T, 0, err)
	before := p.counts()
	_, err = p.plans.AcceptPlan(p.ctx(), &pb.AcceptPlanRequest{Name: made.Name, RequestId: uuid.NewString()})
	if status.Code(err) != codes.FailedPrecondition || !strings.Contains(err.Error(), lot+" has changed") || strings.Contains(err.Error(), "is new") {
		p.Errorf("accepted although %s moved: %v", lot, err)
	}
	if after := p.counts(); after != before {
		p.Errorf("a refused plan has left something behind: %v, before %v", after, before)
	}
}

// counts is how many orders, batches and open reservations there are.
func (p planner) counts() [3]int {
	p.Helper()
	orders, err := pb.NewPurchasingServiceClient(p.s.As(app.Purchasing)).ListPurchaseOrders(p.ctx(), &pb.ListPurchaseOrdersRequest{PageSize: 1000})
	must(p.T, 0, err)
	batches, err := pb.NewBatchServiceClient(p.s.As(app.InkMaker)).ListBatches(p.ctx(), &pb.ListBatchesRequest{PageSize: 1000})
	must(p.T, 0, err)
	held, err := pb.NewLedgerServiceClient(p.s.As(app.Admin)).ListReservations(p.ctx(), &pb.ListReservationsRequest{PageSize: 1000, Filter: "open = true"})
	must(p.T, 0, err)
	return [3]int{len(orders.PurchaseOrders), len(batches.Batches), len(held.Reservations)}
}

// acceptedOnce accepts two plans of the same book at the same moment, each twice: one
// of them is taken, as often as it is asked for, and the other one refused.
func (p planner) acceptedOnce(one, other *pb.Plan) {
	before := p.counts()
	var wg sync.WaitGroup
	answers, errs := make([]*pb.Plan, 4), make([]error, 4)
	for i, plan := range []*pb.Plan{one, other, one, other} {
		wg.Go(func() {
			answers[i], errs[i] = p.plans.AcceptPlan(p.ctx(), &pb.AcceptPlanRequest{Name: plan.Name, RequestId: uuid.NewString()})
		})
	}
	wg.Wait()
	taken := 0
	if errs[0] != nil {
		taken = 1
	}
	if errs[taken] != nil || errs[taken+2] != nil || status.Code(errs[1-taken]) != codes.FailedPrecondition || status.Code(errs[3-taken]) != codes.FailedPrecondition {
		p.Fatalf("%v", errs)
	}
	a, again := answers[taken].Acceptance, answers[taken+2].Acceptance
	if !slices.Equal(a.PurchaseOrders, again.PurchaseOrders) || !a.AcceptTime.AsTime().Equal(again.AcceptTime.AsTime()) || answers[taken].State != pb.PlanState_PLAN_STATE_ACCEPTED {
		p.Errorf("%v, and again %v", a, again)
	}
	p.inTheBook([]*pb.Plan{one, other}[taken], a)
	after := p.counts()
	if after[0] != before[0]+len(a.PurchaseOrders) || after[1] != before[1]+len(a.PlannedBatches) || after[2] <= before[2] {
		p.Errorf("%v in the book, before %v: %v", after, before, a)
	}
}

// inTheBook checks that what was accepted is what the plan says.
func (p planner) inTheBook(made *pb.Plan, a *pb.PlanAcceptance) {
	want, got := map[string]float64{}, map[string]float64{}
	for _, o := range made.Orders {
		want[o.Offer+" "+o.ArrivalDate] += o.QuantityKg
	}
	for _, name := range a.PurchaseOrders {
		o, err := pb.NewPurchasingServiceClient(p.s.As(app.Purchasing)).GetPurchaseOrder(p.ctx(), &pb.GetPurchaseOrderRequest{Name: name})
		must(p.T, 0, err)
		if o.State != pb.PurchaseOrderState_PURCHASE_ORDER_STATE_DRAFT {
			p.Errorf("%s is %s", name, o.State)
		}
		for _, l := range o.Lines {
			got[l.Offer+" "+l.DueDate] += l.QuantityKg
		}
	}
	if fmt.Sprint(got) != fmt.Sprint(want) || len(a.ReservedBatches) == 0 || len(a.WaitingBatches) == 0 {
		p.Errorf("ordered %v, planned %v; %v", got, want, a)
	}
	batches := pb.NewBatchServiceClient(p.s.As(app.InkMaker))
	for _, of := range made.Batches {
		if of.ToBePlanned {
			continue
		}
		b, err := batches.GetBatch(p.ctx(), &pb.GetBatchRequest{Name: of.Batch})
		must(p.T, 0, err)
		reserved := slices.Contains(a.ReservedBatches, of.Batch)
		if reserved != (b.State == pb.BatchState_BATCH_STATE_RESERVED) {
			p.Errorf("%s is %s", of.Batch, b.State)
		}
		aside, fromStock := 0.0, 0.0
		for _, l := range b.Lines {
			aside += l.QuantityKg
		}
		for _, r := range of.Runs {
			for _, c := range r.Components {
				if strings.HasPrefix(c.Candidate, "lots/") {
					fromStock += c.MassKg
				}
			}
		}
		if math.Abs(aside-fromStock) > 0.5 {
			p.Errorf("%s: %g kg are set aside, the plan takes %g from stock", of.Batch, aside, fromStock)
		}
	}
	p.meetOnScale(made, a)
	p.reservedLater(a.WaitingBatches[len(a.WaitingBatches)-1])
	p.givenBack(a.WaitingBatches[0])
}

// reservedLater reserves a batch that waits. Either all of it can be set aside by
// now, and what was before is given back; or nothing is changed.
func (p planner) reservedLater(batch string) {
	batches := pb.NewBatchServiceClient(p.s.As(app.InkMaker))
	before, counts := readBatch(p, batches, batch), p.counts()
	_, err := batches.ReserveBatch(p.ctx(), &pb.ReserveBatchRequest{Name: batch})
	after := readBatch(p, batches, batch)
	if want := counts[2] + len(after.Lines) - len(before.Lines); p.counts()[2] != want {
		p.Errorf("%d open reservations, want %d (%v)", p.counts()[2], want, err)
	}
	if err != nil && (status.Code(err) != codes.FailedPrecondition || after.Etag != before.Etag) {
		p.Errorf("%v: %v, before %v", err, after, before)
	}
	if _, err := batches.GetBatchTicket(p.ctx(), &pb.GetBatchTicketRequest{Name: batch}); (err == nil) != (after.State == pb.BatchState_BATCH_STATE_RESERVED) {
		p.Errorf("%s is %s, its ticket: %v", batch, after.State, err)
	}
}

func readBatch(p planner, batches pb.BatchServiceClient, name string) *pb.Batch {
	p.Helper()
	b, err := batches.GetBatch(p.ctx(), &pb.GetBatchRequest{Name: name})
	return must(p.T, b, err)
}

// meetOnScale checks what is reserved, as it will be weighed, against the
// specification.
func (p planner) meetOnScale(made *pb.Plan, a *pb.PlanAcceptance) {
	weighed := &pb.Plan{}
	for _, of := range made.Batches {
		if !slices.Contains(a.ReservedBatches, of.Batch) || len(of.Changes) == 0 {
			continue
		}
		b, err := pb.NewBatchServiceClient(p.s.As(app.InkMaker)).GetBatch(p.ctx(), &pb.GetBatchRequest{Name: of.Batch})
		must(p.T, 0, err)
		run := &pb.PlannedRun{}
		for _, l := range b.Lines {
			run.Components = append(run.Components, &pb.PlannedComponent{Candidate: l.Lot, Material: l.Material, MassKg: l.QuantityKg})
		}
		weighed.Batches = append(weighed.Batches, &pb.PlannedBatch{Batch: of.Batch, FromStock: true, Changes: of.Changes, Runs: []*pb.PlannedRun{run}})
	}
	p.meetsLimits(weighed, 1.01e-5)
}

// givenBack cancels a batch that waits: what was set aside for it is free again.
func (p planner) givenBack(batch string) {
	before := p.counts()
	b, err := pb.NewBatchServiceClient(p.s.As(app.InkMaker)).GetBatch(p.ctx(), &pb.GetBatchRequest{Name: batch})
	must(p.T, 0, err)
	_, err = pb.NewBatchServiceClient(p.s.As(app.InkMaker)).CancelBatch(p.ctx(), &pb.CancelBatchRequest{Name: batch, Reason: "not wanted"})
	must(p.T, 0, err)
	after := p.counts()
	if len(b.Lines) == 0 || after[2] != before[2]-len(b.Lines) {
		p.Errorf("%d open reservations, before %d, of which the batch had %d", after[2], before[2], len(b.Lines))
	}
	// The counts of acceptedOnce are of the book before this.
	restored, err := pb.NewLedgerServiceClient(p.s.As(app.Admin)).CheckLedger(p.ctx(), &pb.CheckLedgerRequest{})
	if must(p.T, restored, err); len(restored.Differences) > 0 {
		p.Errorf("%v", restored.Differences)
	}
}

func euros(m *money.Money) float64 { return float64(cents(m)) / 10_000 }
