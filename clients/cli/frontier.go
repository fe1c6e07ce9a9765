package main

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/spf13/cobra"

	pb "millbase/proto/millbase/v1"
)

const frontierHelp = `Shows the cheapest cost against one bound: every place at which the formula changes,
from where there is no formula to where the bound no longer matters. What moves is a
limit (--limit), the available amount of a lot or offer (--stock), or the day the ink
is made (--until).

Weighing, aims, confidences and premiums of the question are left aside. When there
is no formula wherever the bound stands, the exit code is 3.`

func (a *app) frontier() *cobra.Command {
	var q question
	var limit, stock, until, side string
	var from, to float64
	c := &cobra.Command{
		Use: "frontier [SPECIFICATION]", Short: "Show the cheapest cost against a limit, a stock or the day", Long: frontierHelp, GroupID: groupMake,
		Example: `  millbase frontier sheetfed-cyan --kg 250 --limit voc
  millbase frontier sheetfed-cyan --limit tack --side lower --from 9 --to 12
  millbase frontier sheetfed-cyan --stock lots/l-1042
  millbase frontier sheetfed-cyan --until 2026-12-24 --json`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			conn, err := a.client()
			if err != nil {
				return err
			}
			asked, err := q.request(a, cmd, args)
			if err != nil {
				return err
			}
			r := &pb.TraceFrontierRequest{Question: asked, LimitId: limit, Stock: stock, UntilDate: until}
			if side != "" {
				if r.Side, err = enum[pb.LimitResult_Binding](pb.LimitResult_Binding_value, "BINDING_", side); err != nil {
					return err
				}
			}
			if cmd.Flags().Changed("from") {
				r.From = &from
			}
			if cmd.Flags().Changed("to") {
				r.To = &to
			}
			answer, err := pb.NewStudyServiceClient(conn).TraceFrontier(cmd.Context(), r)
			if err != nil {
				return a.failed(err)
			}
			if err := a.show(answer, func() { printFrontier(a.out, answer, limit+stock) }); err != nil {
				return err
			}
			if len(answer.Points) == 0 {
				return &exit{code: exitNoFormula}
			}
			return nil
		},
	}
	q.flags(c.Flags())
	f := c.Flags()
	f.StringVar(&limit, "limit", "", "the limit whose bound moves")
	f.StringVar(&stock, "stock", "", "the lot or offer whose available amount moves, by its full name")
	f.StringVar(&until, "until", "", "the day moves, from --date to this one, YYYY-MM-DD")
	f.StringVar(&side, "side", "", "which bound of the limit: lower or upper (default the only one, or upper)")
	f.Float64Var(&from, "from", 0, "begin at this bound, in the limit's unit or kg")
	f.Float64Var(&to, "to", 0, "end at this bound")
	return c
}

func printFrontier(w io.Writer, r *pb.TraceFrontierResponse, of string) {
	fmt.Fprintln(w, wrap(r.Summary, 100, ""))
	if len(r.Points) == 0 {
		printAssumptions(w, r.Assumptions)
		return
	}
	fmt.Fprintln(w)
	if r.Points[0].Date != "" {
		t := newTable("from", ">"+r.CurrencyCode+" per kg", "what changes")
		for _, p := range r.Points {
			t.add(p.Date, costAt(p), short(p.Change, 70))
		}
		t.print(w)
	} else {
		chart(w, r, of)
		t := newTable(">"+strings.TrimSpace(of+" "+r.Unit), ">"+r.CurrencyCode+" per kg", ">a unit more: below", ">above", "what changes here")
		for _, p := range r.Points {
			t.add(significant(p.Bound, 6), costAt(p), slope(p.SlopeBefore), slope(p.SlopeAfter), short(p.Change, 46))
		}
		t.print(w)
		if !r.Straight {
			fmt.Fprintln(w, "\nBetween two places the cost is a curve: a quotient in the bound or in its blending index.")
		}
	}
	printAssumptions(w, r.Assumptions)
}

func costAt(p *pb.FrontierPoint) string {
	if p.CostPerKg == nil {
		return "no formula"
	}
	return cashNumber(p.CostPerKg, 4)
}

func slope(v *float64) string {
	if v == nil {
		return ""
	}
	return signed(*v)
}

// short cuts a text to so many characters.
func short(text string, most int) string {
	if r := []rune(text); len(r) > most {
		return string(r[:most-3]) + "..."
	}
	return text
}

// The size of the chart, without the figures beside it.
const (
	chartWidth  = 72
	chartHeight = 12
)

// chart draws the cost over the bound; breakpoints are marked.
func chart(w io.Writer, r *pb.TraceFrontierResponse, of string) {
	first, last := r.Points[0], r.Points[len(r.Points)-1]
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range r.Points {
		low, high = math.Min(low, p.CostExact), math.Max(high, p.CostExact)
	}
	width := last.Bound - first.Bound
	if !(width > 0) || !(high-low > 1e-9*math.Abs(high)) {
		return
	}
	var cells [chartHeight][chartWidth]byte
	for y := range cells {
		for x := range cells[y] {
			cells[y][x] = ' '
		}
	}
	mark := func(bound, cost float64, with byte) {
		x := int(math.Round((bound - first.Bound) / width * (chartWidth - 1)))
		y := int(math.Round((high - cost) / (high - low) * (chartHeight - 1)))
		cells[y][x] = with
	}
	for x := range chartWidth {
		bound := first.Bound + width*float64(x)/(chartWidth-1)
		mark(bound, between(r, bound), '.')
	}
	for _, p := range r.Points {
		mark(p.Bound, p.CostExact, 'o')
	}
	for y := range cells {
		label := ""
		if y == 0 || y == chartHeight-1 || y == chartHeight/2 {
			label = fixed(high-(high-low)*float64(y)/(chartHeight-1), 4)
		}
		fmt.Fprintf(w, "%10s |%s\n", label, strings.TrimRight(string(cells[y][:]), " "))
	}
	end := significant(last.Bound, 5)
	start := significant(first.Bound, 5)
	fmt.Fprintf(w, "%10s +%s\n%10s  %s%*s\n\n", "", strings.Repeat("-", chartWidth), "", start, chartWidth-len(start), end)
}

// between is the cost at a bound between two points: a straight line, or the
// quotient of linear functions that has the costs of both and the slope of the
// first.
func between(r *pb.TraceFrontierResponse, bound float64) float64 {
	for i := 1; i < len(r.Points); i++ {
		a, b := r.Points[i-1], r.Points[i]
		if bound > b.Bound && i < len(r.Points)-1 {
			continue
		}
		by, way, rise := math.Max(0, bound-a.Bound), b.Bound-a.Bound, b.CostExact-a.CostExact
		if !(way > 0) {
			return b.CostExact
		}
		by = math.Min(by, way)
		line := a.CostExact + rise*by/way
		if r.Straight || a.SlopeAfter == nil || rise == 0 {
			return line
		}
		bend := (*a.SlopeAfter*way/rise - 1) / way
		if v := a.CostExact + *a.SlopeAfter*by/(1+bend*by); (v-a.CostExact)*(v-b.CostExact) <= 0 {
			return v
		}
		return line
	}
	return r.Points[0].CostExact
}
