package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

// spaced turns SUPPLIER/OFFER into two words.
func spaced(text string) string { return strings.ReplaceAll(text, "/", " ") }

func (a *app) offers() *cobra.Command {
	var list listFlags
	var supplier string
	c := &cobra.Command{
		Use: "offers", Short: "List the suppliers' offers with their price breaks", GroupID: groupBuy, Args: cobra.NoArgs,
		Example: `  millbase offers --filter 'material = "materials/linseed"'
  millbase offers --supplier quellmark`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			answer := &pb.ListOffersResponse{}
			suppliers := pb.NewSupplierServiceClient(conn)
			answer.Offers, err = all(cmd.Context(), list.most, func(ctx context.Context, token string) ([]*pb.Offer, string, error) {
				r, err := suppliers.ListOffers(ctx, &pb.ListOffersRequest{
					Parent: prefixed("suppliers", supplier), PageSize: list.pageSize(), PageToken: token, Filter: list.filter,
				})
				return r.GetOffers(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() {
				t := newTable("offer", "material", "price per kg from kg", ">pack kg", ">least kg", ">days", "until")
				for _, o := range answer.Offers {
					var breaks []string
					for _, b := range o.PriceBreaks {
						breaks = append(breaks, fmt.Sprintf("%s from %s", cash(b.PricePerKg, 3), kg(b.FromKg)))
					}
					name := strings.Split(o.Name, "/")
					t.add(name[1]+"/"+name[3], id(o.Material), strings.Join(breaks, ", "), kg(o.PackSizeKg), kg(o.MinimumOrderKg), fmt.Sprint(o.LeadTimeDays), o.ValidUntilDate)
				}
				t.print(a.out)
			})
		},
	}
	list.add(c, "material")
	c.Flags().StringVar(&supplier, "supplier", "-", "only this supplier")
	return c
}

func (a *app) suppliers() *cobra.Command {
	var list listFlags
	c := &cobra.Command{
		Use: "suppliers", Short: "List the suppliers", GroupID: groupBuy, Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			answer := &pb.ListSuppliersResponse{}
			suppliers := pb.NewSupplierServiceClient(conn)
			answer.Suppliers, err = all(cmd.Context(), list.most, func(ctx context.Context, token string) ([]*pb.Supplier, string, error) {
				r, err := suppliers.ListSuppliers(ctx, &pb.ListSuppliersRequest{PageSize: list.pageSize(), PageToken: token, Filter: list.filter})
				return r.GetSuppliers(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() {
				t := newTable("supplier", "title", "currency", ">lead time days")
				for _, s := range answer.Suppliers {
					t.add(id(s.Name), s.Title, s.CurrencyCode, fmt.Sprint(s.LeadTimeDays))
				}
				t.print(a.out)
			})
		},
	}
	list.add(c, "archived, currency")
	c.AddCommand(a.performance())
	return c
}
