package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/genproto/googleapis/type/money"

	pb "millbase/proto/millbase/v1"
)

// offerPath is the name of an offer written SUPPLIER/OFFER; empty is all.
func offerPath(text string) (string, error) {
	if text == "" {
		return "suppliers/-/offers/-", nil
	}
	supplier, offer, ok := strings.Cut(text, "/")
	if !ok || supplier == "" || offer == "" || strings.Contains(offer, "/") {
		return "", &exit{exitUsage, fmt.Sprintf("%q: write SUPPLIER/OFFER; 'millbase offers' lists them", text)}
	}
	return "suppliers/" + supplier + "/offers/" + offer, nil
}

// offerShort is SUPPLIER/OFFER of a name.
func offerShort(name string) string {
	parts := strings.Split(name, "/")
	return parts[1] + "/" + parts[3]
}

func (a *app) prices() *cobra.Command {
	var list listFlags
	c := &cobra.Command{
		Use: "prices [SUPPLIER/OFFER]", Short: "What offers cost over time, and are expected to", GroupID: groupBuy, Args: cobra.MaximumNArgs(1),
		Example: `  millbase prices --filter 'material = "materials/linseed"'
  millbase prices outlook quellmark/linseed 2026-11-09=2.10EUR 2026-12-07=1.95EUR`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			parent, err := offerPath(strings.Join(args, ""))
			if err != nil {
				return err
			}
			answer, suppliers := &pb.ListPriceHistoryResponse{}, pb.NewSupplierServiceClient(conn)
			answer.Prices, err = all(cmd.Context(), list.most, func(ctx context.Context, token string) ([]*pb.PriceRecord, string, error) {
				r, err := suppliers.ListPriceHistory(ctx, &pb.ListPriceHistoryRequest{Parent: parent, PageSize: list.pageSize(), PageToken: token, Filter: list.filter})
				return r.GetPrices(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() { a.printPrices(answer.Prices) })
		},
	}
	list.add(c, "material")
	c.AddCommand(a.outlook())
	return c
}

func (a *app) printPrices(prices []*pb.PriceRecord) {
	t := newTable("offer", "material", "since", ">per kg", ">at best", ">freight", ">change")
	last := map[string]*money.Money{}
	for _, p := range prices {
		breaks := ""
		if n := len(p.PriceBreaks) - 1; n > 0 {
			breaks = fmt.Sprintf("%s from %s kg", cash(p.PriceBreaks[n].PricePerKg, 3), kg(p.PriceBreaks[n].FromKg))
		}
		first, change := p.PriceBreaks[0].GetPricePerKg(), ""
		if before := last[p.Offer]; before != nil && before.CurrencyCode == first.CurrencyCode && amount(before) > 0 {
			change = fixed(100*(amount(first)/amount(before)-1), 1) + " %"
		}
		last[p.Offer] = first
		t.add(offerShort(p.Offer), id(p.Material), p.EnterTime.AsTime().Format("2006-01-02"), cash(first, 3), breaks, cash(p.FreightPerKg, 3), change)
	}
	t.print(a.out)
}

// amount is a price as a plain number, for a percentage on the screen.
func amount(m *money.Money) float64 { return float64(m.Units) + float64(m.Nanos)/1e9 }

const outlookHelp = `Shows what offers are expected to cost, or replaces what one is: WEEK=PRICE for
each week from which a price holds, the Monday first. Until the first week the
offer's own price holds. --clear expects nothing. The joint plan reads it.`

func (a *app) outlook() *cobra.Command {
	var erase bool
	var note string
	c := &cobra.Command{
		Use: "outlook [SUPPLIER/OFFER [WEEK=PRICE]...]", Short: "Show or set what offers are expected to cost", Long: outlookHelp,
		Example: "  millbase prices outlook quellmark/linseed 2026-11-09=2.10EUR 2026-12-07=1.95EUR",
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			offer := ""
			if len(args) > 0 {
				offer = args[0]
			}
			name, err := offerPath(offer)
			if err != nil {
				return err
			}
			suppliers := pb.NewSupplierServiceClient(conn)
			if len(args) < 2 && !erase {
				answer, err := suppliers.ListPriceOutlooks(cmd.Context(), &pb.ListPriceOutlooksRequest{Parent: name, PageSize: 1000})
				if err != nil {
					return a.failed(err)
				}
				return a.show(answer, func() { a.printOutlooks(answer.Outlooks) })
			}
			o := &pb.PriceOutlook{Name: name + "/outlook", Note: note}
			for _, text := range args[1:] {
				week, price, _ := strings.Cut(text, "=")
				cash, err := parseCash(price)
				if err != nil {
					return err
				}
				o.Weeks = append(o.Weeks, &pb.ExpectedPrice{WeekDate: week, PricePerKg: cash})
			}
			o, err = suppliers.UpdatePriceOutlook(cmd.Context(), &pb.UpdatePriceOutlookRequest{Outlook: o})
			if err != nil {
				return a.failed(err)
			}
			return a.show(o, func() { a.printOutlooks([]*pb.PriceOutlook{o}) })
		},
	}
	c.Flags().BoolVar(&erase, "clear", false, "expect nothing of the offer")
	c.Flags().StringVar(&note, "note", "", "where it comes from")
	return c
}

func (a *app) printOutlooks(all []*pb.PriceOutlook) {
	t := newTable("offer", "from week", ">per kg", "note")
	for _, o := range all {
		name, note := offerShort(o.Name), o.Note
		for _, w := range o.Weeks {
			t.add(name, w.WeekDate, cash(w.PricePerKg, 3), note)
			name, note = "", ""
		}
	}
	if len(t.rows) == 0 {
		fmt.Fprintln(a.out, "Nothing is expected: the offers' own prices hold.")
		return
	}
	t.print(a.out)
}
