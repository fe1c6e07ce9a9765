package plan

import (
	"math"
	"slices"
)

// shape says what of a plan is about no part of the problem: the rest can't be
// worked out then.
func (c *checker) shape() {
	p := c.p
	for b := range c.plan.Batches {
		got := &c.plan.Batches[b]
		if got.Batch != b {
			c.say("batch %s: what is planned stands for number %d", p.Batches[b].ID, got.Batch)
		}
		for _, r := range got.Runs {
			if r.Period < 0 || r.Period >= c.periods {
				c.say("batch %s is made in period %d", p.Batches[b].ID, r.Period)
			}
			for _, x := range r.Components {
				one := x.Offer == -1 && x.Supply >= 0 && x.Supply < len(p.Supplies) || x.Supply == -1 && x.Offer >= 0 && x.Offer < len(p.Offers)
				if !one || !(x.Kg >= 0 && x.Kg <= largest) {
					c.say("batch %s has a component %+v", p.Batches[b].ID, x)
				}
			}
		}
	}
	for _, o := range c.plan.Orders {
		if o.Offer < 0 || o.Offer >= len(p.Offers) {
			c.say("an order of offer %d: there are %d", o.Offer, len(p.Offers))
		}
	}
	if !c.adding && (len(c.plan.Stock) != len(p.Materials) || slices.ContainsFunc(c.plan.Stock, func(of []float64) bool { return len(of) != c.periods })) {
		c.say("the stock of %d materials is told, of %d, or not of all periods", len(c.plan.Stock), len(p.Materials))
	}
}

// told holds what a plan says of itself to what it is: whom orders are for, what
// batches cost, the gap.
func (c *checker) told() {
	for _, o := range c.plan.Orders {
		for _, b := range o.For {
			if b < 0 || b >= len(c.plan.Batches) || !slices.ContainsFunc(c.plan.Batches[b].Runs, func(r Run) bool {
				return r.Period >= o.Arrival && slices.ContainsFunc(r.Components, func(x Component) bool { return x.Offer == o.Offer })
			}) {
				c.say("an order of %s is said to be for batch %d, which uses none of it", c.p.Offers[o.Offer].ID, b)
			}
		}
	}
	for b, cost := range c.p.batchCosts(c.plan) {
		if got := c.plan.Batches[b].CostPerKg; !(math.Abs(got-cost) <= 1e-6*math.Max(1, math.Abs(cost))) {
			c.say("batch %s costs %g per kg, not %g", c.p.Batches[b].ID, cost, got)
		}
	}
	if short := c.plan.Cost - c.plan.Bound; !(math.Abs(short-c.plan.Gap*math.Max(math.Abs(c.plan.Cost), 1e-9)) <= 1e-6*c.parts.size()) {
		c.say("the gap is told to be %g, the cost %g and the bound %g", c.plan.Gap, c.plan.Cost, c.plan.Bound)
	}
}

// each is the parts by themselves.
func (a *Parts) each() []float64 {
	return []float64{a.Lots, a.Orders, a.Charges, a.Storage, a.Scrap, a.Late, a.Unmade, a.Safety, a.Worth, a.Salvage}
}
