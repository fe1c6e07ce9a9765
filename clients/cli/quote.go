package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	pb "millbase/proto/millbase/v1"
)

const quoteHelp = `Quotes an ink to a customer, and keeps what the quote was worked out from.

A quote is a draft until it is sent. A sent one is accepted, which plans the batch,
or lapses with its last day. What a quote said never changes: other terms, or
today's prices, make its next revision (q-31@2).`

func (a *app) quote() *cobra.Command {
	c := &cobra.Command{
		Use: "quote", Short: "Quote an ink: prices, revisions, acceptance", Long: quoteHelp, GroupID: groupMake,
		Example: `  millbase quote create q-31 --formula spot-harbour-blue --customer "Millgate Press" --kg 25,120,500 --pack tin-2-5
  millbase quote send q-31
  millbase quote customer q-31
  millbase quote accept q-31 --kg 120`,
	}
	c.AddCommand(a.quoteCreate(), a.quoteRevise(), a.quoteSend(), a.quoteAccept(), a.quoteShow(), a.quoteCustomer(), a.quotePrint(), a.quoteList(), a.quoteCompare(), a.quoteRebuild())
	return c
}

const quoteCreateHelp = `Prices an ink for a customer at several quantities and keeps the quote as a draft: of a
formula (--formula), or of a shade (--shade) that is matched from base inks for the first
quantity. Cost steps with the number of batches that a quantity takes.

` + colourHelp

// quoteTerms are the flags of what a quote says.
type quoteTerms struct {
	*pb.Quote
	basis, minimum, target string
}

func (q *quoteTerms) add(f *pflag.FlagSet) {
	f.StringVar(&q.Formula, "formula", "", "the formula, with @revision if not the newest released")
	f.StringVar(&q.Title, "title", "", "the ink as the customer knows it")
	f.Float64SliceVar(&q.QuantitiesKg, "kg", nil, "quantities, kg: 25,120,500")
	f.StringVar(&q.basis, "basis", "", "value lots by: lot, average, replacement, standard")
	f.StringVar(&q.MarginPercent, "margin", "", "share of the price, percent (default: the plant's)")
	f.StringVar(&q.CurrencyCode, "currency", "", "of the quote (default: the plant's)")
	f.StringVar(&q.ValidUntilDate, "valid-until", "", "YYYY-MM-DD (default: 30 days from now)")
	f.StringVar(&q.Pack, "pack", "", "container, by its id; several with commas between are mixed as is cheapest")
	f.StringVar(&q.target, "target-price", "", "price per kg that is asked, whatever the margin: 12.50EUR")
	f.BoolVar(&q.WithFullBatches, "full-batches", false, "quote full batches of the mixers too")
	f.Var(&optionalNumber{&q.Lightness}, "lightness", "CIE L* of a print, for the wash-up (of a shade: as predicted)")
	f.Var(&optionalNumber{&q.AfterLightness}, "after", "CIE L* of the ink on the machines before; from light to dark a short wash-up is enough")
	f.StringVar(&q.minimum, "minimum", "", "minimum charge: 150EUR")
	f.BoolVar(&q.WithLaboratoryCharge, "laboratory", false, "add the laboratory charge")
}

// complete reads the flags that are not as the API wants them.
func (q *quoteTerms) complete() (err error) {
	q.Formula = prefixed("formulas", q.Formula)
	if q.ValidUntilDate == "" {
		q.ValidUntilDate = time.Now().AddDate(0, 0, 30).Format(time.DateOnly)
	}
	if q.basis != "" {
		if q.CostBasis, err = enum[pb.CostBasis](pb.CostBasis_value, "COST_BASIS_", q.basis); err != nil {
			return err
		}
	}
	if q.target != "" {
		if q.TargetPricePerKg, err = parseCash(q.target); err != nil {
			return err
		}
	}
	if q.minimum != "" {
		q.MinimumCharge, err = parseCash(q.minimum)
	}
	return err
}

func (a *app) quoteCreate() *cobra.Command {
	q, shade := &quoteTerms{Quote: &pb.Quote{}}, &quoteShade{}
	c := &cobra.Command{
		Use: "create QUOTE", Short: "Price an ink at several quantities and keep the quote as a draft", Args: cobra.ExactArgs(1), Long: quoteCreateHelp,
		Example: `  millbase quote create q-31 --formula spot-harbour-blue --customer "Millgate Press" --kg 25,120,500 --pack tin-2-5
  millbase quote create q-32 --shade customer.txt#blue --on uncoated-white --title "Quay blue" --customer "Millgate Press" --kg 120,25`,
		RunE: func(cmd *cobra.Command, args []string) (err error) {
			if err := q.complete(); err != nil {
				return err
			}
			if q.Shade, err = shade.of(a, cmd); err != nil {
				return err
			}
			return a.quoteCall(func(s pb.QuoteServiceClient) (*pb.Quote, error) {
				return s.CreateQuote(cmd.Context(), &pb.CreateQuoteRequest{QuoteId: args[0], Quote: q.Quote, RequestId: newID()})
			})
		},
	}
	q.add(c.Flags())
	shade.flags(c.Flags())
	c.Flags().StringVar(&q.Customer, "customer", "", "the customer")
	return c
}

func (a *app) quoteRevise() *cobra.Command {
	q := &quoteTerms{Quote: &pb.Quote{}}
	c := &cobra.Command{
		Use: "revise QUOTE", Short: "Price a quote again as its next revision", Args: cobra.ExactArgs(1),
		Long:    "Prices a quote again, at today's prices and with the terms that are given, as its next\nrevision. The revisions before stay as they are.",
		Example: "  millbase quote revise q-31\n  millbase quote revise q-31 --margin 32 --kg 120,240",
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := q.complete(); err != nil {
				return err
			}
			r := &pb.ReviseQuoteRequest{Name: prefixed("quotes", args[0]), Quote: q.Quote, RequestId: newID()}
			if cmd.Flags().Changed("laboratory") && !q.WithLaboratoryCharge {
				return &exit{exitUsage, "--laboratory=false: make a new quote without the charge"}
			}
			return a.quoteCall(func(s pb.QuoteServiceClient) (*pb.Quote, error) { return s.ReviseQuote(cmd.Context(), r) })
		},
	}
	q.add(c.Flags())
	return c
}

// quoteCall prints the quote that a call answers.
func (a *app) quoteCall(call func(pb.QuoteServiceClient) (*pb.Quote, error)) error {
	conn, err := a.client()
	if err != nil {
		return err
	}
	q, err := call(pb.NewQuoteServiceClient(conn))
	if err != nil {
		return a.failed(err)
	}
	return a.show(q, func() { a.printQuote(q) })
}

func (a *app) quoteShow() *cobra.Command {
	return &cobra.Command{
		Use: "show QUOTE", Short: "Show a quote whole, cost included: the newest revision, or q-31@2", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.quoteCall(func(s pb.QuoteServiceClient) (*pb.Quote, error) {
				return s.GetQuote(cmd.Context(), &pb.GetQuoteRequest{Name: prefixed("quotes", args[0])})
			})
		},
	}
}

func (a *app) quoteSend() *cobra.Command {
	return &cobra.Command{
		Use: "send QUOTE", Short: "Mark the newest revision as sent to the customer", Args: cobra.ExactArgs(1),
		Long: "Marks the newest revision as sent. From then on the order desk reads its customer copy,\nand the customer may accept it.",
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.quoteCall(func(s pb.QuoteServiceClient) (*pb.Quote, error) {
				return s.SendQuote(cmd.Context(), &pb.SendQuoteRequest{Name: prefixed("quotes", args[0])})
			})
		},
	}
}

func (a *app) quoteList() *cobra.Command {
	l := &listFlags{}
	c := &cobra.Command{
		Use: "list", Short: "List quotes, the newest revision of each", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			rows, err := all(cmd.Context(), l.most, func(ctx context.Context, token string) ([]*pb.Quote, string, error) {
				page, err := pb.NewQuoteServiceClient(conn).ListQuotes(ctx, &pb.ListQuotesRequest{PageSize: l.pageSize(), PageToken: token, Filter: l.filter})
				return page.GetQuotes(), page.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(&pb.ListQuotesResponse{Quotes: rows}, func() {
				t := newTable("quote", "customer", "ink", "state", "of", "holds until", ">kg", ">price per kg")
				for _, q := range rows {
					kilos, price := "", ""
					if n := len(q.Breaks); n > 0 {
						kilos, price = kg(q.Breaks[0].QuantityKg), cash(q.Breaks[0].PricePerKg, 2)
						if n > 1 {
							kilos += " to " + kg(q.Breaks[n-1].QuantityKg)
							price += " to " + cash(q.Breaks[n-1].PricePerKg, 2)
						}
					}
					t.add(quoteName(q), q.Customer, q.Title, q.State, q.QuoteDate, q.ValidUntilDate, kilos, price)
				}
				t.print(a.out)
			})
		},
	}
	l.add(c, "customer, state, formula")
	return c
}

// quoteName is the quote with its revision, "q-31@2".
func quoteName(q *pb.Quote) string { return fmt.Sprintf("%s@%d", id(q.Name), q.Revision) }
