package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	pb "millbase/proto/millbase/v1"
)

const weighingHelp = `--weighable rounds to the divisions of the plant's scales, as part of the question:
the answer is the cheapest formula that can be weighed so, and its limits are
checked on the rounded masses. The other weighing flags imply it. Groups are names
joined by commas: a lot, an offer, a material (materials/... or its id) or a class
such as drier.`

// weigher is what the weighing flags say.
type weigher struct {
	weighable                  bool
	division, least, tolerance string
	components, lots           int32
	seconds, gap               float64
	whole, implied, apart      []string
	atLeastOf, atMostOf        []string
}

func (w *weigher) flags(f *pflag.FlagSet) {
	f.BoolVar(&w.weighable, "weighable", false, "whole divisions of the plant's scales")
	f.StringVar(&w.division, "division", "", "whole divisions of this scale instead: 0.1g, 10g, 1kg")
	f.StringVar(&w.least, "least", "", "less of a component than this is not worth weighing: 20g")
	f.StringVar(&w.tolerance, "tolerance", "", "how far the total may be off: 0.1kg (default half a division)")
	f.Int32Var(&w.components, "at-most", 0, "at most so many components")
	f.Int32Var(&w.lots, "lots-per-material", 0, "at most so many lots of one material")
	f.StringArrayVar(&w.whole, "whole", nil, "by the bag or drum only: 25kg:materials/...")
	f.StringArrayVar(&w.implied, "if", nil, "if the first is used, so is the second: blue:wetting-aid")
	f.StringArrayVar(&w.apart, "not-both", nil, "of these only one is used: l-1,l-2")
	f.StringArrayVar(&w.atLeastOf, "some-of", nil, "at least so many of a group: 1:drier-co,drier-mn")
	f.StringArrayVar(&w.atMostOf, "most-of", nil, "at most so many of a group: 2:varnish")
	f.Float64Var(&w.gap, "gap", 0, "stop when no weighable formula can be cheaper by more than so many per cent (default 0.01)")
	f.Float64Var(&w.seconds, "search", 0, "how many seconds to look for a proof (default 10)")
}

// into puts what was asked for, if anything, into a request.
func (w *weigher) into(r *pb.OptimiseRequest) (err error) {
	out := &pb.Weighing{MostComponents: w.components, MostLotsPerMaterial: w.lots, TimeLimitSeconds: w.seconds, GapPercent: w.gap}
	asked := w.weighable || w.components != 0 || w.lots != 0
	for _, m := range []struct {
		flag, text string
		to         func(float64)
	}{
		{"division", w.division, func(v float64) { out.Scales = []*pb.Scale{{Title: "scale in " + w.division, DivisionKg: v}} }},
		{"least", w.least, func(v float64) { out.LeastKg = v }},
		{"tolerance", w.tolerance, func(v float64) { out.ToleranceKg = v }},
	} {
		if m.text == "" {
			continue
		}
		v, err := parseMass(m.flag, m.text)
		if err != nil {
			return err
		}
		m.to(v)
		asked = true
	}
	for _, text := range w.whole {
		content, group, ok := strings.Cut(text, ":")
		v, err := parseMass("whole", content)
		if err != nil || !ok {
			return &exit{exitUsage, fmt.Sprintf("--whole %q: write the content and what it is, 25kg:materials/...", text)}
		}
		out.WholeContainers = append(out.WholeContainers, &pb.WholeContainer{ContentKg: v, Members: members(group)})
	}
	for _, text := range w.implied {
		used, needed, ok := strings.Cut(text, ":")
		if !ok {
			return &exit{exitUsage, fmt.Sprintf("--if %q: write what is used and what it needs, blue:wetting-aid", text)}
		}
		out.Implications = append(out.Implications, &pb.Implication{Used: members(used), Needed: members(needed)})
	}
	for _, text := range w.apart {
		rule := &pb.Exclusion{}
		for name := range strings.SplitSeq(text, ",") {
			rule.Groups = append(rule.Groups, members(name))
		}
		if len(rule.Groups) < 2 {
			return &exit{exitUsage, fmt.Sprintf("--not-both %q: name two or more, by a comma", text)}
		}
		out.Exclusions = append(out.Exclusions, rule)
	}
	if out.Choices, err = choices(w.atLeastOf, w.atMostOf); err != nil {
		return err
	}
	if asked || len(w.whole)+len(w.implied)+len(w.apart)+len(out.Choices) > 0 {
		r.Weighing = out
	} else if w.seconds != 0 && r.Weighing == nil {
		return &exit{exitUsage, "--search is for weighable formulas: give --weighable, or another rule of weighing"}
	}
	return nil
}

func choices(atLeast, atMost []string) (out []*pb.Choice, err error) {
	for k, list := range [][]string{atLeast, atMost} {
		for _, text := range list {
			count, group, ok := strings.Cut(text, ":")
			n, err := strconv.ParseInt(count, 10, 32)
			if err != nil || !ok || n < 1 {
				return nil, &exit{exitUsage, fmt.Sprintf("%q: write how many and of what, 1:drier-co,drier-mn", text)}
			}
			c := &pb.Choice{Members: members(group), AtLeast: int32(n)}
			if k == 1 {
				c.AtLeast, c.AtMost = 0, int32(n)
			}
			out = append(out, c)
		}
	}
	return out, nil
}

// members reads names joined by commas.
func members(text string) *pb.Members {
	out := &pb.Members{}
	for name := range strings.SplitSeq(text, ",") {
		name = strings.TrimSpace(name)
		if class, err := enum[pb.MaterialClass](pb.MaterialClass_value, "MATERIAL_CLASS_", name); err == nil {
			out.Classes = append(out.Classes, class)
		} else if strings.HasPrefix(name, "lots/") || strings.HasPrefix(name, "suppliers/") {
			out.Candidates = append(out.Candidates, name)
		} else {
			out.Materials = append(out.Materials, prefixed("materials", name))
		}
	}
	return out
}

// parseMass reads a mass with its unit, in kg.
func parseMass(flag, text string) (float64, error) {
	for _, unit := range []struct {
		suffix string
		per    float64 // in a kg
	}{{"mg", 1e6}, {"kg", 1}, {"g", 1e3}} {
		if number, ok := strings.CutSuffix(strings.TrimSpace(text), unit.suffix); ok {
			v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
			if err == nil && v >= 0 {
				return v / unit.per, nil
			}
			break
		}
	}
	return 0, &exit{exitUsage, fmt.Sprintf("--%s %q: write a mass with its unit, such as 10g or 0.5kg", flag, text)}
}

// printWeighed says how good a weighable formula is.
func printWeighed(w io.Writer, r *pb.OptimiseResponse) {
	of := r.Weighed
	if of == nil {
		return
	}
	proof := "proved that none that can be weighed so is cheaper" + within(of.GapPercent)
	if !of.Proven {
		proof = fmt.Sprintf("not proved the cheapest: at most %s per kg (%s %%) cheaper is possible", cash(of.GapPerKg, 4), significant(of.GapPercent, 2))
	}
	text := fmt.Sprintf("Weighable: %s. It costs %s per kg more than to the milligram", proof, cash(of.PricePerKg, 4))
	if of.OverKg != 0 {
		text += fmt.Sprintf("; the total is %s kg off the quantity", kg(of.OverKg))
	}
	fmt.Fprintf(w, "%s.\n\n", wrap(text, 100, ""))
}

// within says how near a proof came, unless it is complete.
func within(percent float64) string {
	if percent < 1e-6 {
		return ""
	}
	return " by more than " + significant(percent, 2) + " %"
}

// printInTheWay says why there is no weighable formula.
func printInTheWay(w io.Writer, r *pb.OptimiseResponse) {
	switch r.Outcome {
	case pb.OptimiseOutcome_OPTIMISE_OUTCOME_NOT_FOUND:
		fmt.Fprintln(w, "The limits can be met, but no weighable formula was found in the time given. Give it longer with --search, or loosen a rule.")
	default:
		fmt.Fprintln(w, wrap(r.GetClash().GetSummary(), 100, ""))
	}
	if way := r.GetWeighed().GetInTheWay(); len(way) > 0 {
		fmt.Fprintln(w)
		for _, s := range way {
			fmt.Fprintln(w, wrap("  - "+s, 100, "    "))
		}
	}
	printAssumptions(w, r.Assumptions)
}
