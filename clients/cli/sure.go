package main

import (
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
)

// wishes are what is asked for beside the limits: safety and aims.
type wishes struct {
	sure, aims []string
}

func (w *wishes) flags(f *pflag.FlagSet, r *pb.OptimiseRequest) {
	f.StringArrayVar(&w.sure, "sure", nil, "a limit holds although lots deviate: 'voc=99%', or 'voc=2 off' whatever two components do; 'all=95%'")
	f.StringArrayVar(&w.aims, "aim", nil, "a target beside cost, by property or limit: 'tack_units=11..12', 'gloss_units>=55,weight=0.02', 'tack=10,rank=1'; without either in the order given")
	f.Float64Var(&r.AimTolerancePercent, "aim-tolerance", 0, "how far an aim may give for later ones and for the cost, per cent of its target")
}

// into puts the wishes into a request; limits are those of its specification and
// its own.
func (w *wishes) into(a *app, cmd *cobra.Command, r *pb.OptimiseRequest) error {
	if len(w.sure)+len(w.aims) == 0 {
		return nil
	}
	known, err := a.limitsOf(cmd, r)
	if err != nil {
		return err
	}
	for _, text := range w.sure {
		if err := makeSure(r, known, text); err != nil {
			return err
		}
	}
	for i, text := range w.aims {
		aim, err := parseAim(text, known, i)
		if err != nil {
			return err
		}
		r.Aims = append(r.Aims, aim)
	}
	return nil
}

// limitsOf are the limits that a request has: its own over those of the
// specification.
func (a *app) limitsOf(cmd *cobra.Command, r *pb.OptimiseRequest) ([]*pb.Limit, error) {
	out := append([]*pb.Limit(nil), r.Limits...)
	if r.Specification == "" {
		return out, nil
	}
	conn, err := a.client()
	if err != nil {
		return nil, err
	}
	spec, err := pb.NewSpecificationServiceClient(conn).GetSpecification(cmd.Context(), &pb.GetSpecificationRequest{Name: r.Specification})
	if err != nil {
		return nil, a.failed(err)
	}
	for _, l := range spec.Limits {
		if limitBy(out, l.LimitId) == nil {
			out = append(out, l)
		}
	}
	return out, nil
}

func limitBy(list []*pb.Limit, id string) *pb.Limit {
	for _, l := range list {
		if l.LimitId == id {
			return l
		}
	}
	return nil
}

var surePattern = regexp.MustCompile(`^([a-z0-9-]+)\s*=\s*([0-9.]+)\s*(%|off)?$`)

// makeSure asks a limit, or all that can be, to hold although values deviate.
func makeSure(r *pb.OptimiseRequest, known []*pb.Limit, text string) error {
	m := surePattern.FindStringSubmatch(text)
	if m == nil {
		return &exit{exitUsage, fmt.Sprintf("--sure %q: write 'voc=99%%', or 'voc=2 off' for any two components", text)}
	}
	v, err := strconv.ParseFloat(m[2], 64)
	if err != nil {
		return &exit{exitUsage, fmt.Sprintf("--sure %q: %q is not a number", text, m[2])}
	}
	safety := &pb.Limit_Safety{}
	switch m[3] {
	case "%":
		safety.Confidence = v / 100
	case "off":
		safety.Budget = v
	default:
		safety.Confidence = v
	}
	found := false
	for _, l := range known {
		if m[1] != l.LimitId && (m[1] != "all" || l.Lower != nil && l.Upper != nil && *l.Lower == *l.Upper) {
			continue
		}
		found = true
		own := limitBy(r.Limits, l.LimitId)
		if own == nil {
			own = proto.Clone(l).(*pb.Limit)
			r.Limits = append(r.Limits, own)
		}
		own.Safety = safety
	}
	if !found {
		return &exit{exitUsage, fmt.Sprintf("--sure %q: there is no limit %q; there is %s", text, m[1], limitIDs(known))}
	}
	return nil
}

func limitIDs(list []*pb.Limit) string {
	ids := make([]string, len(list))
	for i, l := range list {
		ids[i] = l.LimitId
	}
	return strings.Join(ids, ", ")
}

var aimPattern = regexp.MustCompile(`^([a-z0-9_/:.A-Z-]+)\s*((?:<=|>=|=)[^,]+)((?:,[a-z]+=[0-9.]+)*)$`)

// parseAim reads one --aim; the n-th without weight or rank is of rank n+1.
func parseAim(text string, known []*pb.Limit, n int) (*pb.Aim, error) {
	wrong := &exit{exitUsage, fmt.Sprintf("--aim %q: write 'tack_units=11..12', 'gloss_units>=55,weight=0.02' or 'tack=10,rank=1'", text)}
	m := aimPattern.FindStringSubmatch(strings.ReplaceAll(text, " ", ""))
	if m == nil {
		return nil, wrong
	}
	c, err := parseChange("aim" + m[2])
	if err != nil {
		return nil, wrong
	}
	limit := &pb.Limit{Subject: &pb.Limit_Blended_{Blended: &pb.Limit_Blended{Property: m[1]}}}
	if l := limitBy(known, m[1]); l != nil {
		limit = proto.Clone(l).(*pb.Limit)
		limit.Safety = nil
	}
	limit.LimitId = strings.ToLower(strings.Trim(regexp.MustCompile(`[^A-Za-z0-9]+`).ReplaceAllString(m[1], "-"), "-"))
	limit.Lower, limit.Upper = c.lower, c.upper
	aim := &pb.Aim{Target: limit, Rank: int32(n + 1)}
	for _, option := range strings.Split(strings.TrimPrefix(m[3], ","), ",") {
		name, value, _ := strings.Cut(option, "=")
		v, err := strconv.ParseFloat(value, 64)
		switch {
		case option == "":
		case err != nil:
			return nil, wrong
		case name == "weight":
			aim.Rank = 0
			aim.WeightBelow, aim.WeightAbove = v, v
		case name == "rank":
			aim.Rank = int32(v)
		default:
			return nil, wrong
		}
	}
	return aim, nil
}

// printSafety prints how sure the limits are and what that costs.
func printSafety(w io.Writer, r *pb.OptimiseResponse) {
	if len(r.Safety) == 0 || r.Outcome == pb.OptimiseOutcome_OPTIMISE_OUTCOME_INFEASIBLE {
		return
	}
	fmt.Fprintf(w, "\nSafety costs %s per kg\n\n", cash(r.SafetyPricePerKg, 4))
	t := newTable("limit", "asked", ">value", ">deviation", ">kept inside by", ">holds in", ">costs per kg", ">one deviation more")
	values := map[string]*pb.LimitResult{}
	for _, l := range r.Limits {
		values[l.LimitId] = l
	}
	certain := 0
	for _, s := range r.Safety {
		l := values[s.LimitId]
		if l == nil {
			continue
		}
		if s.Deviation == 0 {
			certain++
			continue
		}
		t.add(l.Title, sure(s.Asked), significant(l.Value, 5), significant(s.Deviation, 3), significant(s.Margin, 3), holds(s),
			cashNumber(s.PricePerKg, 4), signed(s.PricePerDeviation))
	}
	t.print(w)
	if certain > 0 {
		fmt.Fprintf(w, "\n%d more depend on nothing whose deviation is known.\n", certain)
	}
}

func sure(s *pb.Limit_Safety) string {
	if s.GetBudget() > 0 {
		return "any " + significant(s.Budget, 3) + " off"
	}
	return percent(s.GetConfidence())
}

// percent prints a probability; what is nearer to certain than three decimals show
// is not called certain.
func percent(p float64) string {
	if p > 0.99999 {
		return "> 99.999 %"
	}
	s := strconv.FormatFloat(100*p, 'f', 3, 64)
	return strings.TrimRight(strings.TrimRight(s, "0"), ".") + " %"
}

// holds is the confidence reached; under a budget it is the least there can be.
func holds(s *pb.SafetyResult) string {
	if s.Asked.GetBudget() > 0 && s.Confidence <= 0.99999 {
		return ">= " + percent(s.Confidence)
	}
	return percent(s.Confidence)
}

// printPossible says how much safety there could be when there is no formula.
func printPossible(w io.Writer, r *pb.OptimiseResponse) {
	if len(r.Safety) == 0 {
		return
	}
	if r.PossibleConfidence > 0 {
		fmt.Fprintf(w, "\nAt most %s is possible for all of them together.\n", percent(r.PossibleConfidence))
	}
	for _, s := range r.Safety {
		switch {
		case s.Highest == nil:
		case s.Asked.GetBudget() > 0:
			fmt.Fprintf(w, "  - or %s with any %s off, all others as asked\n", s.LimitId, significant(*s.Highest, 3))
		default:
			fmt.Fprintf(w, "  - or %s with %s, all others as asked\n", s.LimitId, percent(*s.Highest))
		}
	}
}

// printAims prints how near the aims came, what one unit costs, and the pay-off
// table.
func printAims(w io.Writer, r *pb.OptimiseResponse) {
	if len(r.Aims) == 0 {
		return
	}
	fmt.Fprint(w, "\nAims\n\n")
	t := newTable("aim", ">value", "unit", ">off by", ">one unit nearer costs", ">one unit further saves", ">best", ">cost at best")
	names := make([]string, len(r.Aims))
	for i, x := range r.Aims {
		names[i] = x.LimitId
		nearer := signed(x.PricePerUnit)
		switch {
		case x.AtBest:
			nearer = "can't"
		case x.Below+x.Above == 0:
			nearer = "reached"
		}
		t.add(x.LimitId, significant(x.Value, 5), x.Unit, off(x), nearer, signed(x.SavingPerUnit), "off by "+significant(x.Best, 3), cash(x.CostAtBest, 4))
	}
	t.print(w)
	if len(r.PayOff) < 2 {
		return
	}
	fmt.Fprint(w, "\nWhat the best of each does to the others\n\n")
	head := []string{"first", ">cost per kg"}
	for _, n := range names {
		head = append(head, ">"+n)
	}
	t = newTable(head...)
	for _, p := range r.PayOff {
		row := []string{p.LimitId, cashNumber(p.CostPerKg, 4)}
		if row[0] == "" {
			row[0] = "cost"
		}
		for _, v := range p.Values {
			row = append(row, significant(v, 5))
		}
		t.add(row...)
	}
	t.print(w)
}

func off(x *pb.AimResult) string {
	switch {
	case x.Below > 0:
		return significant(x.Below, 4) + " below"
	case x.Above > 0:
		return significant(x.Above, 4) + " above"
	}
	return "0"
}
