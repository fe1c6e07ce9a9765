package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) leadTime() *cobra.Command {
	r := &pb.GetLeadTimeRequest{}
	c := &cobra.Command{
		Use: "lead-time INK", Short: "When can the customer have it, and why then", GroupID: groupDesk, Args: cobra.ExactArgs(1),
		Long: "Tells the earliest date for a quantity of an ink, from finished stock, materials, lead times and the plant's calendar, and what decides it.",
		Example: `  millbase lead-time sheetfed-black --kg 250
  millbase lead-time spot-plum --kg 40 --from 2026-04-01`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			r.Material = prefixed("materials", args[0])
			answer, err := pb.NewLeadTimeServiceClient(conn).GetLeadTime(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() { a.printLeadTime(answer) })
		},
	}
	f := c.Flags()
	f.Float64Var(&r.QuantityKg, "kg", 0, "how much")
	f.StringVar(&r.FromDate, "from", "", "not before this day, YYYY-MM-DD")
	return c
}

func (a *app) printLeadTime(l *pb.LeadTime) {
	if !l.Possible {
		fmt.Fprintln(a.out, wrap(fmt.Sprintf("%s kg of %s can't be promised. %s", kg(l.QuantityKg), id(l.Material), l.Reason), 100, ""))
		return
	}
	fmt.Fprintf(a.out, "%s kg of %s: ready %s\n", kg(l.QuantityKg), id(l.Material), l.ReadyDate)
	fmt.Fprintln(a.out, wrap("Decided by "+word(l.DecidedBy, "DECIDED_BY_")+": "+l.Reason, 100, ""))
	if l.FromStockKg > 0 && l.ToMakeKg > 0 {
		fmt.Fprintf(a.out, "%s kg from stock, %s kg to make\n", kg(l.FromStockKg), kg(l.ToMakeKg))
	}
	if l.PricePerKg != nil {
		fmt.Fprintf(a.out, "price %s per kg\n", cash(l.PricePerKg, 4))
	}
	if len(l.Steps) > 0 {
		fmt.Fprintln(a.out)
		t := newTable("step", "from", "to")
		for _, s := range l.Steps {
			t.add(s.Title, clock(s.StartTime.AsTime()), clock(s.EndTime.AsTime()))
		}
		t.print(a.out)
	}
}

func (a *app) products() *cobra.Command {
	var list listFlags
	c := &cobra.Command{
		Use: "products", Short: "List the inks that can be asked for", GroupID: groupDesk, Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			answer := &pb.ListProductsResponse{}
			desk := pb.NewLeadTimeServiceClient(conn)
			answer.Products, err = all(cmd.Context(), list.most, func(ctx context.Context, token string) ([]*pb.Product, string, error) {
				r, err := desk.ListProducts(ctx, &pb.ListProductsRequest{PageSize: list.pageSize(), PageToken: token})
				return r.GetProducts(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() {
				t := newTable("ink", "title", ">in stock kg")
				for _, p := range answer.Products {
					t.add(id(p.Material), p.Title, kg(p.InStockKg))
				}
				t.print(a.out)
			})
		},
	}
	c.Flags().IntVar(&list.most, "most", 0, "at most this many rows (0: all)")
	return c
}
