package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) pegging() *cobra.Command {
	return &cobra.Command{
		Use: "pegging ORDER|BATCH", Short: "Which batches hang on an order, and what a batch waits for", GroupID: groupBuy, Args: cobra.ExactArgs(1),
		Long: "Shows which batches take from an open purchase order or a planned batch, and by what\neach need of a batch is covered. Write orders/ID or batches/ID.",
		Example: `  millbase pegging orders/po-118
  millbase pegging batches/b-7`,
		RunE: func(cmd *cobra.Command, args []string) error {
			name, ok := args[0], strings.HasPrefix(args[0], "batches/") || strings.HasPrefix(args[0], "purchaseOrders/")
			if order, found := strings.CutPrefix(name, "orders/"); found {
				name, ok = "purchaseOrders/"+order, true
			}
			if !ok {
				return &exit{exitUsage, fmt.Sprintf("%q: write orders/ID or batches/ID", args[0])}
			}
			conn, err := a.client()
			if err != nil {
				return err
			}
			p, err := pb.NewPurchasingServiceClient(conn).GetPegging(cmd.Context(), &pb.GetPeggingRequest{Name: name})
			if err != nil {
				return a.failed(err)
			}
			return a.show(p, func() { a.printPegging(p) })
		},
	}
}

func (a *app) printPegging(p *pb.Pegging) {
	fmt.Fprintln(a.out, p.Name)
	a.printNeeds("What it waits for", p.Needs)
	a.printNeeds("What takes from it", p.Serves)
	for _, f := range p.Free {
		fmt.Fprintf(a.out, "\n%s kg of %s is needed by no batch.\n", number(f.QuantityKg, 3), id(f.Material))
	}
}

// printNeeds prints needs with a line for each cover.
func (a *app) printNeeds(title string, needs []*pb.PeggedNeed) {
	if len(needs) == 0 {
		return
	}
	t := newTable("material", "needed on", ">kg", "for", ">covered kg", "by", "there on", "")
	for _, n := range needs {
		first := []string{id(n.Material), n.Date, number(n.QuantityKg, 3), firstOf(ids(n.Batches))}
		if n.ShortKg > 0 {
			t.add(append(first, number(n.ShortKg, 3), "nothing", "", "short")...)
			first = make([]string, 4)
		}
		for _, c := range n.Covers {
			by, late := id(c.Source), ""
			if c.Supplier != "" {
				by += " from " + id(c.Supplier)
			}
			if c.LateDays > 0 {
				late = fmt.Sprintf("%d d late", c.LateDays)
			}
			t.add(append(first, number(c.QuantityKg, 3), by, c.ArrivalDate, late)...)
			first = make([]string, 4)
		}
	}
	fmt.Fprintf(a.out, "\n%s\n\n", title)
	t.print(a.out)
}
