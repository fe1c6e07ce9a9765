package main

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) reprice() *cobra.Command {
	r := &pb.RepriceBookRequest{}
	var basis string
	var prices []string
	var all, background bool
	c := &cobra.Command{
		Use: "reprice", Short: "Which formulas do other prices change, and what does it save", GroupID: groupMake, Args: cobra.NoArgs,
		Long: `Finds the cheapest formula for every released formula that has a specification,
at the prices of the book or at prices that are tried out, and compares it with
the recipe as it stands. The book itself is left as it is.`,
		Example: `  millbase reprice
  millbase reprice --price materials/linseed-varnish=+5%
  millbase reprice --price pb15-3=-8% --price soya-oil=1.65EUR --formula sheetfed-cyan`,
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			if basis != "" {
				if r.CostBasis, err = enum[pb.CostBasis](pb.CostBasis_value, "COST_BASIS_", basis); err != nil {
					return err
				}
			}
			for _, text := range prices {
				p, err := parsePriceChange(text)
				if err != nil {
					return err
				}
				r.Changes = append(r.Changes, p)
			}
			for i, f := range r.Formulas {
				r.Formulas[i] = prefixed("formulas", f)
			}
			if background {
				return a.started(pb.NewRepricingServiceClient(conn).StartRepricing(cmd.Context(), &pb.StartRepricingRequest{Reprice: r, RequestId: newID()}))
			}
			answer, err := pb.NewRepricingServiceClient(conn).RepriceBook(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() { a.printRepriced(answer, len(r.Changes) > 0, all) })
		},
	}
	f := c.Flags()
	f.StringArrayVar(&prices, "price", nil, "try out a price: MATERIAL=+5%, MATERIAL=-3% or MATERIAL=3.20EUR (again for more)")
	f.StringVar(&basis, "basis", "", "value materials by: lot, average, replacement, standard (default replacement)")
	f.StringSliceVar(&r.Formulas, "formula", nil, "only these formulas")
	f.Float64Var(&r.QuantityKg, "kg", 0, "ink, kg (default: each formula's usual batch)")
	f.StringVar(&r.Date, "date", "", "as of this day, YYYY-MM-DD (default today)")
	f.Int32Var(&r.MaxFormulas, "most", 0, "list at most so many formulas (default 1000)")
	f.BoolVar(&background, "background", false, "start it as an operation, and leave")
	f.BoolVar(&all, "all", false, "list those that save nothing as well")
	return c
}

var pricePattern = regexp.MustCompile(`^([^=\s]+)\s*=\s*(\S.*)$`)

// parsePriceChange reads "MATERIAL=+5%" or "MATERIAL=3.20EUR".
func parsePriceChange(text string) (*pb.PriceChange, error) {
	wrong := &exit{exitUsage, fmt.Sprintf("--price %q: write MATERIAL=+5%%, MATERIAL=-3%% or MATERIAL=3.20EUR", text)}
	m := pricePattern.FindStringSubmatch(text)
	if m == nil {
		return nil, wrong
	}
	out := &pb.PriceChange{Material: prefixed("materials", m[1])}
	if by, ok := strings.CutSuffix(strings.TrimSpace(m[2]), "%"); ok {
		v, err := strconv.ParseFloat(strings.TrimSpace(by), 64)
		if err != nil {
			return nil, wrong
		}
		out.Percent = v
		return out, nil
	}
	var err error
	if out.PricePerKg, err = parseCash(m[2]); err != nil {
		return nil, wrong
	}
	return out, nil
}

// printRepriced lists what can be saved, then what to change.
func (a *app) printRepriced(r *pb.RepriceBookResponse, tried, all bool) {
	n := r.Count
	fmt.Fprintf(a.out, "%d formulas on %s (%s basis): %d to reformulate, %s saved in a year\n", n.Formulas, r.Date, word(r.CostBasis, "COST_BASIS_"),
		n.Reformulate, cash(r.SavingPerYear, 2))
	fmt.Fprintf(a.out, "%d unchanged, %d proved by earlier answers, %d solved, %d can't be made\n\n", n.Unchanged, n.Proved, n.Solved, n.Impossible)
	head := []string{"formula", ">cost", ">cheapest", ">saving per kg", ">kg a year", ">saving a year", "reformulate"}
	if tried {
		head = append(head[:1], append([]string{">cost before"}, head[1:]...)...)
	}
	t := newTable(head...)
	listed := 0
	for _, f := range r.Formulas {
		if !all && !f.Reformulate && f.CheapestPerKg != nil && (f.SavingPerKg == nil || f.SavingPerKg.Units == 0 && f.SavingPerKg.Nanos == 0) {
			continue
		}
		listed++
		cells := []string{id(f.Formula)}
		if tried {
			cells = append(cells, cashNumber(f.CostBeforePerKg, 4))
		}
		yes := ""
		if f.Reformulate {
			yes = "yes"
		}
		t.add(append(cells, cashNumber(f.CostPerKg, 4), cashNumber(f.CheapestPerKg, 4), cashNumber(f.SavingPerKg, 4),
			number(f.YearlyKg, 1), cashNumber(f.SavingPerYear, 2), yes)...)
	}
	t.print(a.out)
	if listed < len(r.Formulas) {
		fmt.Fprintf(a.out, "%d more save nothing (--all lists them).\n", len(r.Formulas)-listed)
	}
	for _, f := range r.Formulas {
		if f.Reformulate && len(f.Changes) > 0 {
			a.printShares(f)
		}
		if f.Summary != "" && (all || f.CheapestPerKg == nil) {
			fmt.Fprintf(a.out, "\n%s: %s\n", id(f.Formula), f.Summary)
		}
	}
	fmt.Fprintln(a.out)
	printAssumptions(a.out, r.Assumptions)
}

// printShares lists what goes out of a recipe and what comes in.
func (a *app) printShares(f *pb.RepricedFormula) {
	fmt.Fprintf(a.out, "\n%s, %% by weight:\n", id(f.Formula))
	t := newTable("material", ">now", ">cheapest", ">change")
	for _, c := range f.Changes {
		t.add(c.Title, fixed(100*c.Now, 2), fixed(100*c.Cheapest, 2), fmt.Sprintf("%+.2f", 100*(c.Cheapest-c.Now)))
	}
	t.print(a.out)
}
