package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

func (a *app) cost() *cobra.Command {
	r := &pb.CostFormulaRequest{}
	var basis string
	c := &cobra.Command{
		Use: "cost FORMULA", Short: "Cost a quantity of a formula, through all levels", GroupID: groupMake, Args: cobra.ExactArgs(1),
		Long:    "Costs a quantity of a formula: materials through all levels, yield, process steps, wash-up, packaging, overhead.",
		Example: "  millbase cost spot-harbour-blue --kg 120 --pack tin-2-5 --basis replacement",
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			r.Name = prefixed("formulas", args[0])
			if basis != "" {
				if r.CostBasis, err = enum[pb.CostBasis](pb.CostBasis_value, "COST_BASIS_", basis); err != nil {
					return err
				}
			}
			answer, err := pb.NewFormulaServiceClient(conn).CostFormula(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() {
				fmt.Fprintf(a.out, "%s kg of %s: %s, %s per kg (%s basis)\n\n", kg(answer.QuantityKg), id(answer.Formula), cash(answer.Total, 2),
					cash(answer.PerKg, 4), word(answer.CostBasis, "COST_BASIS_"))
				printCostLines(a.out, answer.Lines)
				fmt.Fprint(a.out, "\nOn every basis")
				printBases(a.out, answer.ByBasis)
				printAssumptions(a.out, answer.Assumptions)
			})
		},
	}
	f := c.Flags()
	f.Float64Var(&r.QuantityKg, "kg", 100, "finished ink, kg")
	f.StringVar(&basis, "basis", "", "value lots by: lot, average, replacement, standard")
	f.StringVar(&r.Date, "date", "", "as of this day, YYYY-MM-DD (default today)")
	f.StringVar(&r.Pack, "pack", "", "container, by its id; several with commas between are mixed as is cheapest")
	f.Var(&optionalNumber{&r.Lightness}, "lightness", "CIE L* of a print of it, for the wash-up")
	f.Var(&optionalNumber{&r.AfterLightness}, "after", "CIE L* of the ink on the machines before; from light to dark a short wash-up is enough")
	return c
}

// printBases prints a cost on every basis side by side.
func printBases(w io.Writer, bases []*pb.BasisCost) {
	fmt.Fprint(w, "\n\n")
	t := newTable("basis", ">materials", ">total", ">difference")
	for _, b := range bases {
		t.add(word(b.CostBasis, "COST_BASIS_"), cashNumber(b.Materials, 2), cash(b.Total, 2), cashNumber(b.Difference, 2))
	}
	t.print(w)
	for _, b := range bases {
		if b.Total == nil {
			fmt.Fprintf(w, "There is no %s cost: %s\n", word(b.CostBasis, "COST_BASIS_"), strings.Join(b.Missing, " "))
		}
	}
}

func printCostLines(w io.Writer, lines []*pb.CostLine) {
	t := newTable("line", "kind", ">kg", ">hours", ">rate", ">amount")
	for _, l := range lines {
		mass, hours := "", ""
		if l.QuantityKg != 0 {
			mass = number(l.QuantityKg, 3)
		}
		if l.Hours != 0 {
			hours = fixed(l.Hours, 2)
		}
		t.add(strings.Repeat("  ", int(l.Level))+l.Title, word(l.Kind, "KIND_"), mass, hours, cashNumber(l.Rate, 4), cashNumber(l.Amount, 2))
	}
	t.print(w)
}

// optionalNumber is a flag of a number that may be left out.
type optionalNumber struct{ to **float64 }

func (o *optionalNumber) String() string {
	if o.to == nil || *o.to == nil {
		return ""
	}
	return number(**o.to, 6)
}

func (o *optionalNumber) Type() string { return "float" }

func (o *optionalNumber) Set(text string) error {
	v, err := strconv.ParseFloat(text, 64)
	*o.to = &v
	return err
}
