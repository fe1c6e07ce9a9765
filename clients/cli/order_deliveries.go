package main

import (
	"fmt"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "millbase/proto/millbase/v1"
)

// printDeliveries prints what came of an order, when, and at what price.
func (a *app) printDeliveries(o *pb.PurchaseOrder) {
	t := newTable("received", "material", "lot", ">kg", ">days late", ">invoiced per kg", ">more than ordered", "")
	for _, l := range o.Lines {
		for _, d := range l.Deliveries {
			note := ""
			if d.Reversed {
				note = "reversed"
			}
			t.add(d.ReceivedDate, id(l.Material), id(d.Lot), kg(d.QuantityKg), fmt.Sprint(d.DaysLate), cash(d.PricePerKg, 4), cash(d.PriceDifference, 2), note)
		}
	}
	if len(t.rows) == 0 {
		return
	}
	fmt.Fprint(a.out, "\nDeliveries\n\n")
	t.print(a.out)
	if o.PriceDifference != nil {
		fmt.Fprintf(a.out, "\nIn all %s more than ordered.\n", cash(o.PriceDifference, 2))
	}
}

func (a *app) orderClose() *cobra.Command {
	r := &pb.ClosePurchaseOrderRequest{}
	c := &cobra.Command{
		Use: "close ORDER", Short: "Say that what lacks will not come", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			r.Name, r.Material = prefixed("purchaseOrders", args[0]), prefixed("materials", r.Material)
			o, err := pb.NewPurchasingServiceClient(conn).ClosePurchaseOrder(cmd.Context(), r)
			return a.orderDone(o, err)
		},
	}
	c.Flags().StringVar(&r.Material, "material", "", "only this material (default: all that is open)")
	c.Flags().StringVar(&r.Reason, "reason", "", "why, for the order's note")
	return c
}

func (a *app) orderChange() *cobra.Command {
	var line int
	var quantity float64
	var price, due, note string
	c := &cobra.Command{
		Use: "change ORDER", Short: "Change a line or the note of a draft", Args: cobra.ExactArgs(1),
		Example: "  millbase orders change po-131 --kg 900 --due 2026-04-16",
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			orders := pb.NewPurchasingServiceClient(conn)
			o, err := orders.GetPurchaseOrder(cmd.Context(), &pb.GetPurchaseOrderRequest{Name: prefixed("purchaseOrders", args[0])})
			if err != nil {
				return a.failed(err)
			}
			if line < 1 || line > len(o.Lines) {
				return &exit{exitUsage, fmt.Sprintf("--line %d: the order has lines 1 to %d", line, len(o.Lines))}
			}
			l, set := o.Lines[line-1], cmd.Flags().Changed
			if set("kg") {
				l.QuantityKg = quantity
			}
			if set("price") {
				if l.PricePerKg, err = parseCash(price); err != nil {
					return err
				}
			}
			if set("due") {
				l.DueDate = due
			}
			if set("note") {
				o.Note = note
			}
			o, err = orders.UpdatePurchaseOrder(cmd.Context(), &pb.UpdatePurchaseOrderRequest{PurchaseOrder: o,
				UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"lines", "note"}}})
			return a.orderDone(o, err)
		},
	}
	f := c.Flags()
	f.IntVar(&line, "line", 1, "which line")
	f.Float64Var(&quantity, "kg", 0, "how much")
	f.StringVar(&price, "price", "", "price per kg with currency")
	f.StringVar(&due, "due", "", "due date, YYYY-MM-DD")
	f.StringVar(&note, "note", "", "the note")
	return c
}
