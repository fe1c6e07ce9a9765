package main

import (
	"fmt"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

const moveHelp = `Posts one movement to the stock ledger. A movement is never edited: a mistake is
undone with 'move reverse'.

--id is the id of the movement (a UUID). Choose one yourself when the command may
be repeated: the same id with the same content is answered as before and posted
once; with other content it is refused.`

func (a *app) move() *cobra.Command {
	c := &cobra.Command{Use: "move", Short: "Post a movement: issue, transfer, return, scrap, adjust, count, reverse", Long: moveHelp, GroupID: groupStore}
	c.AddCommand(
		a.moveKind("issue", "Issue to a batch or a customer", pb.MovementKind_MOVEMENT_KIND_ISSUE),
		a.moveKind("transfer", "Move to another location", pb.MovementKind_MOVEMENT_KIND_TRANSFER),
		a.moveKind("return", "Return to the supplier, or from a batch", pb.MovementKind_MOVEMENT_KIND_RETURN),
		a.moveKind("scrap", "Throw away", pb.MovementKind_MOVEMENT_KIND_SCRAP),
		a.moveKind("adjust", "Add to the book, or take off with a minus", pb.MovementKind_MOVEMENT_KIND_ADJUSTMENT),
		a.count(), a.reverse(),
	)
	return c
}

func (a *app) moveKind(verb, short string, kind pb.MovementKind) *cobra.Command {
	r := &pb.CreateMovementRequest{Movement: &pb.Movement{Kind: kind}}
	m := r.Movement
	c := &cobra.Command{
		Use: verb + " LOT", Short: short, Args: cobra.ExactArgs(1),
		Example: "  millbase move " + verb + " l-1042 --kg 12.5 --at main-store",
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			m.Lot, m.Batch, m.Reservation = prefixed("lots", args[0]), prefixed("batches", m.Batch), prefixed("reservations", m.Reservation)
			if r.MovementId == "" {
				r.MovementId = newID()
			}
			done, err := pb.NewLedgerServiceClient(conn).CreateMovement(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(done, func() { a.posted(done) })
		},
	}
	f := c.Flags()
	f.Float64Var(&m.QuantityKg, "kg", 0, "how much")
	f.StringVar(&m.Location, "at", "main-store", "location")
	f.StringVar(&m.Note, "note", "", "a remark")
	f.StringVar(&r.MovementId, "id", "", "id of the movement (default: a new one)")
	switch kind {
	case pb.MovementKind_MOVEMENT_KIND_TRANSFER:
		f.StringVar(&m.ToLocation, "to", "", "where to")
	case pb.MovementKind_MOVEMENT_KIND_ISSUE:
		f.StringVar(&m.Batch, "batch", "", "the batch it goes into")
		f.StringVar(&m.Customer, "customer", "", "the customer it goes to")
		f.StringVar(&m.Reservation, "reservation", "", "the reservation it uses")
	case pb.MovementKind_MOVEMENT_KIND_RETURN:
		f.StringVar(&m.Batch, "batch", "", "the batch it comes back from (default: to the supplier)")
	}
	return c
}

func (a *app) posted(m *pb.Movement) {
	fmt.Fprintf(a.out, "Posted %s %s.\n", word(m.Kind, "MOVEMENT_KIND_"), id(m.Name))
	for _, e := range m.Entries {
		fmt.Fprintf(a.out, "  %12s kg  %s  %s\n", kg(e.QuantityKg), id(e.Lot), e.Account)
	}
}

func (a *app) count() *cobra.Command {
	r := &pb.CountStockRequest{}
	c := &cobra.Command{
		Use: "count LOT", Short: "Set the book to what was counted", Args: cobra.ExactArgs(1),
		Example: "  millbase move count l-1042 --kg 311.4 --at dry-store",
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			r.Lot = prefixed("lots", args[0])
			if r.MovementId == "" {
				r.MovementId = newID()
			}
			done, err := pb.NewLedgerServiceClient(conn).CountStock(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(done, func() { a.posted(done) })
		},
	}
	f := c.Flags()
	f.Float64Var(&r.CountedKg, "kg", 0, "what was counted")
	f.StringVar(&r.Location, "at", "main-store", "location")
	f.StringVar(&r.Note, "note", "", "a remark")
	f.StringVar(&r.MovementId, "id", "", "id of the movement (default: a new one)")
	return c
}

func (a *app) reverse() *cobra.Command {
	r := &pb.ReverseMovementRequest{}
	c := &cobra.Command{
		Use: "reverse MOVEMENT", Short: "Undo a movement by a new one", Args: cobra.ExactArgs(1),
		Example: `  millbase move reverse 1b4e28ba-2fa1-11d2-883f-0016d3cca427 --note "wrong lot"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			r.Name = prefixed("movements", args[0])
			if r.MovementId == "" {
				r.MovementId = newID()
			}
			done, err := pb.NewLedgerServiceClient(conn).ReverseMovement(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(done, func() { a.posted(done) })
		},
	}
	f := c.Flags()
	f.StringVar(&r.Note, "note", "", "why")
	f.StringVar(&r.MovementId, "id", "", "id of the reversal (default: a new one)")
	return c
}
