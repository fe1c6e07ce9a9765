package main

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"slices"
	"strings"

	pb "millbase/proto/millbase/v1"
)

// printMatch prints target and offers side by side, within 100 columns.
func printMatch(w io.Writer, r *pb.MatchShadeResponse, q *shadeQuestion) {
	if r.Outcome == pb.ShadeOutcome_SHADE_OUTCOME_CLASH {
		printClash(w, &pb.OptimiseResponse{Outcome: pb.OptimiseOutcome_OPTIMISE_OUTCOME_INFEASIBLE, Clash: r.Clash, Assumptions: r.Assumptions})
		printLeftOut(w, r, q.all)
		return
	}
	fmt.Fprintln(w, wrap(r.Summary, 100, ""))
	fmt.Fprintln(w)
	printSwatches(w, r)
	printOffers(w, r)
	if len(r.Offers) > 0 && q.plot && r.Offers[0].Curve != nil {
		fmt.Fprintln(w)
		printCurves(w, r.TargetCurve, r.Offers[0].Curve, "target", kindWord(r.Offers[0].Kind))
	}
	for _, o := range r.Offers {
		if o.Weighed != nil {
			fmt.Fprintf(w, "\nThe %s:\n", kindWord(o.Kind))
			printWeighed(w, &pb.OptimiseResponse{Weighed: o.Weighed})
		}
	}
	printShadeFrontier(w, r)
	if len(r.Offers) > 0 && len(r.Offers[0].Limits) > 0 {
		fmt.Fprintf(w, "\nOf the %s: ", kindWord(r.Offers[0].Kind))
		printLimits(w, &pb.OptimiseResponse{Limits: r.Offers[0].Limits, CurrencyCode: r.CurrencyCode}, q.all)
	}
	printLeftOut(w, r, q.all)
	printAssumptions(w, r.Assumptions)
	if len(r.Offers) > 0 && r.Offers[0].Proof.GetCertified() {
		fmt.Fprintf(w, "\nProof: each formula was checked apart from the engine and its colour worked out anew from the masses;\nof %d candidates.\n", r.Offers[0].Proof.Candidates)
	}
}

// printOffers prints what goes into each offer, how it looks and what it costs.
func printOffers(w io.Writer, r *pb.MatchShadeResponse) {
	head := []string{"kg", ">target"}
	var rows []string
	cells := map[string][]string{}
	for i, o := range r.Offers {
		head = append(head, ">"+kindWord(o.Kind))
		for _, c := range o.Components {
			name := inBrief(c.Title, c.Candidate, 40)
			if cells[name] == nil {
				rows = append(rows, name)
				cells[name] = make([]string, len(r.Offers))
			}
			cells[name][i] = fixed(c.MassKg, 3)
			if c.MassKg < 0.0005 {
				cells[name][i] = "<0.001"
			}
		}
	}
	t := newTable(head...)
	for _, name := range rows {
		t.add(append([]string{name, ""}, cells[name]...)...)
	}
	row := func(name, target string, of func(*pb.ShadeOffer) string) {
		line := []string{name, target}
		for _, o := range r.Offers {
			if len(o.Components) == 0 {
				line = append(line, "-")
				continue
			}
			line = append(line, of(o))
		}
		t.add(line...)
	}
	t.add(make([]string, len(head))...)
	for k := range 2 {
		printLight(r, k, row)
	}
	row("metamerism", "", func(o *pb.ShadeOffer) string { return maybe(o.Metamerism) })
	t.add(make([]string, len(head))...)
	row("coloured materials", "", func(o *pb.ShadeOffer) string { return fmt.Sprint(o.Bases) })
	row(r.CurrencyCode+" per kg", "", func(o *pb.ShadeOffer) string { return cashNumber(o.CostPerKg, 4) })
	row(r.CurrencyCode+" in total", "", func(o *pb.ShadeOffer) string { return cashNumber(o.TotalCost, 2) })
	t.print(w)
}

// printLight adds the rows of one light.
func printLight(r *pb.MatchShadeResponse, k int, row func(name, target string, of func(*pb.ShadeOffer) string)) {
	if len(r.Offers) == 0 || len(r.Offers[0].Lights) <= k {
		return
	}
	light := r.Offers[0].Lights[k]
	labRows(light, func(name, target string, part func(*pb.Lab) float64) {
		row(name, target, func(o *pb.ShadeOffer) string { return fixed(part(o.Lights[k].Predicted), 2) })
	})
	if light.Target == nil {
		return
	}
	row(lightHead(light), "", func(o *pb.ShadeOffer) string { return maybe(o.Lights[k].De00) })
	if k == 0 {
		row("CIE 1976 under "+viewing(light.Viewing), "", func(o *pb.ShadeOffer) string { return maybe(o.Lights[k].De76) })
	}
}

// labRows makes the rows of the CIELAB values under a light.
func labRows(light *pb.ShadeLight, row func(name, target string, part func(*pb.Lab) float64)) {
	for _, part := range []struct {
		name string
		of   func(*pb.Lab) float64
	}{{"L*", (*pb.Lab).GetL}, {"a*", (*pb.Lab).GetA}, {"b*", (*pb.Lab).GetB}} {
		target := ""
		if light.Target != nil {
			target = fixed(part.of(light.Target), 2)
		}
		row(part.name+" under "+viewing(light.Viewing), target, part.of)
	}
}

// maybe prints a difference that may not be known.
func maybe(v *float64) string {
	if v == nil {
		return "-"
	}
	return fixed(*v, 2)
}

// printSwatches shows the colours under the first light, where the terminal has
// colours.
func printSwatches(w io.Writer, r *pb.MatchShadeResponse) {
	if !hasColour(w) || len(r.Target) == 0 {
		return
	}
	fmt.Fprintf(w, "target %s", block(r.Target[0].Swatch))
	for _, o := range r.Offers {
		if len(o.Lights) > 0 {
			fmt.Fprintf(w, "   %s %s", kindWord(o.Kind), block(o.Lights[0].PredictedSwatch))
		}
	}
	fmt.Fprint(w, "\n\n")
}

// hasColour reports whether w is a terminal of 24-bit colour.
func hasColour(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok || os.Getenv("NO_COLOR") != "" {
		return false
	}
	info, err := f.Stat()
	terminal := err == nil && info.Mode()&os.ModeCharDevice != 0
	return terminal && (os.Getenv("COLORTERM") == "truecolor" || os.Getenv("COLORTERM") == "24bit")
}

// block is a patch of a colour written "#rrggbb".
func block(swatch string) string {
	var r, g, b int
	if _, err := fmt.Sscanf(swatch, "#%02x%02x%02x", &r, &g, &b); err != nil {
		return ""
	}
	return fmt.Sprintf("\x1b[48;2;%d;%d;%dm        \x1b[0m", r, g, b)
}

// printShadeFrontier lists cost against difference.
func printShadeFrontier(w io.Writer, r *pb.MatchShadeResponse) {
	if len(r.Frontier) == 0 {
		return
	}
	fmt.Fprint(w, "\nWhat nearness costs\n\n")
	t := newTable(">within", ">CIEDE2000", ">"+r.CurrencyCode+" per kg", "per cent of each material")
	for _, x := range r.Frontier {
		t.add(fixed(x.ToleranceDe00, 2), fixed(x.De00, 2), cashNumber(x.CostPerKg, 4), shortened(byMaterial(x.Shares), 64))
	}
	t.print(w)
}

// byMaterial names materials with their shares in per cent, the largest first.
func byMaterial(shares []*pb.ShadeShare) string {
	sum := map[string]float64{}
	for _, s := range shares {
		name := s.Material
		if name == "" {
			name = s.Candidate
		}
		sum[id(name)] += 100 * s.Share
	}
	names := slices.SortedFunc(maps.Keys(sum), func(a, b string) int { return cmp.Or(cmp.Compare(sum[b], sum[a]), cmp.Compare(a, b)) })
	var out []string
	for _, name := range names {
		out = append(out, strings.TrimPrefix(name, "base-")+" "+fixed(sum[name], 1))
	}
	return strings.Join(out, ", ")
}

// printLeftOut lists what could not take part, or says how many there are.
func printLeftOut(w io.Writer, r *pb.MatchShadeResponse, all bool) {
	switch n := len(r.LeftOut); {
	case n == 0:
	case all || n <= 3:
		printRest(w, &pb.OptimiseResponse{LeftOut: r.LeftOut})
	default:
		fmt.Fprintf(w, "\n%d candidates could not take part; --all lists them and why.\n", n)
	}
}

// The plot's size in characters.
const plotRows, plotCell = 12, 2

// printCurves draws two curves, or one.
func printCurves(w io.Writer, a, b *pb.Curve, first, second string) {
	n := len(b.Values)
	top := 0.1
	for _, c := range []*pb.Curve{a, b} {
		for _, v := range c.GetValues() {
			top = math.Max(top, v)
		}
	}
	top = math.Ceil(10*top) / 10
	grid := make([][]rune, plotRows+1)
	for i := range grid {
		grid[i] = []rune(strings.Repeat(" ", n*plotCell))
	}
	put := func(c *pb.Curve, mark rune) {
		for i, v := range c.GetValues() {
			if i >= n {
				break
			}
			at := &grid[plotRows-int(math.Round(v/top*plotRows))][i*plotCell]
			if *at != ' ' && *at != mark {
				mark := '@'
				*at = mark
				continue
			}
			*at = mark
		}
	}
	put(a, 'o')
	put(b, 'x')
	fmt.Fprintf(w, "Reflectance: x %s", second)
	if a != nil {
		fmt.Fprintf(w, ", o %s, @ both", first)
	}
	fmt.Fprint(w, "\n\n")
	for i, line := range grid {
		scale := "    "
		if i%3 == 0 {
			scale = fixed(top*float64(plotRows-i)/plotRows, 2)
		}
		fmt.Fprintf(w, "  %s |%s\n", scale, strings.TrimRight(string(line), " "))
	}
	fmt.Fprintf(w, "       +%s\n", strings.Repeat("-", n*plotCell))
	last := fmt.Sprintf("%d nm", b.FirstNm+b.StepNm*int32(n-1))
	fmt.Fprintf(w, "        %-*s%s\n", n*plotCell-len(last), fmt.Sprint(b.FirstNm), last)
}
