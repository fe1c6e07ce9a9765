package main

import (
	"fmt"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) ledger() *cobra.Command {
	return &cobra.Command{
		Use: "check-ledger", Short: "Rebuild every balance from the ledger and compare", GroupID: groupStore, Args: cobra.NoArgs,
		Long:    "Rebuilds every balance from the ledger and compares it with the one that is kept. Leaves with 1 when they differ.",
		Example: "  millbase check-ledger",
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			r, err := pb.NewLedgerServiceClient(conn).CheckLedger(cmd.Context(), &pb.CheckLedgerRequest{})
			if err != nil {
				return a.failed(err)
			}
			if err := a.show(r, func() { a.printCheck(r) }); err != nil {
				return err
			}
			if len(r.Differences) > 0 {
				return &exit{code: exitFailed}
			}
			return nil
		},
	}
}

func (a *app) printCheck(r *pb.CheckLedgerResponse) {
	fmt.Fprintf(a.out, "%d movements, %d entries, %d balances, %s kg on hand.\n", r.Movements, r.Entries, r.Balances, kg(r.OnHandKg))
	if len(r.Differences) == 0 {
		fmt.Fprintln(a.out, "Every balance agrees with the ledger.")
		return
	}
	t := newTable("lot", "location", ">kept kg", ">from the ledger kg", ">kept reserved", ">rebuilt reserved")
	for _, d := range r.Differences {
		t.add(id(d.Lot), d.Location, kg(d.KeptOnHandKg), kg(d.RebuiltOnHandKg), kg(d.KeptReservedKg), kg(d.RebuiltReservedKg))
	}
	t.print(a.out)
}
