package main

import (
	"fmt"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

const performanceHelp = `Shows how suppliers kept to their dates, from the deliveries on purchase orders:
agreed and actual days from sending to delivery, how many came on time, and what
safety time that suggests.

The suggestion is the lateness that the next delivery keeps to with the service
level's probability, whatever the distribution. A few deliveries promise little:
four of them 80 %, nineteen 95 %. It changes nothing by itself; set it with
'millbase materials ordering MATERIAL --safety-time DAYS'.`

func (a *app) performance() *cobra.Command {
	r := &pb.GetDeliveryPerformanceRequest{}
	c := &cobra.Command{
		Use: "performance [SUPPLIER]", Short: "How suppliers kept to their dates, and the safety time that suggests", Long: performanceHelp,
		Args: cobra.MaximumNArgs(1),
		Example: `  millbase suppliers performance
  millbase suppliers performance quellmark --service-level 90 --since 2026-01-01`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			r.Parent, r.Material = "suppliers/-", prefixed("materials", r.Material)
			if len(args) == 1 {
				r.Parent = prefixed("suppliers", args[0])
			}
			p, err := pb.NewSupplierServiceClient(conn).GetDeliveryPerformance(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(p, func() { a.printPerformance(p) })
		},
	}
	f := c.Flags()
	f.StringVar(&r.Material, "material", "", "only this material")
	f.StringVar(&r.SinceDate, "since", "", "deliveries from this date on, YYYY-MM-DD")
	f.Int32Var(&r.ServiceLevelPercent, "service-level", 95, "percent of deliveries that the safety time is to cover, 50 to 99")
	return c
}

func (a *app) printPerformance(p *pb.DeliveryPerformance) {
	if len(p.Rows) == 0 {
		fmt.Fprintln(a.out, "Nothing has been delivered on a purchase order yet.")
		return
	}
	t := newTable("supplier", "material", ">came", ">on time", ">agreed d", ">actual d", ">+-", ">worst late", ">safety time", ">covers", ">overdue")
	for _, r := range p.Rows {
		supplier, material, share := "", id(r.Material), "-"
		if material == "" {
			supplier, material = id(r.Supplier), "all"
		}
		if r.OnTimeShare != nil {
			share = number(100**r.OnTimeShare, 0) + " %"
		}
		suggested, covers := "-", ""
		if r.Deliveries > 0 {
			suggested, covers = fmt.Sprintf("%d d", r.SuggestedSafetyTimeDays), fmt.Sprintf("%d %%", r.SuggestionCoversPercent)
		}
		t.add(supplier, material, fmt.Sprint(r.Deliveries), share, number(r.MeanQuotedDays, 1), number(r.MeanActualDays, 1), number(r.ActualDaysDeviation, 1),
			fmt.Sprint(r.MostDaysLate), suggested, covers, fmt.Sprint(r.OverdueLines))
	}
	t.print(a.out)
	fmt.Fprintf(a.out, "\nSafety time is suggested for %d %%; where it covers less, there are too few deliveries.\n", p.ServiceLevelPercent)
}
