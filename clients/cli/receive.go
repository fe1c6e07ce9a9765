package main

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"

	pb "millbase/proto/millbase/v1"
)

const receiveHelp = `Takes a delivery in: makes the lot, in quarantine, and posts its receipt.

--id is the id of the movement. Choose one yourself (a UUID) when the command may
be repeated after a lost connection: the same id is never posted twice.

The certificate is a JSON object of values by property, for example
{"tint_strength_fraction": 1.02, "oil_absorption_g_per_100g": 44}.`

func (a *app) receive() *cobra.Command {
	r := &pb.ReceiveLotRequest{Lot: &pb.Lot{}}
	var material, supplier, price, freight, certificate string
	c := &cobra.Command{
		Use: "receive LOT", Short: "Take a delivery in", Long: receiveHelp, GroupID: groupStore, Args: cobra.ExactArgs(1),
		Example: `  millbase receive l-2001 --material linseed --supplier quellmark --kg 720 --at tank-hall \
    --price 1.98EUR --their-lot Q8812 --received 2026-03-02 --expires 2028-03-01`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			r.LotId, r.Lot.Material, r.Lot.Supplier = args[0], prefixed("materials", material), prefixed("suppliers", supplier)
			r.PurchaseOrder = prefixed("purchaseOrders", r.PurchaseOrder)
			if r.MovementId == "" {
				r.MovementId = newID()
			}
			if price != "" {
				r.Lot.Cost = &pb.LotCost{}
				if r.Lot.Cost.PricePerKg, err = parseCash(price); err != nil {
					return err
				}
				if freight != "" {
					if r.Lot.Cost.FreightPerKg, err = parseCash(freight); err != nil {
						return err
					}
				}
			}
			if certificate != "" {
				if err := readCertificate(certificate, r.Lot); err != nil {
					return err
				}
			}
			l, err := pb.NewLotServiceClient(conn).ReceiveLot(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(l, func() {
				fmt.Fprintf(a.out, "Received %s kg of %s as lot %s, in quarantine until it is released.\n", kg(r.QuantityKg), id(l.Material), id(l.Name))
			})
		},
	}
	f := c.Flags()
	f.StringVar(&material, "material", "", "the material")
	f.StringVar(&supplier, "supplier", "", "who delivered it")
	f.Float64Var(&r.QuantityKg, "kg", 0, "net mass, kg")
	f.StringVar(&r.Location, "at", "main-store", "location")
	f.StringVar(&price, "price", "", "price per kg with currency: 1.98EUR")
	f.StringVar(&freight, "freight", "", "freight per kg, same currency")
	f.StringVar(&r.Lot.SupplierLot, "their-lot", "", "the supplier's lot number")
	f.StringVar(&r.Lot.ReceivedDate, "received", "", "date, YYYY-MM-DD (default today)")
	f.StringVar(&r.Lot.ExpiryDate, "expires", "", "last day of use, YYYY-MM-DD")
	f.StringVar(&certificate, "certificate", "", "file with certificate values as JSON")
	f.StringVar(&r.PurchaseOrder, "order", "", "the purchase order it belongs to")
	f.StringVar(&r.MovementId, "id", "", "id of the movement, a UUID (default: a new one)")
	return c
}

// readCertificate reads values by property into the lot.
func readCertificate(file string, lot *pb.Lot) error {
	text, err := os.ReadFile(file)
	if err != nil {
		return &exit{exitUsage, err.Error()}
	}
	var holder pb.Lot
	if err := protojson.Unmarshal(fmt.Appendf(nil, `{"certificate": %s}`, text), &holder); err != nil {
		return &exit{exitUsage, fmt.Sprintf("%s: %v", file, err)}
	}
	lot.Certificate = holder.Certificate
	return nil
}
