package main

import (
	"fmt"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) reserve() *cobra.Command {
	r := &pb.CreateReservationRequest{Reservation: &pb.Reservation{}}
	c := &cobra.Command{
		Use: "reserve LOT", Short: "Set mass of a lot aside, or give it back", GroupID: groupStore, Args: cobra.ExactArgs(1),
		Long: "Sets mass of a lot aside so that nothing else can use it. 'reserve release' gives it back.",
		Example: `  millbase reserve l-1042 --kg 40 --at dry-store --note "for the laboratory"
  millbase reserve release 1b4e28ba-2fa1-11d2-883f-0016d3cca427`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			r.Reservation.Lot, r.Reservation.Batch = prefixed("lots", args[0]), prefixed("batches", r.Reservation.Batch)
			if r.ReservationId == "" {
				r.ReservationId = newID()
			}
			made, err := pb.NewLedgerServiceClient(conn).CreateReservation(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(made, func() {
				fmt.Fprintf(a.out, "Reserved %s kg of %s at %s: %s\n", kg(made.QuantityKg), id(made.Lot), made.Location, id(made.Name))
			})
		},
	}
	f := c.Flags()
	f.Float64Var(&r.Reservation.QuantityKg, "kg", 0, "how much")
	f.StringVar(&r.Reservation.Location, "at", "main-store", "location")
	f.StringVar(&r.Reservation.Batch, "batch", "", "the batch it is for")
	f.StringVar(&r.Reservation.Note, "note", "", "a remark")
	f.StringVar(&r.ReservationId, "id", "", "id of the reservation, a UUID (default: a new one)")
	c.AddCommand(&cobra.Command{
		Use: "release RESERVATION", Short: "Give back what is left of a reservation", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			left, err := pb.NewLedgerServiceClient(conn).ReleaseReservation(cmd.Context(), &pb.ReleaseReservationRequest{Name: prefixed("reservations", args[0])})
			if err != nil {
				return a.failed(err)
			}
			return a.show(left, func() { fmt.Fprintf(a.out, "Released %s of %s.\n", id(left.Name), id(left.Lot)) })
		},
	})
	return c
}
