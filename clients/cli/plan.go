package main

import (
	"context"
	"fmt"
	"os"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"google.golang.org/protobuf/encoding/protojson"

	pb "millbase/proto/millbase/v1"
)

const planHelp = `Plans all batches together: the formula of each, which lots go where, and what to buy
from whom and by when, over all weeks at once.

A plan of the book is kept. Accepting it drafts its purchase orders, plans its base
inks and reserves lots, all of it or nothing, and only while the book stands as it did.`

func (a *app) plan() *cobra.Command {
	c := &cobra.Command{
		Use: "plan", Short: "The joint plan: formulas, lots and purchases of all batches together", Long: planHelp, GroupID: groupBuy,
		Example: `  millbase plan make
  millbase plan show 2026-11-30 --formulas
  millbase plan what-if --order-late po-118=10 --price materials/linseed-varnish=+8%
  millbase plan accept 2026-11-30`,
	}
	c.AddCommand(a.planMake(), a.planWhatIf(), a.planShow(), a.planList(), a.planAccept())
	return c
}

// planTerms are the flags of how the book is planned.
type planTerms struct {
	book                                           pb.PlanBook
	basis                                          string
	storage, budget, late, unmade, below, perOrder string
	forecasts                                      []string
	gap                                            float64
	seconds                                        int32
}

func (p *planTerms) add(f *pflag.FlagSet) {
	f.Int32Var(&p.book.Weeks, "weeks", 8, "weeks ahead")
	f.Int32Var(&p.book.PeriodDays, "days", 7, "days of one period")
	f.StringVar(&p.basis, "basis", "", "value lots by: lot, average, replacement, standard")
	f.StringVar(&p.storage, "storage", "", "what a kg in store costs per period: 0.02EUR")
	f.StringVar(&p.budget, "budget", "", "the most to spend on the orders of a period: 20000EUR")
	f.StringVar(&p.late, "late", "", "what a kg of ink costs per period that it is late: 0.50EUR")
	f.StringVar(&p.unmade, "unmade", "", "what a kg of ink costs that is not made: 50EUR")
	f.StringVar(&p.below, "below-safety", "", "what a kg below the safety stock costs per period")
	f.StringVar(&p.perOrder, "per-order", "", "what an order costs beside the goods: 25EUR")
	f.BoolVar(&p.book.KeepFormulas, "keep-formulas", false, "batches keep to the formulas that they were planned by")
	f.StringSliceVar(&p.book.Excluded, "without", nil, "leave out lots/..., materials/..., suppliers/.../offers/... or batches/...")
	f.StringSliceVar(&p.book.Batches, "batch", nil, "only these batches")
	f.StringArrayVar(&p.forecasts, "forecast", nil, "expect a price from a day on: materials/linseed@2027-01-04=+6% or ...=3.10EUR (again for more)")
	f.Float64Var(&p.book.LeftoverPercent, "leftover", 0, "per cent of its price that what is left over counts as")
	f.Float64Var(&p.gap, "gap", 0, "stop this near the best, per cent (default 1)")
	f.Int32Var(&p.seconds, "seconds", 0, "and after so many seconds (default 20)")
}

// request reads the flags that are not as the API wants them.
func (p *planTerms) request() (r *pb.MakePlanRequest, err error) {
	if p.basis != "" {
		if p.book.CostBasis, err = enum[pb.CostBasis](pb.CostBasis_value, "COST_BASIS_", p.basis); err != nil {
			return nil, err
		}
	}
	b := &p.book
	for _, m := range []struct {
		text string
		set  func(*pb.PlanBook, string) error
	}{
		{p.storage, func(b *pb.PlanBook, s string) (err error) { b.StorageCostPerKg, err = parseCash(s); return }},
		{p.budget, func(b *pb.PlanBook, s string) (err error) { b.BudgetPerPeriod, err = parseCash(s); return }},
		{p.late, func(b *pb.PlanBook, s string) (err error) { b.LatePerKg, err = parseCash(s); return }},
		{p.unmade, func(b *pb.PlanBook, s string) (err error) { b.UnmadePerKg, err = parseCash(s); return }},
		{p.below, func(b *pb.PlanBook, s string) (err error) { b.BelowSafetyPerKg, err = parseCash(s); return }},
		{p.perOrder, func(b *pb.PlanBook, s string) (err error) { b.CostPerOrder, err = parseCash(s); return }},
	} {
		if m.text != "" {
			if err := m.set(b, m.text); err != nil {
				return nil, err
			}
		}
	}
	for i, name := range b.Batches {
		b.Batches[i] = prefixed("batches", name)
	}
	for _, text := range p.forecasts {
		f, err := parseForecast(text)
		if err != nil {
			return nil, err
		}
		b.Forecasts = append(b.Forecasts, f)
	}
	return &pb.MakePlanRequest{What: &pb.MakePlanRequest_Book{Book: b}, GapPercent: p.gap, TimeLimitSeconds: p.seconds}, nil
}

var forecastPattern = regexp.MustCompile(`^([^=\s@]+)@([0-9-]+)=\s*(\S.*)$`)

// parseForecast reads "materials/linseed@2027-01-04=+6%".
func parseForecast(text string) (*pb.PriceForecast, error) {
	wrong := &exit{exitUsage, fmt.Sprintf("--forecast %q: write materials/linseed@2027-01-04=+6%% or suppliers/.../offers/...@2027-01-04=3.10EUR", text)}
	m := forecastPattern.FindStringSubmatch(text)
	if m == nil {
		return nil, wrong
	}
	p, err := parsePriceChange("x=" + m[3])
	if err != nil {
		return nil, wrong
	}
	out := &pb.PriceForecast{Of: m[1], FromDate: m[2], Price: &pb.PriceForecast_Percent{Percent: p.Percent}}
	if p.PricePerKg != nil {
		out.Price = &pb.PriceForecast_PricePerKg{PricePerKg: p.PricePerKg}
	}
	return out, nil
}

func (a *app) planMake() *cobra.Command {
	p := &planTerms{}
	var name, file string
	var formulas, background bool
	c := &cobra.Command{
		Use: "make", Short: "Plan the batches of the book, or a problem from a file", Args: cobra.NoArgs,
		Example: `  millbase plan make --weeks 8 --storage 0.02EUR
  millbase plan make --forecast materials/linseed@2027-01-04=+6%
  millbase plan make --file problem.json`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			r, err := p.request()
			if err != nil {
				return err
			}
			r.PlanId = name
			if file != "" {
				problem := &pb.PlanProblem{}
				if err := readProblem(file, problem); err != nil {
					return err
				}
				r.What = &pb.MakePlanRequest_Problem{Problem: problem}
			} else {
				r.RequestId = newID()
			}
			if background {
				conn, err := a.client()
				if err != nil {
					return err
				}
				return a.started(pb.NewPlanServiceClient(conn).StartPlan(cmd.Context(), &pb.StartPlanRequest{Plan: r, RequestId: newID()}))
			}
			return a.planCall(cmd.Context(), formulas, func(ctx context.Context, s pb.PlanServiceClient) (*pb.Plan, error) { return s.MakePlan(ctx, r) })
		},
	}
	p.add(c.Flags())
	c.Flags().StringVar(&name, "id", "", "id of the plan (default: the day)")
	c.Flags().BoolVar(&background, "background", false, "start it as an operation, and leave")
	c.Flags().StringVar(&file, "file", "", "a problem as JSON, as the API takes it, in place of the book")
	c.Flags().BoolVar(&formulas, "formulas", false, "list what goes into every batch")
	return c
}

// readProblem reads a problem from a file.
func readProblem(file string, into *pb.PlanProblem) error {
	raw, err := os.ReadFile(file)
	if err != nil {
		return &exit{exitUsage, err.Error()}
	}
	if err := protojson.Unmarshal(raw, into); err != nil {
		return &exit{exitUsage, fmt.Sprintf("%s is no problem as the API takes it: %v", file, err)}
	}
	return nil
}

// planTime is how long a plan is waited for: without it the server gives a call less.
const planTime = 10 * time.Minute

// planCall prints the plan that a call answers.
func (a *app) planCall(ctx context.Context, formulas bool, call func(context.Context, pb.PlanServiceClient) (*pb.Plan, error)) error {
	conn, err := a.client()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, planTime)
	defer cancel()
	p, err := call(ctx, pb.NewPlanServiceClient(conn))
	if err != nil {
		return a.failed(err)
	}
	return a.show(p, func() { a.printPlan(p, formulas) })
}

func (a *app) planShow() *cobra.Command {
	var formulas bool
	c := &cobra.Command{
		Use: "show PLAN", Short: "Show a plan as it was made", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.planCall(cmd.Context(), formulas, func(ctx context.Context, s pb.PlanServiceClient) (*pb.Plan, error) {
				return s.GetPlan(ctx, &pb.GetPlanRequest{Name: prefixed("plans", args[0])})
			})
		},
	}
	c.Flags().BoolVar(&formulas, "formulas", false, "list what goes into every batch")
	return c
}

func (a *app) planAccept() *cobra.Command {
	return &cobra.Command{
		Use: "accept PLAN", Short: "Draft the plan's orders, plan its base inks and reserve lots, all or nothing", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			p, err := pb.NewPlanServiceClient(conn).AcceptPlan(cmd.Context(), &pb.AcceptPlanRequest{Name: prefixed("plans", args[0]), RequestId: newID()})
			if err != nil {
				return a.failed(err)
			}
			return a.show(p, func() { a.printAcceptance(p) })
		},
	}
}

func (a *app) planList() *cobra.Command {
	l := &listFlags{}
	c := &cobra.Command{
		Use: "list", Short: "List plans", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			rows, err := all(cmd.Context(), l.most, func(ctx context.Context, token string) ([]*pb.Plan, string, error) {
				page, err := pb.NewPlanServiceClient(conn).ListPlans(ctx, &pb.ListPlansRequest{PageSize: l.pageSize(), PageToken: token, Filter: l.filter})
				return page.GetPlans(), page.GetNextPageToken(), err
			})
			if err != nil {
				return a.failed(err)
			}
			return a.show(&pb.ListPlansResponse{Plans: rows}, func() {
				t := newTable("plan", "state", "of", ">batches", ">late", ">not made", ">orders", ">today", ">cost", ">saving")
				for _, p := range rows {
					n := p.Count
					t.add(id(p.Name), word(p.State, "PLAN_STATE_"), p.Date, fmt.Sprint(n.GetBatches()), fmt.Sprint(n.GetLate()), fmt.Sprint(n.GetUnmade()),
						fmt.Sprint(n.GetOrders()), fmt.Sprint(n.GetOrdersToday()), cash(p.Cost.GetTotal(), 2), cash(p.Saving, 2))
				}
				t.print(a.out)
			})
		},
	}
	l.add(c, "state")
	return c
}

func (a *app) planWhatIf() *cobra.Command {
	p := &planTerms{}
	var late, prices, rejected, due []string
	c := &cobra.Command{
		Use: "what-if", Short: "Plan with a late delivery, other prices, a rejected lot or another due date", Args: cobra.NoArgs,
		Long: "Plans with changes to the book and says what is other than without them. The book itself\nis left as it is, and nothing is kept.",
		Example: `  millbase plan what-if --order-late po-118=10
  millbase plan what-if --price materials/linseed=+8% --reject l-1042 --due b-7=2026-12-07`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			r, err := p.request()
			if err != nil {
				return err
			}
			if r.Changes, err = planChanges(late, prices, rejected, due); err != nil {
				return err
			}
			if len(r.Changes) == 0 {
				return &exit{exitUsage, "say what changes: --order-late, --price, --reject or --due"}
			}
			conn, err := a.client()
			if err != nil {
				return err
			}
			ctx, cancel := context.WithTimeout(cmd.Context(), planTime)
			defer cancel()
			answer, err := pb.NewPlanServiceClient(conn).MakePlan(ctx, r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() { a.printDifference(answer) })
		},
	}
	p.add(c.Flags())
	f := c.Flags()
	f.StringArrayVar(&late, "order-late", nil, "a purchase order comes so many days later: po-118=10 (again for more)")
	f.StringArrayVar(&prices, "price", nil, "a material, supplier or offer costs more: materials/linseed=+8% (again for more)")
	f.StringArrayVar(&rejected, "reject", nil, "a lot can't be used (again for more)")
	f.StringArrayVar(&due, "due", nil, "a batch is due on another day: b-7=2026-12-07 (again for more)")
	return c
}

// planChanges reads the flags of what-if.
func planChanges(late, prices, rejected, due []string) ([]*pb.PlanChange, error) {
	var out []*pb.PlanChange
	for _, text := range late {
		order, days, ok := strings.Cut(text, "=")
		n, err := strconv.Atoi(strings.TrimSuffix(days, "d"))
		if !ok || err != nil {
			return nil, &exit{exitUsage, fmt.Sprintf("--order-late %q: write po-118=10, an order and days", text)}
		}
		out = append(out, &pb.PlanChange{Change: &pb.PlanChange_Late{Late: &pb.PlanChange_LateDelivery{PurchaseOrder: prefixed("purchaseOrders", order), Days: int32(n)}}})
	}
	for _, text := range prices {
		of, by, ok := strings.Cut(text, "=")
		v, err := strconv.ParseFloat(strings.TrimSuffix(strings.TrimSpace(by), "%"), 64)
		if !ok || err != nil {
			return nil, &exit{exitUsage, fmt.Sprintf("--price %q: write materials/linseed=+8%%", text)}
		}
		out = append(out, &pb.PlanChange{Change: &pb.PlanChange_Price{Price: &pb.PlanChange_PriceMove{Of: of, Percent: v}}})
	}
	for _, lot := range rejected {
		out = append(out, &pb.PlanChange{Change: &pb.PlanChange_RejectedLot{RejectedLot: prefixed("lots", lot)}})
	}
	for _, text := range due {
		batch, day, ok := strings.Cut(text, "=")
		if !ok {
			return nil, &exit{exitUsage, fmt.Sprintf("--due %q: write b-7=2026-12-07", text)}
		}
		out = append(out, &pb.PlanChange{Change: &pb.PlanChange_Due{Due: &pb.PlanChange_OtherDueDate{Batch: prefixed("batches", batch), DueDate: day}}})
	}
	return out, nil
}
