package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) coverageTry() *cobra.Command {
	r := &pb.TryCoverageRequest{}
	var late, rejected, moved []string
	c := &cobra.Command{
		Use: "try", Short: "What the board would be with things other than they are", Args: cobra.NoArgs,
		Long: "Shows what changes on the board when an order comes late, a lot is rejected or a\nbatch is moved. Nothing in the book is touched.",
		Example: `  millbase coverage try --late po-118=7
  millbase coverage try --reject l-1042 --move b-7=2026-11-20`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			for _, text := range late {
				order, by, _ := strings.Cut(text, "=")
				days, err := strconv.ParseInt(by, 10, 32)
				if err != nil {
					return &exit{exitUsage, fmt.Sprintf("--late %q: write ORDER=DAYS", text)}
				}
				r.Changes = append(r.Changes, &pb.CoverageChange{Change: &pb.CoverageChange_Delay_{
					Delay: &pb.CoverageChange_Delay{PurchaseOrder: prefixed("purchaseOrders", order), Days: int32(days)}}})
			}
			for _, lot := range rejected {
				r.Changes = append(r.Changes, &pb.CoverageChange{Change: &pb.CoverageChange_RejectedLot{RejectedLot: prefixed("lots", lot)}})
			}
			for _, text := range moved {
				batch, date, ok := strings.Cut(text, "=")
				if !ok {
					return &exit{exitUsage, fmt.Sprintf("--move %q: write BATCH=YYYY-MM-DD", text)}
				}
				r.Changes = append(r.Changes, &pb.CoverageChange{Change: &pb.CoverageChange_Move_{
					Move: &pb.CoverageChange_Move{Batch: prefixed("batches", batch), DueDate: date}}})
			}
			d, err := pb.NewPurchasingServiceClient(conn).TryCoverage(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(d, func() { a.printBoardDifference(d) })
		},
	}
	f := c.Flags()
	f.StringArrayVar(&late, "late", nil, "ORDER=DAYS, may be repeated")
	f.StringArrayVar(&rejected, "reject", nil, "LOT, may be repeated")
	f.StringArrayVar(&moved, "move", nil, "BATCH=YYYY-MM-DD, may be repeated")
	f.Int32Var(&r.Weeks, "weeks", 8, "weeks ahead")
	return c
}

func (a *app) printBoardDifference(d *pb.CoverageDifference) {
	if len(d.Rows) == 0 {
		fmt.Fprintln(a.out, "Nothing changes: the stock and the orders cover it.")
	} else {
		t := newTable("material", "short from", ">kg", "then from", ">kg", "for", ">to order", ">then", "")
		for _, r := range d.Rows {
			late := ""
			if r.After.Late {
				late = "too late"
			}
			t.add(id(r.Material), orNot(r.Before.FirstShortDate), number(r.Before.ShortKg, 1), orNot(r.After.FirstShortDate), number(r.After.ShortKg, 1),
				firstOf(ids(r.After.Batches)), number(r.Before.OrderedKg, 1), number(r.After.OrderedKg, 1), late)
		}
		t.print(a.out)
	}
	fmt.Fprintf(a.out, "\nWhat is to be ordered costs %s, then %s.\n", cash(d.CostBefore, 2), cash(d.CostAfter, 2))
	printRemarks(a, d.Remarks)
}

// orNot is a date, or that there is none.
func orNot(date string) string {
	if date == "" {
		return "covered"
	}
	return date
}
