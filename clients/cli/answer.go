package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"sort"
	"strings"

	pb "millbase/proto/millbase/v1"
)

// printAnswer prints the optimiser's answer for an ink maker.
func printAnswer(w io.Writer, r *pb.OptimiseResponse, all bool) {
	switch {
	case r.Outcome == pb.OptimiseOutcome_OPTIMISE_OUTCOME_NOT_WEIGHABLE, r.Outcome == pb.OptimiseOutcome_OPTIMISE_OUTCOME_NOT_FOUND:
		printInTheWay(w, r)
		return
	case !hasFormula(r):
		printClash(w, r)
		return
	}
	fmt.Fprintf(w, "Cheapest formula: %s per kg, %s in total%s\n\n", cash(r.CostPerKg, 4), cash(r.TotalCost, 2), valuedBy(r))
	t := newTable("weigh", ">kg", ">share %", ">per kg", ">cost", "stays in while per kg is", "")
	for _, c := range r.Components {
		t.add(label(c.Title, c.Candidate), kg(c.MassKg), fixed(100*c.Share, 3), cashNumber(c.PricePerKg, 3), cashNumber(c.Cost, 2),
			interval(c.PriceLow, c.PriceHigh, 3), remark(c))
	}
	t.print(w)
	fmt.Fprintln(w)
	printWeighed(w, r)
	printLimits(w, r, all)
	printSafety(w, r)
	printAims(w, r)
	printUsedUp(w, r)
	if all {
		printRest(w, r)
	} else if n := len(r.Unused) + len(r.LeftOut); n > 0 {
		printNext(w, r)
		fmt.Fprintf(w, "\n%d more candidates were weighed up; --all lists them.\n", n)
	}
	printAssumptions(w, r.Assumptions)
	if p := r.Proof; p != nil {
		fmt.Fprintf(w, "\nProof: %d candidates, %d limits; recomputed apart from the engine: largest breach of a limit %s, gap %s.\n",
			p.Candidates, p.Limits, rounding(p.PrimalViolation), rounding(p.Gap))
	}
}

// hasFormula reports whether the answer is a formula.
func hasFormula(r *pb.OptimiseResponse) bool {
	return r.Outcome == pb.OptimiseOutcome_OPTIMISE_OUTCOME_OPTIMAL || r.Outcome == pb.OptimiseOutcome_OPTIMISE_OUTCOME_NOT_PROVEN
}

// rounding prints what rounding has left: 1.1e-16, or 0.
func rounding(v float64) string {
	if v == 0 {
		return "0"
	}
	return fmt.Sprintf("%.1e", v)
}

// valuedBy names the cost basis where lots of the book are in the formula;
// candidates of the request bring their own price.
func valuedBy(r *pb.OptimiseResponse) string {
	for _, c := range r.Components {
		if strings.HasPrefix(c.Candidate, "lots/") {
			return " (" + word(r.CostBasis, "COST_BASIS_") + " basis)"
		}
	}
	return ""
}

func label(title, candidate string) string {
	if title == "" || title == candidate {
		return candidate
	}
	if strings.Contains(title, id(candidate)) {
		return title
	}
	return title + ", " + id(candidate)
}

func remark(c *pb.FormulaComponent) string {
	var notes []string
	if c.Containers > 0 {
		notes = append(notes, fmt.Sprintf("%d whole", c.Containers))
	}
	if c.FromOffer {
		notes = append(notes, "to buy")
	}
	if c.AtLimit && math.Abs(c.StockWorthPerKg) > 5e-4 {
		notes = append(notes, "all of it used; 1 kg more saves "+fixed(math.Abs(c.StockWorthPerKg), 2))
	}
	return strings.Join(notes, "; ")
}

// interval prints a range whose ends may be open.
func interval(low, high *float64, decimals int) string {
	switch {
	case low == nil && high == nil:
		return "any"
	case low == nil:
		return "up to " + fixed(*high, decimals)
	case high == nil:
		return "from " + fixed(*low, decimals)
	}
	return fixed(*low, decimals) + " to " + fixed(*high, decimals)
}

// spread is interval to five figures: a limit of 0.03 has its range within a
// hundredth of that.
func spread(low, high *float64) string {
	switch {
	case low == nil && high == nil:
		return "any"
	case low == nil:
		return "up to " + significant(*high, 5)
	case high == nil:
		return "from " + significant(*low, 5)
	}
	return significant(*low, 5) + " to " + significant(*high, 5)
}

func bounds(low, high *float64) string {
	switch {
	case low != nil && high != nil && *low == *high:
		return "= " + significant(*low, 5)
	case low != nil && high != nil:
		return significant(*low, 5) + " to " + significant(*high, 5)
	case low != nil:
		return ">= " + significant(*low, 5)
	case high != nil:
		return "<= " + significant(*high, 5)
	}
	return ""
}

// printLimits lists the limits that bind with their price first; the others only
// when asked for.
func printLimits(w io.Writer, r *pb.OptimiseResponse, all bool) {
	limits := append([]*pb.LimitResult(nil), r.Limits...)
	sort.SliceStable(limits, func(i, j int) bool { return weight(limits[i]) > weight(limits[j]) })
	t := newTable("limit", "asked", ">value", "unit", ">price of one unit more", "holds for")
	free := 0
	for _, l := range limits {
		binds := l.Binding > pb.LimitResult_BINDING_NONE
		if !binds && !all {
			free++
			continue
		}
		price, holds := "", ""
		if binds {
			price = signed(l.ShadowPrice)
			if l.ShadowPrice != 0 && (l.HoldsFrom != nil || l.HoldsTo != nil) {
				holds = spread(l.HoldsFrom, l.HoldsTo)
			}
		}
		t.add(l.Title, bounds(l.Lower, l.Upper), significant(l.Value, 5), l.Unit, price, holds)
	}
	fmt.Fprintf(w, "Limits that bind, dearest first (price: %s per kg of ink for one unit more of the bound)\n\n", r.CurrencyCode)
	t.print(w)
	if free > 0 {
		fmt.Fprintf(w, "\n%d more limits are met with room to spare.\n", free)
	}
}

// weight orders limits by what one per cent of the bound costs.
func weight(l *pb.LimitResult) float64 {
	return math.Abs(l.ShadowPrice) * math.Max(math.Abs(l.Value), 1e-3)
}

func signed(v float64) string {
	if math.Abs(v) < 5e-7 {
		return "0"
	}
	s := significant(v, 4)
	if v > 0 {
		s = "+" + s
	}
	return s
}

// printNext names the unused candidates that are nearest to coming in.
func printNext(w io.Writer, r *pb.OptimiseResponse) {
	unused := append([]*pb.UnusedCandidate(nil), r.Unused...)
	drop := func(u *pb.UnusedCandidate) float64 {
		price := float64(u.PricePerKg.GetUnits()) + float64(u.PricePerKg.GetNanos())/1e9
		if price <= 0 {
			return math.Inf(1)
		}
		return (price - u.EntryPricePerKg) / price
	}
	// One that would come in at its own price is kept out by a limit, not by it.
	unused = slices.DeleteFunc(unused, func(u *pb.UnusedCandidate) bool { return drop(u) < 1e-6 })
	sort.SliceStable(unused, func(i, j int) bool { return drop(unused[i]) < drop(unused[j]) })
	if len(unused) > 5 {
		unused = unused[:5]
	}
	if len(unused) == 0 {
		return
	}
	fmt.Fprint(w, "\nNearest to coming in\n\n")
	printUnused(w, unused)
}

func printUnused(w io.Writer, unused []*pb.UnusedCandidate) {
	t := newTable("not used", ">per kg", ">comes in at")
	for _, u := range unused {
		t.add(label(u.Title, u.Candidate), cashNumber(u.PricePerKg, 3), fixed(u.EntryPricePerKg, 3))
	}
	t.print(w)
}

func printRest(w io.Writer, r *pb.OptimiseResponse) {
	if len(r.Unused) > 0 {
		fmt.Fprintln(w)
		printUnused(w, r.Unused)
	}
	if len(r.LeftOut) > 0 {
		fmt.Fprintln(w)
		t := newTable("left out", "because")
		for _, l := range r.LeftOut {
			t.add(label(l.Title, l.Candidate), l.Reason)
		}
		t.print(w)
	}
}

func printAssumptions(w io.Writer, assumptions []string) {
	if len(assumptions) == 0 {
		return
	}
	fmt.Fprintln(w, "\nTaken for granted:")
	for _, s := range assumptions {
		fmt.Fprintln(w, wrap("  - "+s, 100, "    "))
	}
}

// printClash says why there is no formula, and what would have to give.
func printClash(w io.Writer, r *pb.OptimiseResponse) {
	c := r.Clash
	if c == nil {
		fmt.Fprintf(w, "No answer: %s.\n", word(r.Outcome, "OPTIMISE_OUTCOME_"))
		return
	}
	fmt.Fprintln(w, wrap(c.Summary, 100, ""))
	if len(c.LimitIds)+len(c.Stocks) > 0 {
		fmt.Fprintf(w, "\nThese clash; drop any one of them and the rest can be met:\n  %s\n", strings.Join(append(append([]string{}, c.LimitIds...), c.Stocks...), ", "))
	}
	if len(c.Ways) > 0 {
		fmt.Fprintln(w, "\nWays out, the lightest first; each is enough by itself, and was tried:")
		for _, way := range c.Ways {
			fmt.Fprintln(w, wrap(fmt.Sprintf("  - %s: then %s per kg", way.Text, cash(way.CostPerKg, 4)), 100, "    "))
		}
	} else if len(c.Movements) > 0 {
		fmt.Fprintln(w, "\nThe least that has to give, all of it together:")
		for _, m := range c.Movements {
			fmt.Fprintln(w, wrap("  - "+m.Text, 100, "    "))
		}
	}
	printPossible(w, r)
	printAssumptions(w, r.Assumptions)
}

// wrap breaks text at spaces; later lines start with indent.
func wrap(text string, width int, indent string) string {
	var out strings.Builder
	lead := text[:len(text)-len(strings.TrimLeft(text, " "))]
	line := lead
	for _, word := range strings.Fields(text) {
		if len(strings.TrimSpace(line)) > 0 && len([]rune(line))+1+len([]rune(word)) > width {
			out.WriteString(strings.TrimRight(line, " ") + "\n")
			line = indent
		}
		if strings.TrimSpace(line) != "" {
			line += " "
		}
		line += word
	}
	return out.String() + line
}
