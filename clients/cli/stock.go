package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "millbase/proto/millbase/v1"
)

func (a *app) stock() *cobra.Command {
	var list listFlags
	var asOf string
	c := &cobra.Command{
		Use: "stock", Short: "Show what is on hand, now or as of any past moment", GroupID: groupStore, Args: cobra.NoArgs,
		Long: "Shows what is on hand by lot and location. --as-of takes a date (end of that day, UTC) or a full time with zone.",
		Example: `  millbase stock --filter 'material = "materials/linseed"'
  millbase stock --as-of 2026-03-31
  millbase stock --as-of 2026-03-31T14:00:00+02:00`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			moment, err := parseMoment(asOf)
			if err != nil {
				return err
			}
			lots := pb.NewLotServiceClient(conn)
			answer := &pb.ListBalancesResponse{}
			answer.Balances, err = all(cmd.Context(), list.most, func(ctx context.Context, token string) ([]*pb.Balance, string, error) {
				r, err := lots.ListBalances(ctx, &pb.ListBalancesRequest{PageSize: list.pageSize(), PageToken: token, Filter: list.filter, AsOf: moment})
				return r.GetBalances(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() {
				t := newTable("lot", "material", "location", ">on hand kg", ">reserved kg", ">free kg")
				for _, b := range answer.Balances {
					t.add(id(b.Lot), id(b.Material), b.Location, kg(b.OnHandKg), kg(b.ReservedKg), kg(b.FreeKg))
				}
				t.print(a.out)
			})
		},
	}
	list.add(c, "lot, material, location, status")
	c.Flags().StringVar(&asOf, "as-of", "", "a past moment")
	return c
}

func parseMoment(text string) (*timestamppb.Timestamp, error) {
	if text == "" {
		return nil, nil
	}
	if day, err := time.Parse(time.DateOnly, text); err == nil {
		return timestamppb.New(day.AddDate(0, 0, 1).Add(-time.Microsecond)), nil
	}
	moment, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return nil, &exit{exitUsage, fmt.Sprintf("--as-of %q: write a date (2026-03-31) or a time with zone (2026-03-31T14:00:00+02:00)", text)}
	}
	return timestamppb.New(moment), nil
}
