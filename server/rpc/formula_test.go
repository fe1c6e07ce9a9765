package rpc_test

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

func TestFormulasKeepEveryField(t *testing.T) {
	conn, ctx := smallPlant(t), t.Context()
	formulas := pb.NewFormulaServiceClient(conn)
	next := cyanFormula()
	next.Note, next.Ingredients[2].Lot = "from one lot", "lots/oil-1"
	request := &pb.CreateFormulaRequest{FormulaId: "cyan", Formula: next, RequestId: uuid.NewString()}
	made := must[*pb.Formula](t)(formulas.CreateFormula(ctx, request))
	if again := must[*pb.Formula](t)(formulas.CreateFormula(ctx, request)); again.GetName() != made.GetName() {
		t.Errorf("the same request made %s and %s", made.GetName(), again.GetName())
	}
	if made.GetName() != "formulas/cyan@2" || made.GetRevision() != 2 || made.GetReleased() || made.GetNote() != next.Note || made.GetYieldFraction() != 0.98 ||
		made.GetSpecification() != "specifications/cyan" || made.GetRoute()[1].GetPasses() != 3 || made.GetRoute()[0].GetPasses() != 1 {
		t.Errorf("%v", made)
	}
	for i, in := range made.GetIngredients() {
		if in.String() != next.GetIngredients()[i].String() {
			t.Errorf("ingredient %d came back as %v, was %v", i, in, next.GetIngredients()[i])
		}
	}
	newest := must[*pb.Formula](t)(formulas.GetFormula(ctx, &pb.GetFormulaRequest{Name: "formulas/cyan"}))
	first := must[*pb.Formula](t)(formulas.GetFormula(ctx, &pb.GetFormulaRequest{Name: "formulas/cyan@1"}))
	if newest.GetRevision() != 2 || first.GetRevision() != 1 || !first.GetReleased() {
		t.Errorf("%v\n%v", newest, first)
	}
	if all := must[*pb.ListFormulaRevisionsResponse](t)(formulas.ListFormulaRevisions(ctx, &pb.ListFormulaRevisionsRequest{Name: "formulas/cyan"})); len(all.GetFormulas()) != 2 {
		t.Errorf("%v", all)
	}
	if all := must[*pb.ListFormulasResponse](t)(formulas.ListFormulas(ctx, &pb.ListFormulasRequest{Filter: `material = "materials/cyan"`})); len(all.GetFormulas()) != 1 {
		t.Errorf("%v", all)
	}
	if f := must[*pb.Formula](t)(formulas.ReleaseFormula(ctx, &pb.ReleaseFormulaRequest{Name: "formulas/cyan@1", Withdraw: true})); f.GetReleased() {
		t.Errorf("%v", f)
	}
}

// bad is a request that must be refused.
type bad struct {
	name string
	code codes.Code
	says string
	call func(context.Context) error
}

func refuse(t *testing.T, table []bad) {
	t.Helper()
	for _, b := range table {
		err := b.call(t.Context())
		s := status.Convert(err)
		if s.Code() != b.code || !strings.Contains(fmt.Sprint(s.Message(), s.Details()), b.says) {
			t.Errorf("%s: got %v, want %s that says %q", b.name, err, b.code, b.says)
		}
	}
}

func creating(client pb.FormulaServiceClient, change func(*pb.CreateFormulaRequest)) func(context.Context) error {
	return func(ctx context.Context) error {
		req := &pb.CreateFormulaRequest{FormulaId: "f", Formula: cyanFormula()}
		change(req)
		_, err := client.CreateFormula(ctx, req)
		return err
	}
}

func TestSpecificationRefusals(t *testing.T) {
	client := pb.NewSpecificationServiceClient(smallPlant(t))
	specify := func(change func(*pb.CreateSpecificationRequest)) func(context.Context) error {
		return func(ctx context.Context) error {
			req := &pb.CreateSpecificationRequest{SpecificationId: "s", Specification: cyanSpecification()}
			change(req)
			_, err := client.CreateSpecification(ctx, req)
			return err
		}
	}
	invalid := codes.InvalidArgument
	refuse(t, []bad{
		{"no limits", invalid, "limits", specify(func(r *pb.CreateSpecificationRequest) { r.Specification.Limits = nil })},
		{"limit without bounds", invalid, "limits[0].lower", specify(func(r *pb.CreateSpecificationRequest) {
			r.Specification.Limits[0].Lower, r.Specification.Limits[0].Upper = nil, nil
		})},
		{"limit property", invalid, "limits[1].blended.property", specify(func(r *pb.CreateSpecificationRequest) {
			r.Specification.Limits[1].GetBlended().Property = "gloss_units"
		})},
		{"limit member", invalid, "limits[2].share.materials[0]", specify(func(r *pb.CreateSpecificationRequest) {
			r.Specification.Limits[2].GetShare().Materials = []string{"materials/gold"}
		})},
		{"limit id twice", invalid, "limits[1].limit_id", specify(func(r *pb.CreateSpecificationRequest) { r.Specification.Limits[1].LimitId = "pigment" })},
		{"limit NaN", invalid, "limits[0].lower", specify(func(r *pb.CreateSpecificationRequest) { r.Specification.Limits[0].Lower = to(math.NaN()) })},
		{"taken", codes.AlreadyExists, "specifications/cyan", specify(func(r *pb.CreateSpecificationRequest) { r.SpecificationId = "cyan" })},
	})
	all := must[*pb.ListSpecificationsResponse](t)(client.ListSpecifications(t.Context(), &pb.ListSpecificationsRequest{}))
	if len(all.GetSpecifications()) != 1 {
		t.Errorf("a refused request left something behind: %v", all)
	}
}

func TestFormulaRefusals(t *testing.T) {
	conn := smallPlant(t)
	formulas := pb.NewFormulaServiceClient(conn)
	create := func(change func(*pb.CreateFormulaRequest)) func(context.Context) error {
		return creating(formulas, change)
	}
	invalid := codes.InvalidArgument
	once := &pb.CreateFormulaRequest{FormulaId: "cyan", Formula: cyanFormula(), RequestId: uuid.NewString()}
	must[*pb.Formula](t)(formulas.CreateFormula(t.Context(), once))
	refuse(t, []bad{
		{"request id with other content", codes.AlreadyExists, "request id", create(func(r *pb.CreateFormulaRequest) {
			r.FormulaId, r.RequestId, r.Formula.Title = "cyan", once.GetRequestId(), "Other"
		})},
		{"empty", invalid, "formula", create(func(r *pb.CreateFormulaRequest) { r.Formula = nil })},
		{"id", invalid, "formula_id", create(func(r *pb.CreateFormulaRequest) { r.FormulaId = "No Good" })},
		{"sum", invalid, "exactly 1", create(func(r *pb.CreateFormulaRequest) { r.Formula.Ingredients[0].Share = 0.17 })},
		{"7th decimal", invalid, "six decimals", create(func(r *pb.CreateFormulaRequest) { r.Formula.Ingredients[0].Share = 0.1800001 })},
		{"NaN", invalid, "ingredients[0].share", create(func(r *pb.CreateFormulaRequest) { r.Formula.Ingredients[0].Share = math.NaN() })},
		{"huge", invalid, "ingredients[0].share", create(func(r *pb.CreateFormulaRequest) { r.Formula.Ingredients[0].Share = 1e300 })},
		{"negative", invalid, "ingredients[0].share", create(func(r *pb.CreateFormulaRequest) { r.Formula.Ingredients[0].Share = -0.18 })},
		{"yield", invalid, "yield_fraction", create(func(r *pb.CreateFormulaRequest) { r.Formula.YieldFraction = 0.98765432 })},
		{"material", invalid, "materials/gold", create(func(r *pb.CreateFormulaRequest) { r.Formula.Ingredients[0].Material = "materials/gold" })},
		{"itself", invalid, "itself", create(func(r *pb.CreateFormulaRequest) { r.Formula.Ingredients[0].Material = "materials/cyan" })},
		{"specification", invalid, "formula.specification", create(func(r *pb.CreateFormulaRequest) { r.Formula.Specification = "specifications/nothing" })},
		{"step", invalid, "route[0].step", create(func(r *pb.CreateFormulaRequest) { r.Formula.Route[0].Step = 99 })},
		{"get", codes.NotFound, "formulas/nothing", func(ctx context.Context) error {
			_, err := formulas.GetFormula(ctx, &pb.GetFormulaRequest{Name: "formulas/nothing"})
			return err
		}},
		{"revisions", codes.NotFound, "formulas/nothing", func(ctx context.Context) error {
			_, err := formulas.ListFormulaRevisions(ctx, &pb.ListFormulaRevisionsRequest{Name: "formulas/nothing"})
			return err
		}},
		{"release without revision", invalid, "name", func(ctx context.Context) error {
			_, err := formulas.ReleaseFormula(ctx, &pb.ReleaseFormulaRequest{Name: "formulas/cyan"})
			return err
		}},
		{"filter", invalid, "colour", func(ctx context.Context) error {
			_, err := formulas.ListFormulas(ctx, &pb.ListFormulasRequest{Filter: `colour = "blue"`})
			return err
		}},
	})
	all := must[*pb.ListFormulasResponse](t)(formulas.ListFormulas(t.Context(), &pb.ListFormulasRequest{}))
	if len(all.GetFormulas()) != 1 || all.GetFormulas()[0].GetRevision() != 2 {
		t.Errorf("a refused request left something behind: %v", all)
	}
}

func finishing(client pb.BatchServiceClient, change func(*pb.FinishBatchRequest)) func(context.Context) error {
	return func(ctx context.Context) error {
		req := &pb.FinishBatchRequest{Name: "batches/b-1", FinishedKg: 99, FinishedLotId: "cyan-1", Location: "f-1", RequestId: uuid.NewString()}
		change(req)
		_, err := client.FinishBatch(ctx, req)
		return err
	}
}

func TestBatchRefusals(t *testing.T) {
	conn := smallPlant(t)
	client, ctx := pb.NewBatchServiceClient(conn), t.Context()
	due := time.Now().AddDate(0, 0, 10).Format(time.DateOnly)
	good := func() *pb.CreateBatchRequest {
		return &pb.CreateBatchRequest{BatchId: "b-2", Batch: &pb.Batch{Formula: "formulas/cyan@1", QuantityKg: 100, DueDate: due}}
	}
	first := good()
	first.BatchId, first.RequestId = "b-1", uuid.NewString()
	must[*pb.Batch](t)(client.CreateBatch(ctx, first))
	reserved := must[*pb.Batch](t)(client.ReserveBatch(ctx, &pb.ReserveBatchRequest{Name: "batches/b-1"}))
	create := func(change func(*pb.CreateBatchRequest)) func(context.Context) error {
		return func(ctx context.Context) error {
			req := good()
			change(req)
			_, err := client.CreateBatch(ctx, req)
			return err
		}
	}
	finish := func(change func(*pb.FinishBatchRequest)) func(context.Context) error {
		return finishing(client, change)
	}
	invalid := codes.InvalidArgument
	refuse(t, []bad{
		{"no formula", invalid, "formula", create(func(r *pb.CreateBatchRequest) { r.Batch.Formula = "" })},
		{"both", invalid, "either", create(func(r *pb.CreateBatchRequest) { r.Batch.Specification = "specifications/cyan" })},
		{"unknown formula", invalid, "batch.formula", create(func(r *pb.CreateBatchRequest) { r.Batch.Formula = "formulas/nothing" })},
		{"revision 0", invalid, "batch.formula", create(func(r *pb.CreateBatchRequest) { r.Batch.Formula = "formulas/cyan@0" })},
		{"other material", invalid, "batch.material", create(func(r *pb.CreateBatchRequest) { r.Batch.Material = "materials/oil" })},
		{"7th decimal", invalid, "milligram", create(func(r *pb.CreateBatchRequest) { r.Batch.QuantityKg = 1.0000001 })},
		{"NaN", invalid, "quantity_kg", create(func(r *pb.CreateBatchRequest) { r.Batch.QuantityKg = math.NaN() })},
		{"huge", invalid, "quantity_kg", create(func(r *pb.CreateBatchRequest) { r.Batch.QuantityKg = 1e300 })},
		{"date", invalid, "due_date", create(func(r *pb.CreateBatchRequest) { r.Batch.DueDate = "2027-13-01" })},
		{"request id with other content", codes.AlreadyExists, "request id", create(func(r *pb.CreateBatchRequest) { r.RequestId = first.GetRequestId() })},
		{"taken", codes.AlreadyExists, "batches/b-1", create(func(r *pb.CreateBatchRequest) { r.BatchId = "b-1" })},
		{"reserve twice", codes.FailedPrecondition, "planned", func(ctx context.Context) error {
			_, err := client.ReserveBatch(ctx, &pb.ReserveBatchRequest{Name: "batches/b-1"})
			return err
		}},
		{"reserve nothing", codes.NotFound, "batches/nothing", func(ctx context.Context) error {
			_, err := client.ReserveBatch(ctx, &pb.ReserveBatchRequest{Name: "batches/nothing"})
			return err
		}},
		{"stale", codes.Aborted, "b-1", finish(func(r *pb.FinishBatchRequest) { r.Etag = "v1" })},
		{"no etag", invalid, "etag", finish(func(r *pb.FinishBatchRequest) { r.Etag = "yesterday" })},
		{"no request id", invalid, "request_id", finish(func(r *pb.FinishBatchRequest) { r.RequestId = "" })},
		{"more out than in", invalid, "finished_kg", finish(func(r *pb.FinishBatchRequest) { r.FinishedKg = 500 })},
		{"weighed NaN", invalid, "weights[0].weighed_kg", finish(func(r *pb.FinishBatchRequest) {
			r.Weights = []*pb.ActualWeight{{Lot: "lots/oil-1", WeighedKg: math.NaN()}}
		})},
		{"weighed twice", invalid, "weights[1].lot", finish(func(r *pb.FinishBatchRequest) {
			r.Weights = []*pb.ActualWeight{{Lot: "lots/oil-1", WeighedKg: 1}, {Lot: "lots/oil-1", WeighedKg: 1}}
		})},
		{"not on the ticket", invalid, "not on the ticket", finish(func(r *pb.FinishBatchRequest) {
			r.Weights = []*pb.ActualWeight{{Lot: "lots/gold-1", WeighedKg: 1}}
		})},
		{"more than there is", codes.FailedPrecondition, "oil-1", finish(func(r *pb.FinishBatchRequest) {
			r.Weights = []*pb.ActualWeight{{Lot: "lots/oil-1", WeighedKg: 200.001}}
		})},
		{"lot taken", codes.AlreadyExists, "lots/oil-1", finish(func(r *pb.FinishBatchRequest) { r.FinishedLotId = "oil-1" })},
	})
	now := must[*pb.Batch](t)(client.GetBatch(ctx, &pb.GetBatchRequest{Name: "batches/b-1"}))
	if now.GetEtag() != reserved.GetEtag() {
		t.Errorf("a refused request changed the batch: %v", now)
	}
}

func TestTheOrderDeskGetsNothing(t *testing.T) {
	conn := servertest.Start(t).As(app.OrderDesk)
	denied := codes.PermissionDenied
	refuse(t, []bad{
		{"formula", denied, "", func(ctx context.Context) error {
			_, err := pb.NewFormulaServiceClient(conn).GetFormula(ctx, &pb.GetFormulaRequest{Name: "formulas/cyan"})
			return err
		}},
		{"specification", denied, "", func(ctx context.Context) error {
			_, err := pb.NewSpecificationServiceClient(conn).GetSpecification(ctx, &pb.GetSpecificationRequest{Name: "specifications/cyan"})
			return err
		}},
		{"optimise", denied, "", func(ctx context.Context) error {
			_, err := pb.NewOptimiserServiceClient(conn).Optimise(ctx, sheetfed())
			return err
		}},
		{"ticket", denied, "", func(ctx context.Context) error {
			_, err := pb.NewBatchServiceClient(conn).GetBatchTicket(ctx, &pb.GetBatchTicketRequest{Name: "batches/b-1"})
			return err
		}},
	})
}
