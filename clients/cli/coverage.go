package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

const coverageHelp = `Shows stock against the upcoming batches, by week or by day: what will be short,
when, for which batches, and what to order from whom by when.

A period's figure is the projected balance at its end, kg, with no further order.
What lies in quarantine is not counted. What expires before it is used is.`

func (a *app) coverage() *cobra.Command {
	r := &pb.GetCoverageRequest{}
	var by string
	var days int32
	var asCSV bool
	c := &cobra.Command{
		Use: "coverage", Short: "Stock against upcoming batches, and what to order", Long: coverageHelp, GroupID: groupBuy, Args: cobra.NoArgs,
		Example: `  millbase coverage --short
  millbase coverage --weeks 12 --material linseed --pegging
  millbase coverage --by day --days 10
  millbase coverage --csv > board.csv`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			switch by {
			case "week":
			case "day":
				r.Weeks, r.Days = 0, days
			default:
				return &exit{exitUsage, fmt.Sprintf("--by %q: write week or day", by)}
			}
			r.Material = prefixed("materials", r.Material)
			if asCSV {
				table, err := pb.NewPurchasingServiceClient(conn).ExportCoverage(cmd.Context(), &pb.ExportCoverageRequest{Weeks: r.Weeks, Days: r.Days, ShortOnly: r.ShortOnly, Material: r.Material, Pegging: r.Pegging})
				if err != nil {
					return a.failed(err)
				}
				_, err = a.out.Write(table.Data)
				return err
			}
			answer, err := pb.NewPurchasingServiceClient(conn).GetCoverage(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() { a.printCoverage(answer) })
		},
	}
	f := c.Flags()
	f.Int32Var(&r.Weeks, "weeks", 6, "weeks ahead")
	f.StringVar(&by, "by", "week", "week or day")
	f.Int32Var(&days, "days", 7, "days ahead, with --by day")
	f.BoolVar(&r.ShortOnly, "short", false, "only what is short")
	f.StringVar(&r.Material, "material", "", "only this material")
	f.BoolVar(&r.Pegging, "pegging", false, "every need with what covers it")
	f.BoolVar(&asCSV, "csv", false, "as comma-separated values, a line for each material and period")
	c.AddCommand(a.coverageTry())
	return c
}

// periodsAcross is how many periods stand beside one another.
const periodsAcross = 7

func (a *app) printCoverage(c *pb.Coverage) {
	if len(c.Rows) == 0 {
		fmt.Fprintln(a.out, "Everything is covered.")
		return
	}
	for from := 0; from < len(c.WeekDates); from += periodsAcross {
		if from > 0 {
			fmt.Fprintln(a.out)
		}
		a.printPeriods(c, from, min(from+periodsAcross, len(c.WeekDates)))
	}
	a.printApart(c)
	a.printSuggestions(c)
	a.printExpedites(c)
	var needs []*pb.PeggedNeed
	for _, r := range c.Rows {
		needs = append(needs, r.Needs...)
	}
	a.printNeeds("What each need is covered by", needs)
	printRemarks(a, c.Remarks)
}

// printPeriods prints the board from one period to another: what is there in
// front of the first, where it is short behind the last.
func (a *app) printPeriods(c *pb.Coverage, from, to int) {
	head := []string{"material"}
	if from == 0 {
		head = append(head, ">on hand", ">reserved")
	}
	for _, w := range c.WeekDates[from:to] {
		head = append(head, ">"+w[5:])
	}
	last := to == len(c.WeekDates)
	if last {
		head = append(head, "short from", ">short by")
	}
	t := newTable(head...)
	for _, r := range c.Rows {
		row := []string{id(r.Material)}
		if from == 0 {
			row = append(row, number(r.OnHandKg, 0), number(r.ReservedKg, 0))
		}
		for _, p := range r.ProjectedKg[from:to] {
			row = append(row, number(p, 0))
		}
		if last {
			row = append(row, r.FirstShortDate, number(r.ShortKg, 0))
		}
		t.add(row...)
	}
	t.print(a.out)
}

// printApart prints what is there and does not count, or will not for long.
func (a *app) printApart(c *pb.Coverage) {
	var held, expiring []string
	for _, r := range c.Rows {
		if r.QuarantinedKg > 0 {
			held = append(held, fmt.Sprintf("%s %s kg", id(r.Material), number(r.QuarantinedKg, 0)))
		}
		for i, kg := range r.ExpiringKg {
			if kg > 0 {
				expiring = append(expiring, fmt.Sprintf("%s %s kg (%s)", id(r.Material), number(kg, 0), c.WeekDates[i][5:]))
			}
		}
	}
	for _, line := range []struct {
		title string
		items []string
	}{{"In quarantine", held}, {"Expires before it is used", expiring}} {
		if len(line.items) > 0 {
			fmt.Fprintln(a.out)
			fmt.Fprintln(a.out, wrap(line.title+": "+strings.Join(line.items, ", "), 100, "  "))
		}
	}
}

func (a *app) printExpedites(c *pb.Coverage) {
	t := newTable("material", ">kg", "lacks on", "bring forward", "due")
	for _, r := range c.Rows {
		for _, e := range r.Expedite {
			source := id(e.Source)
			if source == "" {
				source = "nothing on order"
			}
			t.add(id(r.Material), number(e.QuantityKg, 3), e.Date, source, e.DueDate)
		}
	}
	if len(t.rows) == 0 {
		return
	}
	fmt.Fprint(a.out, "\nWithin the time fence\n\n")
	t.print(a.out)
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
		for _, s := range r.Suggestions {
			when := ""
			switch {
			case s.Late:
				when = "too late"
			case s.PastDueDays > 0:
				when = fmt.Sprintf("%d d past due", s.PastDueDays)
			}
			t.add(id(r.Material), number(s.QuantityKg, 3), id(s.Supplier), s.OrderByDate, s.ArrivalDate, cash(s.LandedCost, 2), firstOf(ids(s.Batches)), when)
		}
	}
	if len(t.rows) == 0 {
		return
	}
	fmt.Fprint(a.out, "\nTo order\n\n")
	t.print(a.out)
}

// firstOf is the first word and how many follow: "b-7 +3".
func firstOf(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return fmt.Sprintf("%s +%d", words[0], len(words)-1)
}

// ids are the last parts of resource names.
func ids(names []string) []string {
	out := make([]string, len(names))
	for i, name := range names {
		out[i] = id(name)
	}
	return out
}

// shorten joins the first n words and counts the rest.
func shorten(words []string, n int) string {
	if len(words) <= n {
		return strings.Join(words, " ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(words[:n], " "), len(words)-n)
}
