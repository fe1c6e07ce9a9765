package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) batch() *cobra.Command {
	var list listFlags
	c := &cobra.Command{
		Use: "batch [BATCH]", Short: "List batches, plan, reserve, weigh and finish one", GroupID: groupMake, Args: cobra.MaximumNArgs(1),
		Long: "Lists batches or shows one. A batch is planned, its lots are reserved, it is weighed by its ticket and finished.",
		Example: `  millbase batch --filter 'state = "PLANNED"'
  millbase batch plan b-301 --formula sheetfed-cyan --kg 450 --due 2026-04-02
  millbase batch reserve b-301
  millbase batch ticket b-301
  millbase batch finish b-301 --kg 443.5 --lot m-b-301 --weighed l-1042=71.3`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			batches := pb.NewBatchServiceClient(conn)
			if len(args) == 1 {
				b, err := batches.GetBatch(cmd.Context(), &pb.GetBatchRequest{Name: prefixed("batches", args[0])})
				return a.batchDone(b, err)
			}
			answer := &pb.ListBatchesResponse{}
			answer.Batches, err = all(cmd.Context(), list.most, func(ctx context.Context, token string) ([]*pb.Batch, string, error) {
				r, err := batches.ListBatches(ctx, &pb.ListBatchesRequest{PageSize: list.pageSize(), PageToken: token, Filter: list.filter})
				return r.GetBatches(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() {
				t := newTable("batch", "makes", ">kg", "due", "state", "by")
				for _, b := range answer.Batches {
					t.add(id(b.Name), id(b.Material), kg(b.QuantityKg), b.DueDate, word(b.State, "BATCH_STATE_"), id(b.Formula+b.Specification))
				}
				t.print(a.out)
			})
		},
	}
	list.add(c, "state, material, due_date")
	c.AddCommand(a.batchPlan(), a.batchReserve(), a.batchTicket(), a.batchFinish(), a.batchCancel())
	return c
}

func (a *app) batchDone(b *pb.Batch, err error) error {
	if err != nil {
		return a.failed(err)
	}
	return a.show(b, func() {
		fmt.Fprintf(a.out, "Batch %s: %s kg of %s, due %s, %s\n", id(b.Name), kg(b.QuantityKg), id(b.Material), b.DueDate, word(b.State, "BATCH_STATE_"))
		if len(b.Lines) > 0 {
			fmt.Fprintln(a.out)
			t := newTable("material", "lot", "location", ">to weigh kg", ">weighed kg")
			for _, l := range b.Lines {
				t.add(id(l.Material), id(l.Lot), l.Location, kg(l.QuantityKg), kg(l.WeighedKg))
			}
			t.print(a.out)
		}
		if b.FinishedLot != "" {
			fmt.Fprintf(a.out, "\nFinished: %s kg in lot %s, in quarantine until quality control releases it.\n", kg(b.FinishedKg), id(b.FinishedLot))
		}
	})
}

func (a *app) batchPlan() *cobra.Command {
	b := &pb.Batch{}
	c := &cobra.Command{
		Use: "plan BATCH", Short: "Plan a batch", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			b.Formula, b.Specification = prefixed("formulas", b.Formula), prefixed("specifications", b.Specification)
			made, err := pb.NewBatchServiceClient(conn).CreateBatch(cmd.Context(), &pb.CreateBatchRequest{BatchId: args[0], Batch: b})
			return a.batchDone(made, err)
		},
	}
	f := c.Flags()
	f.StringVar(&b.Formula, "formula", "", "the formula, with @revision if not the newest released")
	f.StringVar(&b.Specification, "specification", "", "or the specification: the cheapest formula is found when lots are reserved")
	f.Float64Var(&b.QuantityKg, "kg", 0, "finished ink, kg")
	f.StringVar(&b.DueDate, "due", "", "due date, YYYY-MM-DD")
	f.StringVar(&b.Note, "note", "", "a remark")
	return c
}

func (a *app) batchReserve() *cobra.Command {
	return &cobra.Command{
		Use: "reserve BATCH", Short: "Choose the lots and set them aside, all or none", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			b, err := pb.NewBatchServiceClient(conn).ReserveBatch(cmd.Context(), &pb.ReserveBatchRequest{Name: prefixed("batches", args[0])})
			return a.batchDone(b, err)
		},
	}
}

func (a *app) batchCancel() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use: "cancel BATCH", Short: "Cancel a batch and give its lots back", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			b, err := pb.NewBatchServiceClient(conn).CancelBatch(cmd.Context(), &pb.CancelBatchRequest{Name: prefixed("batches", args[0]), Reason: why})
			return a.batchDone(b, err)
		},
	}
	c.Flags().StringVar(&why, "why", "", "the reason")
	return c
}

func (a *app) batchFinish() *cobra.Command {
	r := &pb.FinishBatchRequest{}
	var weighed []string
	c := &cobra.Command{
		Use: "finish BATCH", Short: "Consume the lots and book the finished ink", Args: cobra.ExactArgs(1),
		Long: "Consumes the reserved lots by their actual weights and books the finished lot, in one transaction. --weighed LOT=KG for each weight that differs from the ticket.",
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			r.Name = prefixed("batches", args[0])
			if r.FinishedLotId == "" {
				r.FinishedLotId = "m-" + args[0]
			}
			if r.RequestId == "" {
				r.RequestId = newID()
			}
			for _, w := range weighed {
				lot, text, _ := strings.Cut(w, "=")
				v, err := strconv.ParseFloat(text, 64)
				if err != nil {
					return &exit{exitUsage, fmt.Sprintf("--weighed %q: write LOT=KG, for example l-1042=71.3", w)}
				}
				r.Weights = append(r.Weights, &pb.ActualWeight{Lot: prefixed("lots", lot), WeighedKg: v})
			}
			b, err := pb.NewBatchServiceClient(conn).FinishBatch(cmd.Context(), r)
			return a.batchDone(b, err)
		},
	}
	f := c.Flags()
	f.Float64Var(&r.FinishedKg, "kg", 0, "what was canned, kg")
	f.StringVar(&r.FinishedLotId, "lot", "", "id of the finished lot (default: m- and the batch)")
	f.StringVar(&r.Location, "at", "finished-store", "location")
	f.StringSliceVar(&weighed, "weighed", nil, "an actual weight: LOT=KG")
	f.StringVar(&r.RequestId, "id", "", "id of the request, a UUID (default: a new one)")
	return c
}

func (a *app) batchTicket() *cobra.Command {
	return &cobra.Command{
		Use: "ticket BATCH", Short: "Print what to weigh, in what order, from which lot", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			t, err := pb.NewBatchServiceClient(conn).GetBatchTicket(cmd.Context(), &pb.GetBatchTicketRequest{Name: prefixed("batches", args[0])})
			if err != nil {
				return a.failed(err)
			}
			return a.show(t, func() { a.printTicket(t) })
		},
	}
}

// printTicket leaves room to write the actual weight and to initial.
func (a *app) printTicket(ticket *pb.BatchTicket) {
	fmt.Fprintf(a.out, "BATCH TICKET  %s\n%s, %s kg, due %s\n\n", id(ticket.Batch), ticket.Title, kg(ticket.QuantityKg), ticket.DueDate)
	t := newTable(">no.", "material", "lot", "location", ">weigh kg", "actual kg", "initials")
	for _, l := range ticket.Lines {
		t.add(fmt.Sprint(l.Step), l.Title, id(l.Lot), l.Location, kg(l.WeighKg), "__________", "______")
	}
	t.print(a.out)
	if len(ticket.Route) > 0 {
		fmt.Fprintln(a.out, "\nRoute: "+route(ticket.Route))
	}
	printCautions(a.out, ticket.Cautions)
}

func printCautions(w io.Writer, cautions []string) {
	if len(cautions) == 0 {
		return
	}
	fmt.Fprintln(w, "\nCautions")
	for _, s := range cautions {
		fmt.Fprintln(w, wrap("  - "+s, 100, "    "))
	}
}
