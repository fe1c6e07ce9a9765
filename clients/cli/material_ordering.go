package main

import (
	"fmt"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "millbase/proto/millbase/v1"
)

func (a *app) materialOrdering() *cobra.Command {
	o := &pb.Ordering{}
	var rule string
	var safetyStock float64
	c := &cobra.Command{
		Use: "ordering MATERIAL", Short: "Set how purchasing orders a material", Args: cobra.ExactArgs(1),
		Long: "Sets lot rule, safety stock, safety time, time fence and usual lead time of a material.\nThe smallest order and the pack are those of the offer. What is not named is set to nothing.",
		Example: `  millbase materials ordering linseed --rule fixed-lot --lot 1000 --safety-time 5 --fence 7
  millbase materials ordering carbon-black --rule period-lots --period 14 --safety-stock 50`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			if rule != "" {
				if o.LotRule, err = enum[pb.LotRule](pb.LotRule_value, "LOT_RULE_", rule); err != nil {
					return err
				}
			}
			m := &pb.Material{Name: prefixed("materials", args[0]), Ordering: o, SafetyStockKg: safetyStock}
			mask := &fieldmaskpb.FieldMask{Paths: []string{"ordering"}}
			if cmd.Flags().Changed("safety-stock") {
				mask.Paths = append(mask.Paths, "safety_stock_kg")
			}
			m, err = pb.NewMaterialServiceClient(conn).UpdateMaterial(cmd.Context(), &pb.UpdateMaterialRequest{Material: m, UpdateMask: mask})
			if err != nil {
				return a.failed(err)
			}
			return a.show(m, func() { a.printMaterial(m) })
		},
	}
	f := c.Flags()
	f.StringVar(&rule, "rule", "", "lot-for-lot, fixed-lot or period-lots (default: one order for all that is lacking)")
	f.Float64Var(&o.FixedLotKg, "lot", 0, "fixed lot, kg")
	f.Int32Var(&o.LotPeriodDays, "period", 0, "days that one order covers")
	f.Int32Var(&o.LeadTimeDays, "lead-time", 0, "days, where neither offer nor supplier says")
	f.Int32Var(&o.SafetyTimeDays, "safety-time", 0, "days before it is needed")
	f.Int32Var(&o.FenceDays, "fence", 0, "days from today without new orders")
	f.Float64Var(&safetyStock, "safety-stock", 0, "kg that the plan keeps")
	return c
}

// lotRule is a lot rule with its figure, in words.
func lotRule(o *pb.Ordering) string {
	switch o.LotRule {
	case pb.LotRule_LOT_RULE_LOT_FOR_LOT:
		return "lot for lot"
	case pb.LotRule_LOT_RULE_FIXED_LOT:
		return fmt.Sprintf("in lots of %s kg", kg(o.FixedLotKg))
	case pb.LotRule_LOT_RULE_PERIOD_LOTS:
		return fmt.Sprintf("for %d days at a time", o.LotPeriodDays)
	}
	return "at once for all that is lacking"
}
