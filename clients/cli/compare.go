package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

const compareHelp = `Sets two formulas side by side: masses, cost at the same prices, and every limit with
the value of each. A formula is named as sheetfed-cyan or sheetfed-cyan@3 (of the
formula book), batches/b-117 (its weights), or optimise:SPECIFICATION (the cheapest
formula). Limits are those of --specification, or of the first formula that has some.`

func (a *app) compare() *cobra.Command {
	r := &pb.CompareFormulasRequest{}
	var basis, specification string
	var kg float64
	c := &cobra.Command{
		Use: "compare FIRST SECOND", Short: "Compare two formulas limit by limit", Long: compareHelp, GroupID: groupMake,
		Example: `  millbase compare sheetfed-cyan@1 optimise:sheetfed-cyan
  millbase compare batches/b-117 sheetfed-cyan --basis replacement`,
		Args: cobra.ExactArgs(2),
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
			if specification != "" {
				r.Specification = prefixed("specifications", specification)
			}
			r.First, r.Second = formulaRef(args[0], kg), formulaRef(args[1], kg)
			answer, err := pb.NewStudyServiceClient(conn).CompareFormulas(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			return a.show(answer, func() { printCompared(a.out, answer) })
		},
	}
	f := c.Flags()
	f.StringVar(&specification, "specification", "", "whose limits (default those of the first formula)")
	f.StringVar(&basis, "basis", "", "value lots by: lot, average, replacement, standard")
	f.StringVar(&r.Date, "date", "", "day, YYYY-MM-DD (default today)")
	f.Float64Var(&kg, "kg", 100, "finished ink of optimise:..., kg")
	return c
}

// formulaRef reads the name of a formula to compare.
func formulaRef(text string, kg float64) *pb.FormulaRef {
	if spec, ok := strings.CutPrefix(text, "optimise:"); ok {
		return &pb.FormulaRef{Question: &pb.OptimiseRequest{Specification: prefixed("specifications", spec), QuantityKg: kg, Book: &pb.BookCandidates{}}}
	}
	if strings.HasPrefix(text, "batches/") {
		return &pb.FormulaRef{Batch: text}
	}
	return &pb.FormulaRef{Formula: prefixed("formulas", text)}
}

func printCompared(w io.Writer, r *pb.CompareFormulasResponse) {
	fmt.Fprintf(w, "1: %s\n2: %s\n\n%s\n\n", r.FirstTitle, r.SecondTitle, wrap(r.Summary, 100, ""))
	t := newTable("in the pot", ">1: share %", ">2: share %", ">"+r.CurrencyCode+" per kg", ">2 spends more")
	for _, c := range r.Components {
		t.add(short(label(c.Title, c.Candidate), 44), fixed(100*c.FirstShare, 3), fixed(100*c.SecondShare, 3), cashNumber(c.PricePerKg, 3), cashNumber(c.Difference, 4))
	}
	t.add("cost per kg of ink", cashNumber(r.FirstCostPerKg, 4), cashNumber(r.SecondCostPerKg, 4))
	t.print(w)
	fmt.Fprintln(w)
	l := newTable("limit", "asked", ">1", ">2", "unit", "missed by")
	for _, x := range r.Limits {
		var missed []string
		if !x.FirstMet {
			missed = append(missed, "1")
		}
		if !x.SecondMet {
			missed = append(missed, "2")
		}
		l.add(x.Title, bounds(x.Lower, x.Upper), valueOf(x.FirstValue), valueOf(x.SecondValue), x.Unit, strings.Join(missed, " and "))
	}
	l.print(w)
	printAssumptions(w, r.Assumptions)
}

func valueOf(v *float64) string {
	if v == nil {
		return "-"
	}
	return significant(*v, 5)
}
