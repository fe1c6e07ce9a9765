package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/genproto/googleapis/type/money"

	pb "millbase/proto/millbase/v1"
)

func (a *app) quoteCustomer() *cobra.Command {
	return &cobra.Command{
		Use: "customer QUOTE", Short: "Show what the customer may see", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			q, err := pb.NewQuoteServiceClient(conn).GetCustomerQuote(cmd.Context(), &pb.GetCustomerQuoteRequest{Name: prefixed("quotes", args[0])})
			if err != nil {
				return a.failed(err)
			}
			return a.show(q, func() { a.printCustomerQuote(q) })
		},
	}
}

func (a *app) printCustomerQuote(q *pb.CustomerQuote) {
	fmt.Fprintf(a.out, "Quote %s@%d of %s for %s: %s (%s)\n\n", id(q.Name), q.Revision, q.QuoteDate, q.Customer, q.Title, q.State)
	t := newTable(">quantity kg", "in", ">price per kg", ">price", ">days from order")
	for _, p := range q.Prices {
		days := "on request"
		if p.LeadTimeDays != nil {
			days = fmt.Sprint(*p.LeadTimeDays)
		}
		price := cash(p.Price, 2)
		if p.MinimumCharge {
			price = "minimum charge " + price
		}
		t.add(kg(p.QuantityKg), cansIn(p.Cans), cash(p.PricePerKg, 4), price, days)
	}
	t.print(a.out)
	if q.Shade != nil {
		fmt.Fprintf(a.out, "\n%s\n", q.Shade.InWords)
	}
	fmt.Fprintf(a.out, "\nHolds until %s.\n", q.ValidUntilDate)
	for _, c := range q.Cautions {
		fmt.Fprintln(a.out, c)
	}
	a.printAccepted(q.Accepted)
}

func cansIn(cans []*pb.QuoteCans) string {
	var parts []string
	for _, c := range cans {
		parts = append(parts, fmt.Sprintf("%d x %s", c.Count, c.Title))
	}
	return strings.Join(parts, " + ")
}

func (a *app) printAccepted(x *pb.AcceptedQuote) {
	if x != nil {
		fmt.Fprintf(a.out, "\n%s accepted on %s: %s kg for %s; batch %s is due on %s\n", id(x.Quote), x.AcceptedDate, kg(x.QuantityKg), cash(x.Price, 2), id(x.Batch), x.DueDate)
	}
}

func (a *app) printQuote(q *pb.Quote) {
	of := id(q.Formula)
	if of == "" {
		of = "matched to a shade"
	}
	fmt.Fprintf(a.out, "Quote %s of %s for %s: %s (%s)\n", quoteName(q), q.QuoteDate, q.Customer, q.Title, of)
	fmt.Fprintf(a.out, "%s; margin %s %% of the price, %s basis, holds until %s\n\n", q.State, q.MarginPercent, word(q.CostBasis, "COST_BASIS_"), q.ValidUntilDate)
	t := newTable(">quantity kg", ">batches", ">cost per kg", ">cost", ">price per kg", ">price", ">margin %", ">ready")
	for _, b := range q.Breaks {
		ready := "?"
		if b.LeadTime.GetPossible() {
			ready = b.LeadTime.ReadyDate
		}
		quantity := kg(b.QuantityKg)
		if b.FullBatch {
			quantity = "full batch " + quantity
		}
		t.add(quantity, fmt.Sprint(b.Batches), cash(b.CostPerKg, 4), cash(b.Cost, 2), cash(b.PricePerKg, 4), cash(b.Price, 2), b.MarginPercent, ready)
	}
	t.print(a.out)
	if len(q.Breaks) > 0 && len(q.Breaks[0].ByBasis) > 1 {
		fmt.Fprintf(a.out, "\nThe cost of %s kg on every basis", kg(q.Breaks[0].QuantityKg))
		printBases(a.out, q.Breaks[0].ByBasis)
	}
	a.printAccepted(q.Accepted)
	printAssumptions(a.out, q.Assumptions)
}

func (a *app) quoteAccept() *cobra.Command {
	r := &pb.AcceptQuoteRequest{}
	c := &cobra.Command{
		Use: "accept QUOTE", Short: "The customer takes a sent quote: plan the batch", Args: cobra.ExactArgs(1),
		Long: "The customer takes the quote that was sent last at one of its quantities. Plans the batch,\nand makes the formula of a matched shade.",
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			r.Name, r.RequestId = prefixed("quotes", args[0]), newID()
			x, err := pb.NewQuoteServiceClient(conn).AcceptQuote(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(x, func() { a.printAccepted(x) })
		},
	}
	f := c.Flags()
	f.Float64Var(&r.QuantityKg, "kg", 0, "which of the quoted quantities")
	f.StringVar(&r.BatchId, "batch", "", "id of the batch (default: the quote's)")
	f.StringVar(&r.DueDate, "due", "", "YYYY-MM-DD (default: the quoted lead time from today)")
	return c
}

func (a *app) quoteRebuild() *cobra.Command {
	return &cobra.Command{
		Use: "rebuild QUOTE", Short: "Work a quote out again from what was kept with it", Args: cobra.ExactArgs(1),
		Long: "Works a quote out again from the prices, rates, times and formula parts that were kept with\nit, whatever the book says today, and says which figure differs.",
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			r, err := pb.NewQuoteServiceClient(conn).RebuildQuote(cmd.Context(), &pb.RebuildQuoteRequest{Name: prefixed("quotes", args[0])})
			if err != nil {
				return a.failed(err)
			}
			return a.show(r, func() {
				if r.Same {
					fmt.Fprintf(a.out, "%s comes out the same to the cent, line by line.\n", id(r.Quote))
					return
				}
				fmt.Fprintf(a.out, "%s comes out differently:\n\n", id(r.Quote))
				t := newTable(">kg", "figure", "as quoted", "rebuilt")
				for _, d := range r.Differences {
					t.add(kg(d.QuantityKg), d.What, d.Kept, d.Rebuilt)
				}
				t.print(a.out)
			})
		},
	}
}

func (a *app) quoteCompare() *cobra.Command {
	r := &pb.CompareQuoteRevisionsRequest{}
	every := false
	c := &cobra.Command{
		Use: "compare QUOTE", Short: "Show what changed from one revision to another, line by line", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			r.Name = prefixed("quotes", args[0])
			answer, err := pb.NewQuoteServiceClient(conn).CompareQuoteRevisions(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() { a.printQuoteComparison(answer, every) })
		},
	}
	f := c.Flags()
	f.Int32Var(&r.FromRevision, "from", 0, "revision (default: the one before --to)")
	f.Int32Var(&r.ToRevision, "to", 0, "revision (default: the newest)")
	f.BoolVar(&every, "all", false, "also lines that did not change")
	return c
}

func (a *app) printQuoteComparison(c *pb.QuoteComparison, every bool) {
	fmt.Fprintf(a.out, "From %s to %s, in %s\n", id(c.FromQuote), id(c.ToQuote), c.CurrencyCode)
	if len(c.Terms) > 0 {
		fmt.Fprintln(a.out)
		t := newTable("term", "before", "after")
		for _, x := range c.Terms {
			t.add(x.Term, x.Before, x.After)
		}
		t.print(a.out)
	}
	for _, q := range c.Quantities {
		fmt.Fprintf(a.out, "\n%s kg\n", kg(q.QuantityKg))
		t := newTable("line", ">before", ">after", ">difference", "what changed")
		others := false
		for _, l := range q.Lines {
			if every || l.What != "" || !isZero(l.Difference) {
				t.add(strings.Repeat("  ", int(l.Level))+l.Title, cashNumber(l.Before, 2), cashNumber(l.After, 2), signedCash(l.Difference), l.What)
				continue
			}
			others = true
		}
		if others {
			t.add("(all other lines)", "", "", "0.00", "unchanged")
		}
		t.add("price", cashNumber(q.Before, 2), cashNumber(q.After, 2), signedCash(q.Difference), "")
		t.print(a.out)
	}
	for _, x := range []struct {
		in   string
		list []float64
	}{{c.FromQuote, c.OnlyFromKg}, {c.ToQuote, c.OnlyToKg}} {
		for _, quantity := range x.list {
			fmt.Fprintf(a.out, "\n%s kg stands in %s only.\n", kg(quantity), id(x.in))
		}
	}
}

func isZero(m *money.Money) bool { return m.GetUnits() == 0 && m.GetNanos() == 0 }

// signedCash is an amount with its sign, as a difference is read.
func signedCash(m *money.Money) string {
	text := cashNumber(m, 2)
	if m.GetUnits() > 0 || m.GetNanos() > 0 {
		return "+" + text
	}
	return text
}
