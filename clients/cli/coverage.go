package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

const coverageHelp = `Shows stock against the upcoming batches, week by week: what will be short, when,
for which batches, and what to order from whom by when.

A week's figure is the projected balance at its end, kg.`

func (a *app) coverage() *cobra.Command {
	r := &pb.GetCoverageRequest{}
	c := &cobra.Command{
		Use: "coverage", Short: "Stock against upcoming batches, and what to order", Long: coverageHelp, GroupID: groupBuy, Args: cobra.NoArgs,
		Example: `  millbase coverage --short
  millbase coverage --weeks 12 --material linseed`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			r.Material = prefixed("materials", r.Material)
			answer, err := pb.NewPurchasingServiceClient(conn).GetCoverage(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() { a.printCoverage(answer) })
		},
	}
	f := c.Flags()
	f.Int32Var(&r.Weeks, "weeks", 6, "weeks ahead")
	f.BoolVar(&r.ShortOnly, "short", false, "only what is short")
	f.StringVar(&r.Material, "material", "", "only this material")
	return c
}

func (a *app) printCoverage(c *pb.Coverage) {
	if len(c.Rows) == 0 {
		fmt.Fprintln(a.out, "Everything is covered.")
		return
	}
	head := []string{"material", ">on hand", ">reserved"}
	for _, w := range c.WeekDates {
		head = append(head, ">"+w[5:])
	}
	t := newTable(append(head, "short from", ">short by")...)
	for _, r := range c.Rows {
		row := []string{id(r.Material), number(r.OnHandKg, 0), number(r.ReservedKg, 0)}
		for _, p := range r.ProjectedKg {
			row = append(row, number(p, 0))
		}
		t.add(append(row, r.FirstShortDate, number(r.ShortKg, 0))...)
	}
	t.print(a.out)
	a.printSuggestions(c)
	printRemarks(a, c.Remarks)
}

func printRemarks(a *app, remarks []string) {
	if len(remarks) == 0 {
		return
	}
	fmt.Fprintln(a.out, "\nRemarks:")
	for _, s := range remarks {
		fmt.Fprintln(a.out, wrap("  - "+s, 100, "    "))
	}
}

func (a *app) printSuggestions(c *pb.Coverage) {
	t := newTable("order", ">kg", "from", "by", "arrives", ">landed", "for", "")
	for _, r := range c.Rows {
		var batches []string
		for _, b := range r.Batches {
			batches = append(batches, id(b))
		}
		for _, s := range r.Suggestions {
			late := ""
			if s.Late {
				late = "too late even today"
			}
			t.add(id(r.Material), number(s.QuantityKg, 3), id(s.Supplier), s.OrderByDate, s.ArrivalDate, cash(s.LandedCost, 2), shorten(batches, 3), late)
		}
	}
	if len(t.rows) == 0 {
		return
	}
	fmt.Fprint(a.out, "\nTo order\n\n")
	t.print(a.out)
}

// shorten joins the first n words and counts the rest.
func shorten(words []string, n int) string {
	if len(words) <= n {
		return strings.Join(words, " ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(words[:n], " "), len(words)-n)
}
