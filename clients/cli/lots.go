package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) lots() *cobra.Command {
	var list listFlags
	c := &cobra.Command{
		Use: "lots [LOT]", Short: "List lots, show one, test it or set its status", GroupID: groupStore, Args: cobra.MaximumNArgs(1),
		Long: "Lists lots with what is on hand, or shows one. 'lots release', 'lots hold' and 'lots reject' are quality control's word.",
		Example: `  millbase lots --filter 'material = "materials/linseed" AND status = "RELEASED"'
  millbase lots l-1042
  millbase lots release l-1042 --why "tint strength 101 %"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			lots := pb.NewLotServiceClient(conn)
			if len(args) == 1 {
				l, err := lots.GetLot(cmd.Context(), &pb.GetLotRequest{Name: prefixed("lots", args[0])})
				if err != nil {
					return a.failed(err)
				}
				return a.show(l, func() { a.printLot(l) })
			}
			answer := &pb.ListLotsResponse{}
			answer.Lots, err = all(cmd.Context(), list.most, func(ctx context.Context, token string) ([]*pb.Lot, string, error) {
				r, err := lots.ListLots(ctx, &pb.ListLotsRequest{PageSize: list.pageSize(), PageToken: token, Filter: list.filter})
				return r.GetLots(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() { a.printLots(answer.Lots) })
		},
	}
	list.add(c, "material, status, supplier, batch, expiry_date, received_date")
	c.AddCommand(
		a.lotStatus("release", "Release a lot for use", pb.LotStatus_LOT_STATUS_RELEASED),
		a.lotStatus("hold", "Hold a lot back", pb.LotStatus_LOT_STATUS_HELD),
		a.lotStatus("reject", "Reject a lot", pb.LotStatus_LOT_STATUS_REJECTED),
		a.lotTest(), a.bleachTest(), a.lotTests(), a.withdrawTest(),
	)
	return c
}

func (a *app) lotStatus(verb, short string, status pb.LotStatus) *cobra.Command {
	var why string
	c := &cobra.Command{
		Use: verb + " LOT", Short: short, Args: cobra.ExactArgs(1),
		Example: "  millbase lots " + verb + ` l-1042 --why "bleach test passed"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			l, err := pb.NewLotServiceClient(conn).SetLotStatus(cmd.Context(), &pb.SetLotStatusRequest{
				Name: prefixed("lots", args[0]), Status: status, Reason: why,
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(l, func() { fmt.Fprintf(a.out, "%s is %s.\n", id(l.Name), word(l.Status, "LOT_STATUS_")) })
		},
	}
	c.Flags().StringVar(&why, "why", "", "the reason, kept with the lot (needed to hold or reject)")
	return c
}

func lotState(l *pb.Lot) string {
	if l.Expired {
		return word(l.Status, "LOT_STATUS_") + ", expired"
	}
	return word(l.Status, "LOT_STATUS_")
}

func (a *app) printLots(lots []*pb.Lot) {
	t := newTable("lot", "material", "status", ">on hand kg", ">reserved kg", "expires", ">landed per kg")
	for _, l := range lots {
		t.add(id(l.Name), id(l.Material), lotState(l), kg(l.OnHandKg), kg(l.ReservedKg), l.ExpiryDate, cash(l.GetCost().GetLandedPerKg(), 4))
	}
	t.print(a.out)
}

func (a *app) printLot(l *pb.Lot) {
	fmt.Fprintf(a.out, "Lot %s of %s: %s\n", id(l.Name), id(l.Material), lotState(l))
	fmt.Fprintf(a.out, "on hand %s kg, reserved %s kg\n", kg(l.OnHandKg), kg(l.ReservedKg))
	switch {
	case l.Supplier != "":
		fmt.Fprintf(a.out, "from %s (their lot %s), received %s, expires %s\n", id(l.Supplier), l.SupplierLot, l.ReceivedDate, l.ExpiryDate)
	case l.Batch != "":
		fmt.Fprintf(a.out, "made by batch %s, expires %s\n", id(l.Batch), l.ExpiryDate)
	}
	if c := l.Cost; c != nil {
		fmt.Fprintf(a.out, "landed %s per kg (price %s)\n", cash(c.LandedPerKg, 4), cash(c.PricePerKg, 4))
	}
	if l.Note != "" {
		fmt.Fprintln(a.out, wrap(l.Note, 100, ""))
	}
	if len(l.Certificate) > 0 {
		fmt.Fprintln(a.out)
		a.printProperties(l.Certificate)
	}
	if len(l.Tested) > 0 {
		fmt.Fprintln(a.out, "\nMeasured here, before the certificate")
		a.printProperties(l.Tested)
	}
	if len(l.Deviations) > 0 {
		fmt.Fprintln(a.out, "\nStandard deviations")
		a.printProperties(l.Deviations)
	}
}
