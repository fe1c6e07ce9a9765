package rpc

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/shopspring/decimal"

	"millbase/inventory"
	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/formulation"
)

func (f *fields) scales(field string, list []*pb.Scale) []app.Scale {
	var out []app.Scale
	for i, s := range list {
		at := fmt.Sprintf("%s[%d].", field, i)
		out = append(out, app.Scale{Title: s.GetTitle(), Division: f.positive(at+"division_kg", s.GetDivisionKg()), From: f.mass(at+"from_kg", s.GetFromKg())})
	}
	return out
}

func scaleOut(s app.Scale) *pb.Scale {
	return &pb.Scale{Title: s.Title, DivisionKg: kg(s.Division), FromKg: kg(s.From)}
}

// weighing reads how a formula is to be weighed; nil for to the milligram.
func (f *fields) weighing(field string, m *pb.Weighing) *app.Weighing {
	if m == nil {
		return nil
	}
	out := &app.Weighing{Scales: f.scales(field+".scales", m.GetScales())}
	out.Least = f.mass(field+".least_kg", m.GetLeastKg())
	out.AtMost, out.LotsPerMaterial = int(m.GetMostComponents()), int(m.GetMostLotsPerMaterial())
	out.Tolerance = f.mass(field+".tolerance_kg", m.GetToleranceKg())
	out.TimeLimit = time.Duration(f.number(field+".time_limit_seconds", m.GetTimeLimitSeconds()) * float64(time.Second))
	out.Gap = f.number(field+".gap_percent", m.GetGapPercent()) / 100
	for i, c := range m.GetWholeContainers() {
		out.Handling = append(out.Handling, formulation.Handling{Of: groupOf(c.GetMembers()),
			Container: f.positive(fmt.Sprintf("%s.whole_containers[%d].content_kg", field, i), c.GetContentKg())})
	}
	for _, r := range weighingRules(m) {
		out.Rules = append(out.Rules, r.Rule)
	}
	return out
}

func groupOf(m *pb.Members) formulation.Group {
	out := formulation.Group{Candidates: m.GetCandidates()}
	for _, name := range m.GetMaterials() {
		out.Materials = append(out.Materials, strings.TrimPrefix(name, materials+"/"))
	}
	for _, c := range m.GetClasses() {
		out.Classes = append(out.Classes, inventory.Class(word(c)))
	}
	return out
}

// placedRule is a rule and where it stands in the request; groups are the names of
// its groups there.
type placedRule struct {
	formulation.Rule
	field  string
	groups []string
}

// weighingRules lists the rules of a request in a fixed order.
func weighingRules(m *pb.Weighing) (out []placedRule) {
	for i, r := range m.GetImplications() {
		out = append(out, placedRule{formulation.Rule{Kind: formulation.IfThen, Groups: []formulation.Group{groupOf(r.GetUsed()), groupOf(r.GetNeeded())}},
			fmt.Sprintf("weighing.implications[%d]", i), []string{"used", "needed"}})
	}
	for i, r := range m.GetExclusions() {
		rule := placedRule{Rule: formulation.Rule{Kind: formulation.NeverBoth}, field: fmt.Sprintf("weighing.exclusions[%d]", i)}
		for g, members := range r.GetGroups() {
			rule.Groups = append(rule.Groups, groupOf(members))
			rule.groups = append(rule.groups, fmt.Sprintf("groups[%d]", g))
		}
		out = append(out, rule)
	}
	for i, r := range m.GetChoices() {
		at, groups := fmt.Sprintf("weighing.choices[%d]", i), []formulation.Group{groupOf(r.GetMembers())}
		if n := int(r.GetAtLeast()); n > 0 || r.GetAtMost() == 0 {
			out = append(out, placedRule{formulation.Rule{Kind: formulation.AtLeastOf, Groups: groups, Count: n}, at, []string{"members"}})
		}
		if n := int(r.GetAtMost()); n > 0 {
			out = append(out, placedRule{formulation.Rule{Kind: formulation.AtMostOf, Groups: groups, Count: n}, at, []string{"members"}})
		}
	}
	return out
}

var (
	handlingField = regexp.MustCompile(`^weighing\.handling\[(\d+)\]\.(.*)$`)
	ruleField     = regexp.MustCompile(`^weighing\.rules\[(\d+)\]\.(?:groups\[(\d+)\](.*)|.*)$`)
	balanceField  = regexp.MustCompile(`^weighing\.balances.*$`)
	renamed       = strings.NewReplacer("weighing.at_most", "weighing.most_components", "weighing.lots_per_material", "weighing.most_lots_per_material", "weighing.time_limit", "weighing.time_limit_seconds")
)

// weighingFields writes the field paths of rules of weighing as the API has them.
func weighingFields(err error, m *pb.Weighing) error {
	bad, ok := err.(app.Invalid)
	if !ok || m == nil {
		return err
	}
	rules := weighingRules(m)
	for i, b := range bad {
		switch {
		case handlingField.MatchString(b.Field):
			at := handlingField.FindStringSubmatch(b.Field)
			bad[i].Field = "weighing.whole_containers[" + at[1] + "]." + strings.NewReplacer("of", "members", "container_kg", "content_kg").Replace(at[2])
		case ruleField.MatchString(b.Field):
			at := ruleField.FindStringSubmatch(b.Field)
			n, _ := strconv.Atoi(at[1])
			bad[i].Field = rules[n].field
			if g, err := strconv.Atoi(at[2]); err == nil && g < len(rules[n].groups) {
				bad[i].Field += "." + rules[n].groups[g] + at[3]
			}
		case balanceField.MatchString(b.Field):
			bad[i].Field = "weighing.scales"
		case strings.HasPrefix(b.Field, "weighing."):
			bad[i].Field = renamed.Replace(b.Field)
		}
	}
	return bad
}

// weighedOut says how good a weighable formula is, or why there is none.
func weighedOut(out *pb.OptimiseResponse, o *app.Optimised) {
	if o.Problem.Weighing == nil {
		return
	}
	w := &pb.Weighed{InTheWay: o.InTheWay()}
	switch of := o.Answer.Weighed; {
	case of != nil:
		perKg := func(v float64) decimal.Decimal { return decimal.NewFromFloat(finiteOr0(v)).RoundBank(4) }
		w.Proven, w.GapPercent, w.OverKg = of.Proven, 100*finiteOr0(of.GapFraction), kg(of.Over)
		w.GapPerKg, w.PricePerKg = amountOut(o.Currency, perKg(of.GapPerKg)), amountOut(o.Currency, perKg(of.PricePerKg))
	case o.Answer.Clash != nil && o.Answer.Clash.Rules != nil:
		out.Outcome = pb.OptimiseOutcome_OPTIMISE_OUTCOME_NOT_WEIGHABLE
	case o.Answer.Outcome == formulation.Unfinished:
		out.Outcome = pb.OptimiseOutcome_OPTIMISE_OUTCOME_NOT_FOUND
	default:
		return // the limits themselves clash
	}
	out.Weighed = w
	for i := range out.Components {
		c := &o.Answer.Components[i]
		if c.Container {
			out.Components[i].Containers = int32(c.Mass / c.Division)
		} else if c.Balance >= 0 && c.Balance < len(o.Problem.Weighing.Balances) {
			out.Components[i].Scale = o.Problem.Weighing.Balances[c.Balance].Name
		}
	}
}
