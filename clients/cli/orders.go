package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) orders() *cobra.Command {
	var list listFlags
	c := &cobra.Command{
		Use: "orders [ORDER]", Short: "List purchase orders, draft, change, send, close or cancel one", GroupID: groupBuy, Args: cobra.MaximumNArgs(1),
		Example: `  millbase orders --filter 'state = "SENT"'
  millbase orders draft po-131 --offer quellmark/linseed --kg 720 --price 1.95EUR --due 2026-04-09
  millbase orders send po-131
  millbase orders close po-131 --reason "they have no more"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			orders := pb.NewPurchasingServiceClient(conn)
			if len(args) == 1 {
				o, err := orders.GetPurchaseOrder(cmd.Context(), &pb.GetPurchaseOrderRequest{Name: prefixed("purchaseOrders", args[0])})
				return a.orderDone(o, err)
			}
			answer := &pb.ListPurchaseOrdersResponse{}
			answer.PurchaseOrders, err = all(cmd.Context(), list.most, func(ctx context.Context, token string) ([]*pb.PurchaseOrder, string, error) {
				r, err := orders.ListPurchaseOrders(ctx, &pb.ListPurchaseOrdersRequest{PageSize: list.pageSize(), PageToken: token, Filter: list.filter})
				return r.GetPurchaseOrders(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() { a.printOrders(answer.PurchaseOrders) })
		},
	}
	list.add(c, "state, supplier")
	c.AddCommand(a.orderDraft(), a.orderChange(), a.orderClose(),
		a.orderVerb("send", "Mark a draft as sent: it is expected from now on", func(ctx context.Context, s pb.PurchasingServiceClient, name string) (*pb.PurchaseOrder, error) {
			return s.SendPurchaseOrder(ctx, &pb.SendPurchaseOrderRequest{Name: name})
		}),
		a.orderVerb("cancel", "Cancel what is still to come", func(ctx context.Context, s pb.PurchasingServiceClient, name string) (*pb.PurchaseOrder, error) {
			return s.CancelPurchaseOrder(ctx, &pb.CancelPurchaseOrderRequest{Name: name})
		}))
	return c
}

func (a *app) printOrders(orders []*pb.PurchaseOrder) {
	t := newTable("order", "supplier", "state", "material", ">kg", ">received", ">open", ">per kg", "due")
	for _, o := range orders {
		for i, l := range o.Lines {
			name, supplier, state := "", "", ""
			if i == 0 {
				name, supplier, state = id(o.Name), id(o.Supplier), word(o.State, "PURCHASE_ORDER_STATE_")
			}
			t.add(name, supplier, state, id(l.Material), kg(l.QuantityKg), kg(l.ReceivedKg), kg(l.OpenKg), cash(l.PricePerKg, 4), l.DueDate)
		}
	}
	t.print(a.out)
}

func (a *app) orderDone(o *pb.PurchaseOrder, err error) error {
	if err != nil {
		return a.failed(err)
	}
	return a.show(o, func() {
		a.printOrders([]*pb.PurchaseOrder{o})
		a.printDeliveries(o)
	})
}

func (a *app) orderVerb(verb, short string, call func(context.Context, pb.PurchasingServiceClient, string) (*pb.PurchaseOrder, error)) *cobra.Command {
	return &cobra.Command{
		Use: verb + " ORDER", Short: short, Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			o, err := call(cmd.Context(), pb.NewPurchasingServiceClient(conn), prefixed("purchaseOrders", args[0]))
			return a.orderDone(o, err)
		},
	}
}

func (a *app) orderDraft() *cobra.Command {
	line := &pb.PurchaseOrderLine{}
	var offer, price, note string
	c := &cobra.Command{
		Use: "draft ORDER", Short: "Draft an order on an offer", Args: cobra.ExactArgs(1),
		Long: "Drafts an order of one line on a supplier's offer, SUPPLIER/OFFER. Without --price the offer's price for the quantity is taken.",
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			var supplier, offerID string
			if n, _ := fmt.Sscanf(spaced(offer), "%s %s", &supplier, &offerID); n != 2 {
				return &exit{exitUsage, fmt.Sprintf("--offer %q: write SUPPLIER/OFFER; 'millbase offers' lists them", offer)}
			}
			line.Offer = "suppliers/" + supplier + "/offers/" + offerID
			found, err := pb.NewSupplierServiceClient(conn).GetOffer(cmd.Context(), &pb.GetOfferRequest{Name: line.Offer})
			if err != nil {
				return a.failed(err)
			}
			line.Material = found.Material
			for _, b := range found.PriceBreaks {
				if b.FromKg <= line.QuantityKg {
					line.PricePerKg = b.PricePerKg
				}
			}
			if price != "" {
				if line.PricePerKg, err = parseCash(price); err != nil {
					return err
				}
			}
			o, err := pb.NewPurchasingServiceClient(conn).CreatePurchaseOrder(cmd.Context(), &pb.CreatePurchaseOrderRequest{
				PurchaseOrderId: args[0],
				PurchaseOrder:   &pb.PurchaseOrder{Supplier: "suppliers/" + supplier, Note: note, Lines: []*pb.PurchaseOrderLine{line}},
			})
			return a.orderDone(o, err)
		},
	}
	f := c.Flags()
	f.StringVar(&offer, "offer", "", "SUPPLIER/OFFER")
	f.Float64Var(&line.QuantityKg, "kg", 0, "how much")
	f.StringVar(&price, "price", "", "price per kg with currency (default: the offer's)")
	f.StringVar(&line.DueDate, "due", "", "due date, YYYY-MM-DD")
	f.StringVar(&note, "note", "", "a remark")
	return c
}
