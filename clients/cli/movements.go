package main

import (
	"context"
	"time"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) movements() *cobra.Command {
	var list listFlags
	var lot string
	c := &cobra.Command{
		Use: "movements", Short: "List the ledger, newest first", GroupID: groupStore, Args: cobra.NoArgs,
		Example: `  millbase movements --lot l-1042
  millbase movements --filter 'kind = "SCRAP"' --most 20`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			filter := list.filter
			if lot != "" {
				if filter != "" {
					filter += " AND "
				}
				filter += `lot = "` + prefixed("lots", lot) + `"`
			}
			answer := &pb.ListMovementsResponse{}
			ledger := pb.NewLedgerServiceClient(conn)
			answer.Movements, err = all(cmd.Context(), list.most, func(ctx context.Context, token string) ([]*pb.Movement, string, error) {
				r, err := ledger.ListMovements(ctx, &pb.ListMovementsRequest{PageSize: list.pageSize(), PageToken: token, Filter: filter})
				return r.GetMovements(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() { a.printMovements(answer.Movements) })
		},
	}
	list.add(c, "lot, batch, kind")
	c.Flags().StringVar(&lot, "lot", "", "only movements of this lot")
	return c
}

func (a *app) printMovements(movements []*pb.Movement) {
	t := newTable("posted (UTC)", "kind", "lot", ">kg", "account", "by", "note", "movement")
	for _, m := range movements {
		for i, e := range m.Entries {
			when, kind, by, note, name := "", "", "", "", ""
			if i == 0 {
				when, kind = m.PostTime.AsTime().Format("2006-01-02 15:04"), word(m.Kind, "MOVEMENT_KIND_")
				by, note, name = m.Actor, m.Note, id(m.Name)
			}
			t.add(when, kind, id(e.Lot), kg(e.QuantityKg), e.Account, by, note, name)
		}
	}
	t.print(a.out)
}

// clock prints a moment in the local zone of whoever reads it.
func clock(t time.Time) string { return t.Local().Format("Mon 2 Jan 15:04") }
