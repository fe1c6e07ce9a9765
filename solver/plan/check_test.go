package plan_test

import (
	"math"
	"strings"
	"testing"

	"millbase/solver/plan"
)

// What is wrong with any part of a plan is said.
func TestCheckFindsFaults(t *testing.T) {
	p := sound()
	first := func(got *plan.Plan, b int) *plan.Run { return &got.Batches[b].Runs[0] }
	for _, c := range []struct {
		fault, says string
		plant       func(got *plan.Plan)
	}{
		{"a batch is left out", "batches are planned", func(got *plan.Plan) { got.Batches = got.Batches[:1] }},
		{"a batch under another's number", "stands for", func(got *plan.Plan) { got.Batches[0].Batch = 1 }},
		{"too little is made", "made and unmade", func(got *plan.Plan) { first(got, 1).Kg -= 1 }},
		{"less is unmade than nothing", "made and unmade", func(got *plan.Plan) { got.Batches[0].Unmade = -1 }},
		{"the parts do not make the whole", "the components make", func(got *plan.Plan) { first(got, 1).Components[0].Kg += 1 }},
		{"before its time", "allowed are", func(got *plan.Plan) { first(got, 0).Period = 1 }},
		{"outside the plan", "is made in period", func(got *plan.Plan) { first(got, 0).Period = 2 }},
		{"no period", "is made in period", func(got *plan.Plan) { first(got, 0).Period = -1 }},
		{"what may not go in", "may not go into it", func(got *plan.Plan) { first(got, 0).Components[0] = plan.Component{Supply: 1, Offer: -1, Kg: 10} }},
		{"no such supply", "has a component", func(got *plan.Plan) { first(got, 1).Components[0].Supply = 7 }},
		{"no such offer", "has a component", func(got *plan.Plan) { first(got, 1).Components[0] = plan.Component{Supply: -1, Offer: 1, Kg: 3} }},
		{"both a supply and an offer", "has a component", func(got *plan.Plan) { first(got, 1).Components[0].Offer, first(got, 1).Components[0].Supply = 0, 0 }},
		{"less than nothing goes in", "has a component", func(got *plan.Plan) { first(got, 1).Components[0].Kg = -1 }},
		{"more than any number", "has a component", func(got *plan.Plan) { first(got, 1).Components[0].Kg = math.Inf(1) }},
		{"more than is in store", "are there by then", func(got *plan.Plan) { first(got, 1).Components = []plan.Component{{Supply: 0, Offer: -1, Kg: 30}} }},
		{"more than was delivered", "than were delivered", func(got *plan.Plan) { got.Orders = nil }},
		{"no such offer is ordered", "an order of offer", func(got *plan.Plan) { got.Orders[0].Offer = 3 }},
		{"an order at no time", "can't be ordered", func(got *plan.Plan) { got.Orders[0].Period, got.Orders[0].Arrival = 5, 5 }},
		{"an order that arrives at once", "can't be used from", func(got *plan.Plan) { got.Orders[0].Arrival++ }},
		{"twice in a period", "ordered twice", func(got *plan.Plan) { got.Orders = append(got.Orders, got.Orders[0]) }},
		{"not whole packs", "whole packs", func(got *plan.Plan) { got.Orders[0].Kg += 1 }},
		{"below the minimum", "allowed are", func(got *plan.Plan) { got.Orders[0].Kg = 5 }},
		{"above the most", "allowed are", func(got *plan.Plan) { got.Orders[0].Kg = 105 }},
		{"not a number of kg", "allowed are", func(got *plan.Plan) { got.Orders[0].Kg = math.NaN() }},
		{"at another price", "per kg, not", func(got *plan.Plan) { got.Orders[0].PricePerKg *= 0.5 }},
		{"for a batch that does not use it", "is said to be for", func(got *plan.Plan) { got.Orders[0].For = []int{0} }},
		{"for no such batch", "is said to be for", func(got *plan.Plan) { got.Orders[0].For = []int{9} }},
		{"another stock", "in store at the end of period 0", func(got *plan.Plan) { got.Stock[0][0] += 1 }},
		{"no stock", "the stock of", func(got *plan.Plan) { got.Stock = nil }},
		{"a stock of too few periods", "the stock of", func(got *plan.Plan) { got.Stock[0] = got.Stock[0][:1] }},
		{"another cost", "the plan costs", func(got *plan.Plan) { got.Cost -= 1 }},
		{"money from one part to another", "are not", func(got *plan.Plan) { got.Parts.Lots, got.Parts.Storage = got.Parts.Lots+1, got.Parts.Storage-1 }},
		{"the bound above the cost", "the bound", func(got *plan.Plan) { got.Bound = got.Cost + 1 }},
		{"a gap that is none", "gap", func(got *plan.Plan) { got.Bound, got.Gap = got.Cost-5, 0 }},
		{"a bound that is no number", "gap", func(got *plan.Plan) { got.Bound = math.NaN() }},
		{"what a batch costs", "per kg", func(got *plan.Plan) { got.Batches[1].CostPerKg += 1 }},
	} {
		got := made(t, p)
		if got == nil || len(got.Orders) != 1 || len(got.Batches[0].Runs) == 0 || len(got.Batches[1].Runs) == 0 {
			t.Fatalf("another plan than thought: %+v", got)
		}
		c.plant(got)
		if said := strings.Join(plan.Check(p, got), "; "); !strings.Contains(said, c.says) {
			t.Errorf("%s: said is %q", c.fault, said)
		}
	}
}

// So is what the problem holds a plan to.
func TestCheckHoldsToTheProblem(t *testing.T) {
	for _, c := range []struct {
		fault, says string
		tighten     func(p *plan.Problem)
	}{
		{"a dearer week", "is spent in period", func(p *plan.Problem) { p.Periods[0].Budget, p.Periods[1].Budget = 1, 1 }},
		{"a smaller store", "in store at the end of period", func(p *plan.Problem) { p.Materials[0].StorageMost = 0.5 }},
		{"more at the end", "in store at the end, at least", func(p *plan.Problem) { p.Materials[0].ClosingLeast = 150 }},
		{"a smaller mill", "at most 1", func(p *plan.Problem) { p.Uses[0].Most[1] = 1 }},
		{"a shorter shelf life of a lot", "are there by then", func(p *plan.Problem) { p.Supplies[0].Until = -1 }},
		{"a limit that it misses", "hardness is", func(p *plan.Problem) { p.Batches[1].Limits[0].Lower = to(5) }},
		{"a price that was different", "per kg, not", func(p *plan.Problem) { p.Offers[0].Price = []float64{9, 9} }},
		{"a dearer store", "the plan costs", func(p *plan.Problem) { p.Materials[0].StorageCost = 4 }},
		{"a dearer charge", "the plan costs", func(p *plan.Problem) { p.Offers[0].PerOrder = 40 }},
		{"a supplier who does not deliver then", "can't be ordered", func(p *plan.Problem) { p.Offers[0].Price = []float64{math.NaN(), math.NaN()} }},
	} {
		got := made(t, sound())
		p := sound()
		c.tighten(p)
		if said := strings.Join(plan.Check(p, got), "; "); !strings.Contains(said, c.says) {
			t.Errorf("%s: said is %q", c.fault, said)
		}
	}
}
