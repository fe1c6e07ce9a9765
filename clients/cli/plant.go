package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) plant() *cobra.Command {
	return &cobra.Command{
		Use: "plant", Short: "Show the plant's own figures: machines, rates, calendar", GroupID: groupPlant, Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			p, err := pb.NewPlantServiceClient(conn).GetPlant(cmd.Context(), &pb.GetPlantRequest{})
			if err != nil {
				return a.failed(err)
			}
			return a.show(p, func() { a.printPlant(p) })
		},
	}
}

func (a *app) printPlant(p *pb.Plant) {
	fmt.Fprintf(a.out, "%s: %s, %s\n", p.Title, p.CurrencyCode, p.TimeZone)
	fmt.Fprintf(a.out, "scale division %s kg, overhead %s %%, usual margin %s %% of the price, water %s kg/L\n\n",
		kg(p.ScaleDivisionKg), p.OverheadPercent, p.MarginPercent, number(p.WaterDensityKgPerL, 4))
	for _, s := range p.Scales {
		fmt.Fprintf(a.out, "%s: weighs in %s kg, from %s kg\n", s.Title, kg(s.DivisionKg), kg(s.FromKg))
	}
	if len(p.Scales) > 0 {
		fmt.Fprintln(a.out)
	}
	t := newTable("machine", "does", ">holds kg", ">kg per hour", ">min per batch", ">set-up min", ">wash-up min", ">short", ">loss", ">per hour")
	for _, m := range p.Machines {
		var steps []string
		for _, s := range m.Steps {
			steps = append(steps, word(s, "PROCESS_STEP_"))
		}
		t.add(m.Title, strings.Join(steps, ", "), number(m.CapacityKg, 0), number(m.ThroughputKgPerH, 0), fmt.Sprint(m.MinutesPerBatch),
			fmt.Sprint(m.SetupMinutes), fmt.Sprint(m.WashUpMinutes), number(float64(m.ShortWashUpMinutes), 0), losses(m), hourly(m))
	}
	t.print(a.out)
}

// losses prints what a machine keeps of a charge.
func losses(m *pb.Machine) string {
	var out []string
	if m.LossPercent != "" {
		out = append(out, m.LossPercent+" %")
	}
	if m.LossPerChargeKg > 0 {
		out = append(out, kg(m.LossPerChargeKg)+" kg")
	}
	return strings.Join(out, " + ")
}

// hourly prints what an hour of a machine costs, and of those who attend it.
func hourly(m *pb.Machine) string {
	if m.LabourRatePerHour == nil || m.Crew == "" {
		return cash(m.RatePerHour, 2)
	}
	return cashNumber(m.RatePerHour, 2) + " + " + m.Crew + " x " + cash(m.LabourRatePerHour, 2)
}

func (a *app) keys() *cobra.Command {
	c := &cobra.Command{
		Use: "keys", Short: "List API keys, make or revoke one", GroupID: groupPlant, Args: cobra.NoArgs,
		Example: `  millbase keys
  millbase keys make front-desk --role order-desk
  millbase keys revoke front-desk`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			answer := &pb.ListKeysResponse{}
			answer.Keys, err = all(cmd.Context(), 0, func(ctx context.Context, token string) ([]*pb.Key, string, error) {
				r, err := pb.NewPlantServiceClient(conn).ListKeys(ctx, &pb.ListKeysRequest{PageToken: token})
				return r.GetKeys(), r.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() {
				t := newTable("key", "title", "role", "revoked")
				for _, k := range answer.Keys {
					t.add(id(k.Name), k.Title, word(k.Role, "ROLE_"), yes(k.Revoked))
				}
				t.print(a.out)
			})
		},
	}
	c.AddCommand(a.keyMake(), a.keyRevoke())
	return c
}

func (a *app) keyMake() *cobra.Command {
	var role, title string
	c := &cobra.Command{
		Use: "make KEY", Short: "Make a key; it is shown this once", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			which, err := enum[pb.Role](pb.Role_value, "ROLE_", role)
			if err != nil {
				return err
			}
			if title == "" {
				title = args[0]
			}
			r, err := pb.NewPlantServiceClient(conn).CreateKey(cmd.Context(), &pb.CreateKeyRequest{KeyId: args[0], Key: &pb.Key{Title: title, Role: which}})
			if err != nil {
				return a.failed(err)
			}
			return a.show(r, func() {
				fmt.Fprintf(a.out, "%s\n", r.Secret)
			})
		},
	}
	c.Flags().StringVar(&role, "role", "", "order-desk, purchasing, ink-maker, quality, floor, admin")
	c.Flags().StringVar(&title, "title", "", "who uses it")
	return c
}

func (a *app) keyRevoke() *cobra.Command {
	return &cobra.Command{
		Use: "revoke KEY", Short: "Revoke a key", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			k, err := pb.NewPlantServiceClient(conn).RevokeKey(cmd.Context(), &pb.RevokeKeyRequest{Name: prefixed("keys", args[0])})
			if err != nil {
				return a.failed(err)
			}
			return a.show(k, func() { fmt.Fprintf(a.out, "%s is revoked.\n", id(k.Name)) })
		},
	}
}
