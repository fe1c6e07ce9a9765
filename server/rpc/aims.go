package rpc

import (
	"fmt"
	"math"
	"regexp"

	"github.com/shopspring/decimal"
	moneypb "google.golang.org/genproto/googleapis/type/money"

	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/formulation"
)

// aims reads the targets beside the cost.
func (f *fields) aims(field string, list []*millbasev1.Aim) []formulation.Goal {
	out := make([]formulation.Goal, len(list))
	for i, m := range list {
		at := fmt.Sprintf("%s[%d]", field, i)
		out[i] = formulation.Goal{Limit: f.limit(at+".target", m.GetTarget()), Below: f.number(at+".weight_below", m.GetWeightBelow()),
			Above: f.number(at+".weight_above", m.GetWeightAbove()), Rank: int(m.GetRank())}
	}
	return out
}

// safetyIn reads what a limit asks about deviations.
func safetyIn(l *formulation.Limit, m *millbasev1.Limit_Safety) {
	l.Confidence, l.Budget, l.Spread = m.GetConfidence(), m.GetBudget(), m.GetSpread()
}

func safetyOut(l *formulation.Limit) *millbasev1.Limit_Safety {
	if l.Confidence == 0 && l.Budget == 0 && l.Spread == 0 {
		return nil
	}
	return &millbasev1.Limit_Safety{Confidence: l.Confidence, Budget: l.Budget, Spread: l.Spread}
}

// aimsOut writes the aims at the answer, and the pay-off table.
func aimsOut(out *millbasev1.OptimiseResponse, o *app.Optimised) {
	for i := range o.Answer.Goals {
		g := &o.Answer.Goals[i]
		of := &o.Problem.Goals[g.Goal]
		out.Aims = append(out.Aims, &millbasev1.AimResult{LimitId: of.ID, Title: of.Title, Unit: of.Unit(o.Problem.Catalogue),
			Value: finiteOr0(g.Value), Below: finiteOr0(g.Below), Above: finiteOr0(g.Above), PricePerUnit: finiteOr0(g.Nearer),
			AtBest: math.IsInf(g.Nearer, 1), SavingPerUnit: finiteOr0(g.Further), Best: finiteOr0(g.Best), CostAtBest: costOut(o, g.CostAtBest)})
	}
	for i := range o.Answer.PayOff {
		p := &o.Answer.PayOff[i]
		row := &millbasev1.PayOff{CostPerKg: costOut(o, p.CostPerKg), Values: make([]float64, len(p.Values))}
		if p.Goal >= 0 {
			row.LimitId = o.Problem.Goals[p.Goal].ID
		}
		for k, v := range p.Values {
			row.Values[k] = finiteOr0(v)
		}
		out.PayOff = append(out.PayOff, row)
	}
}

// safeOut writes how sure the limits are that ask for it, and what that costs.
func safeOut(out *millbasev1.OptimiseResponse, o *app.Optimised) {
	s := o.Answer.Safety
	if s == nil {
		return
	}
	possible := o.Answer.Outcome != formulation.Infeasible
	if possible {
		out.SafetyPricePerKg = costOut(o, s.Price)
	} else {
		out.PossibleConfidence = finiteOr0(s.Confidence)
	}
	for i := range s.Limits {
		l := &s.Limits[i]
		of := &o.Problem.Limits[l.Limit]
		r := &millbasev1.SafetyResult{LimitId: of.ID, Asked: safetyOut(of), PricePerKg: costOut(o, l.Price), PricePerDeviation: finiteOr0(l.PricePerDeviation)}
		if l.Limit < len(o.Answer.Limits) {
			at := &o.Answer.Limits[l.Limit]
			r.Deviation, r.Confidence, r.Margin = finiteOr0(at.Deviation), finiteOr0(at.Confidence), finiteOr0(at.Margin)
		}
		if !possible && l.Highest > 0 {
			r.Highest = optional(l.Highest)
		}
		out.Safety = append(out.Safety, r)
	}
}

// costOut is a cost per kg that the solver worked out, to 1/10000.
func costOut(o *app.Optimised, perKg float64) *moneypb.Money {
	return amountOut(o.Currency, decimal.NewFromFloat(finiteOr0(perKg)).RoundBank(4))
}

var goalField = regexp.MustCompile(`^goals\[(\d+)\]\.(\w+)(.*)$`)

// aimFields writes the field paths of goals as the API has them.
func aimFields(err error) error {
	bad, ok := err.(app.Invalid)
	if !ok {
		return err
	}
	names := map[string]string{"below": "weight_below", "above": "weight_above", "rank": "rank", "confidence": "target.safety"}
	for i, b := range bad {
		switch m := goalField.FindStringSubmatch(b.Field); {
		case b.Field == "goal_tolerance":
			bad[i].Field = "aim_tolerance_percent"
		case b.Field == "cost_tolerance":
			bad[i].Field = "cost_tolerance_percent"
		case b.Field == "goals":
			bad[i].Field = "aims"
		case m != nil && names[m[2]] != "":
			bad[i].Field = fmt.Sprintf("aims[%s].%s", m[1], names[m[2]])
		case m != nil && insideLimit[m[2]] != "":
			bad[i].Field = fmt.Sprintf("aims[%s].target.%s%s", m[1], insideLimit[m[2]], m[3])
		case m != nil:
			bad[i].Field = fmt.Sprintf("aims[%s].target.%s%s", m[1], m[2], m[3])
		}
	}
	return bad
}
