package main

import (
	"fmt"
	"time"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

const quoteHelp = `Prices a formula for a customer at several quantities and keeps the quote.
Cost steps with the number of batches that a quantity takes.

'quote show' prints the whole quote, cost included; 'quote customer' what the
customer may see.`

func (a *app) quote() *cobra.Command {
	q := &pb.Quote{}
	r := &pb.CreateQuoteRequest{Quote: q}
	var basis, minimum string
	c := &cobra.Command{
		Use: "quote QUOTE", Short: "Quote an ink at several quantities", Long: quoteHelp, GroupID: groupMake, Args: cobra.ExactArgs(1),
		Example: `  millbase quote q-31 --formula spot-harbour-blue --customer "Millgate Press" --kg 25,120,500 --pack tin-2-5
  millbase quote customer q-31`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			r.QuoteId, q.Formula = args[0], prefixed("formulas", q.Formula)
			if q.ValidUntilDate == "" {
				q.ValidUntilDate = time.Now().AddDate(0, 0, 30).Format(time.DateOnly)
			}
			if basis != "" {
				if q.CostBasis, err = enum[pb.CostBasis](pb.CostBasis_value, "COST_BASIS_", basis); err != nil {
					return err
				}
			}
			if minimum != "" {
				if q.MinimumCharge, err = parseCash(minimum); err != nil {
					return err
				}
			}
			made, err := pb.NewQuoteServiceClient(conn).CreateQuote(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(made, func() { a.printQuote(made) })
		},
	}
	f := c.Flags()
	f.StringVar(&q.Formula, "formula", "", "the formula, with @revision if not the newest released")
	f.StringVar(&q.Customer, "customer", "", "the customer")
	f.StringVar(&q.Title, "title", "", "the ink as the customer knows it")
	f.Float64SliceVar(&q.QuantitiesKg, "kg", nil, "quantities, kg: 25,120,500")
	f.StringVar(&basis, "basis", "", "value lots by: lot, average, replacement, standard")
	f.StringVar(&q.MarginPercent, "margin", "", "share of the price, percent (default: the plant's)")
	f.StringVar(&q.CurrencyCode, "currency", "", "of the quote (default: the plant's)")
	f.StringVar(&q.ValidUntilDate, "valid-until", "", "YYYY-MM-DD (default: 30 days from now)")
	f.StringVar(&q.Pack, "pack", "", "container, by its id")
	f.StringVar(&minimum, "minimum", "", "minimum charge: 150EUR")
	f.BoolVar(&q.WithLaboratoryCharge, "laboratory", false, "add the laboratory charge")
	c.AddCommand(a.quoteShow(), a.quoteCustomer())
	return c
}

func (a *app) quoteShow() *cobra.Command {
	return &cobra.Command{
		Use: "show QUOTE", Short: "Show a quote whole, cost included", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			q, err := pb.NewQuoteServiceClient(conn).GetQuote(cmd.Context(), &pb.GetQuoteRequest{Name: prefixed("quotes", args[0])})
			if err != nil {
				return a.failed(err)
			}
			return a.show(q, func() { a.printQuote(q) })
		},
	}
}

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
			return a.show(q, func() {
				fmt.Fprintf(a.out, "Quote %s for %s: %s\n\n", id(q.Name), q.Customer, q.Title)
				t := newTable(">quantity kg", ">price per kg", ">price")
				for _, p := range q.Prices {
					t.add(kg(p.QuantityKg), cash(p.PricePerKg, 4), cash(p.Price, 2))
				}
				t.print(a.out)
				fmt.Fprintf(a.out, "\nHolds until %s.\n", q.ValidUntilDate)
			})
		},
	}
}

func (a *app) printQuote(q *pb.Quote) {
	fmt.Fprintf(a.out, "Quote %s for %s: %s (%s)\n", id(q.Name), q.Customer, q.Title, id(q.Formula))
	fmt.Fprintf(a.out, "margin %s %% of the price, %s basis, holds until %s\n\n", q.MarginPercent, word(q.CostBasis, "COST_BASIS_"), q.ValidUntilDate)
	t := newTable(">quantity kg", ">batches", ">cost per kg", ">cost", ">price per kg", ">price")
	for _, b := range q.Breaks {
		t.add(kg(b.QuantityKg), fmt.Sprint(b.Batches), cash(b.CostPerKg, 4), cash(b.Cost, 2), cash(b.PricePerKg, 4), cash(b.Price, 2))
	}
	t.print(a.out)
	printAssumptions(a.out, q.Assumptions)
}
