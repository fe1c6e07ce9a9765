package plan

import "math"

// orders holds each order to what the supplier takes, and all of a period to its
// budget.
func (c *checker) orders() {
	spent := make([]float64, c.periods)
	seen := map[[2]int]bool{}
	for _, o := range c.plan.Orders {
		of := &c.p.Offers[o.Offer]
		if o.Period < 0 || o.Period >= c.periods || math.IsNaN(of.Price[o.Period]) {
			c.say("%s can't be ordered in period %d", of.ID, o.Period)
			continue
		}
		if seen[[2]int{o.Offer, o.Period}] {
			c.say("%s is ordered twice in period %d", of.ID, o.Period)
		}
		seen[[2]int{o.Offer, o.Period}] = true
		price := of.priceAt(o.Period, o.Kg)
		packs := math.Round(o.Kg / math.Max(of.Pack, 1e-9))
		switch {
		case over(of.MinimumOrder, o.Kg), of.MostPerPeriod >= 0 && over(o.Kg, of.MostPerPeriod):
			c.say("%s: an order of %g kg, allowed are %g to %g", of.ID, o.Kg, of.MinimumOrder, of.MostPerPeriod)
		case of.Pack > 0 && apart(packs*of.Pack, o.Kg):
			c.say("%s: %g kg are not whole packs of %g", of.ID, o.Kg, of.Pack)
		case apart(price, o.PricePerKg):
			c.say("%s: %g kg cost %g per kg, not %g", of.ID, o.Kg, price, o.PricePerKg)
		}
		cost := price * o.Kg
		c.parts.Orders += cost
		c.parts.Charges += of.PerOrder
		spent[o.Period] += cost + of.PerOrder
	}
	for t, sum := range spent {
		if most := c.p.Periods[t].Budget; most >= 0 && over(sum, most) {
			c.say("%g is spent in period %d, of %g", sum, t, most)
		}
	}
}

// priceAt is the price per kg of an order of a quantity, money.
func (o *Offer) priceAt(period int, kg float64) float64 {
	factor := 1.0
	for _, b := range o.Breaks {
		if kg >= b.From*(1-1e-9) {
			factor = b.Factor
		}
	}
	return o.Price[period] * factor
}
