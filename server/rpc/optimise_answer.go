package rpc

import (
	"math"
	"strings"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/valuation"
	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/formulation"
)

var outcomes = map[formulation.Outcome]millbasev1.OptimiseOutcome{
	formulation.Optimal:    millbasev1.OptimiseOutcome_OPTIMISE_OUTCOME_OPTIMAL,
	formulation.Feasible:   millbasev1.OptimiseOutcome_OPTIMISE_OUTCOME_NOT_PROVEN,
	formulation.Infeasible: millbasev1.OptimiseOutcome_OPTIMISE_OUTCOME_INFEASIBLE,
	formulation.Unbounded:  millbasev1.OptimiseOutcome_OPTIMISE_OUTCOME_UNBOUNDED,
}

var bindings = map[formulation.Side]millbasev1.LimitResult_Binding{
	formulation.NotBinding: millbasev1.LimitResult_BINDING_NONE,
	formulation.AtLower:    millbasev1.LimitResult_BINDING_LOWER,
	formulation.AtUpper:    millbasev1.LimitResult_BINDING_UPPER,
	formulation.AtBoth:     millbasev1.LimitResult_BINDING_BOTH,
}

func basisOut(b valuation.Basis) millbasev1.CostBasis {
	return enum[millbasev1.CostBasis](b.String())
}

func optimisedOut(o *app.Optimised) *millbasev1.OptimiseResponse {
	a := o.Answer
	out := &millbasev1.OptimiseResponse{
		Outcome:      outcomes[a.Outcome],
		CurrencyCode: o.Currency,
		Assumptions:  o.Assumptions,
		Date:         dateOut(o.Date),
		CostBasis:    basisOut(o.Basis),
		Proof:        proofOut(o),
	}
	if a.Outcome == formulation.Optimal || a.Outcome == formulation.Feasible {
		out.CostPerKg, out.TotalCost = moneyOut(money.Money(o.CostPerKg)), moneyOut(o.Total)
	}
	for i := range a.Components {
		out.Components = append(out.Components, componentOut(o, &a.Components[i]))
	}
	for i := range a.Limits {
		out.Limits = append(out.Limits, limitResultOut(o, &a.Limits[i]))
	}
	for _, u := range a.Unused {
		c := &o.Problem.Candidates[u.Candidate]
		out.Unused = append(out.Unused, &millbasev1.UnusedCandidate{Candidate: c.ID, Title: c.Name(),
			PricePerKg: amountOut(o.Currency, o.Prices[u.Candidate]), EntryPricePerKg: u.EntryPricePerKg})
	}
	for _, l := range o.LeftOut {
		out.LeftOut = append(out.LeftOut, &millbasev1.LeftOutCandidate{Candidate: l.Candidate, Title: l.Title, Reason: l.Why})
	}
	if a.Clash != nil {
		out.Clash = clashOut(o, a.Clash)
	}
	if a.UseUp != nil {
		usedUpOut(out, o)
	}
	weighedOut(out, o)
	aimsOut(out, o)
	safeOut(out, o)
	return out
}

func componentOut(o *app.Optimised, c *formulation.Component) *millbasev1.FormulaComponent {
	of, price := &o.Problem.Candidates[c.Candidate], o.Prices[c.Candidate]
	out := &millbasev1.FormulaComponent{
		Candidate:       of.ID,
		Title:           of.Name(),
		Material:        candidateMaterial(of),
		MaterialClass:   enum[millbasev1.MaterialClass](string(of.Class)),
		MassKg:          kg(c.Mass),
		Share:           c.Share,
		PricePerKg:      amountOut(o.Currency, price),
		Cost:            amountOut(o.Currency, price.Mul(money.Kilograms(c.Mass))),
		PriceLow:        optional(c.CostRange.Lower),
		PriceHigh:       optional(c.CostRange.Upper),
		AtLimit:         c.AtLimit,
		StockWorthPerKg: c.StockWorth,
		UsePremium:      premiumOut(o, c),
		FromOffer:       strings.HasPrefix(of.ID, suppliers+"/"),
	}
	return out
}

// candidateMaterial is the resource name of a material of the book, or the word that
// the request used.
func candidateMaterial(c *formulation.Candidate) string {
	if strings.HasPrefix(c.ID, lots+"/") || strings.HasPrefix(c.ID, suppliers+"/") {
		return nameOf(materials, c.Material)
	}
	return c.Material
}

func limitResultOut(o *app.Optimised, r *formulation.LimitReport) *millbasev1.LimitResult {
	l := &o.Problem.Limits[r.Limit]
	out := &millbasev1.LimitResult{
		LimitId:     l.ID,
		Title:       l.Title,
		Unit:        l.Unit(o.Problem.Catalogue),
		Lower:       l.Lower,
		Upper:       l.Upper,
		Value:       finiteOr0(r.Value),
		Slack:       finiteOr0(r.Slack),
		Binding:     bindings[r.Binding],
		ShadowPrice: finiteOr0(r.ShadowPrice),
	}
	if r.PriceHolds != nil {
		out.HoldsFrom, out.HoldsTo = optional(r.PriceHolds.Lower), optional(r.PriceHolds.Upper)
	}
	return out
}

// finiteOr0 keeps what JSON can't say out of the answer: a limit to which
// nothing in the formula relates has no value.
func finiteOr0(v float64) float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return 0
	}
	return v
}

func clashOut(o *app.Optimised, c *formulation.Clash) *millbasev1.Clash {
	out := &millbasev1.Clash{Proved: c.Proved, Summary: o.Summary}
	for _, i := range c.Limits {
		out.LimitIds = append(out.LimitIds, o.Problem.Limits[i].ID)
	}
	for _, j := range c.Stock {
		out.Stocks = append(out.Stocks, o.Problem.Candidates[j].ID)
	}
	for _, m := range c.Movements {
		out.Movements = append(out.Movements, clashMovementOut(o, m))
	}
	for _, m := range c.Single {
		out.Alternatives = append(out.Alternatives, clashMovementOut(o, m))
	}
	for _, w := range c.Ways {
		way := &millbasev1.Clash_Way{Weight: finiteOr0(w.Weight), CostPerKg: amountOut(o.Currency, decimal.NewFromFloat(finiteOr0(w.CostPerKg)).RoundBank(4)), Text: o.WayInWords(w)}
		for _, m := range w.Movements {
			way.Movements = append(way.Movements, clashMovementOut(o, m))
		}
		out.Ways = append(out.Ways, way)
	}
	if c.Proved {
		out.CostPerKg = amountOut(o.Currency, decimal.NewFromFloat(finiteOr0(c.MovedCostPerKg)).RoundBank(4))
	}
	return out
}

func clashMovementOut(o *app.Optimised, m formulation.Movement) *millbasev1.Clash_Movement {
	out := &millbasev1.Clash_Movement{From: finiteOr0(m.From), To: finiteOr0(m.To), Text: o.InWords(m)}
	if m.Limit >= 0 {
		l := &o.Problem.Limits[m.Limit]
		out.LimitId, out.Unit = l.ID, l.Unit(o.Problem.Catalogue)
	} else {
		out.Stock, out.Unit = o.Problem.Candidates[m.Candidate].ID, "kg"
	}
	return out
}

func proofOut(o *app.Optimised) *millbasev1.Proof {
	c := o.Answer.Proof
	out := &millbasev1.Proof{Certified: c.OK, PrimalViolation: finiteOr0(c.Primal), DualViolation: finiteOr0(c.Dual),
		Gap: finiteOr0(c.Gap), Candidates: int32(len(o.Problem.Candidates)), Limits: int32(len(o.Problem.Limits))}
	if o.Answer.Solution != nil {
		out.Engine = o.Answer.Solution.Engine
	}
	return out
}
