package app

import (
	"fmt"
	"strings"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/inventory/mass"
	"millbase/solver/formulation"
)

// comparePlaces is how many decimal places a share is worked out to.
const comparePlaces = 9

// compare works out what is asked.
func (c *comparing) compare() (*Compared, error) {
	c.set.pool.candidates, c.set.currency = c.candidates, c.set.plant.Currency
	for j := range c.candidates {
		c.candidates[j].CostPerKg = c.prices[j].InexactFloat64()
	}
	c.set.req.Quantity = 100 * mass.Kilogram
	p := c.set.problem()
	out := &Compared{Titles: c.titles, Currency: c.set.currency, Problem: p, Assumptions: c.said}
	var made [2]decimal.Decimal // kg of ink
	for i := range c.kg {
		kg := make([]float64, len(c.candidates))
		for j, m := range c.kg[i] {
			kg[j] = m.Kilograms()
			made[i] = made[i].Add(money.Kilograms(m).Mul(decimal.NewFromFloat(c.candidates[j].Properties.Retained())))
		}
		if made[i].Sign() <= 0 {
			return nil, InvalidField(sides[i], "nothing of it stays in the ink")
		}
		reports, err := formulation.Evaluate(p, kg)
		if err != nil {
			return nil, c.set.translate(err)
		}
		out.Reports[i] = reports
	}
	for j := range c.candidates {
		x := ComparedComponent{Candidate: j, PricePerKg: c.prices[j]}
		for i := range c.kg {
			x.Shares[i] = money.Kilograms(c.kg[i][j]).DivRound(made[i], comparePlaces)
			out.CostPerKg[i] = out.CostPerKg[i].Add(x.Shares[i].Mul(c.prices[j]))
		}
		x.Difference = x.Shares[1].Sub(x.Shares[0]).Mul(c.prices[j]).RoundBank(pricePlaces)
		out.Components = append(out.Components, x)
	}
	out.Summary = out.inWords()
	return out, nil
}

// inWords says which is cheaper and which limits only one of them meets.
func (c *Compared) inWords() string {
	var b strings.Builder
	by := c.CostPerKg[1].Sub(c.CostPerKg[0]).RoundBank(4)
	switch {
	case by.Sign() < 0:
		fmt.Fprintf(&b, "%s is cheaper by %s %s per kg.", c.Titles[1], by.Neg(), c.Currency)
	case by.Sign() > 0:
		fmt.Fprintf(&b, "%s is cheaper by %s %s per kg.", c.Titles[0], by, c.Currency)
	default:
		b.WriteString("Both cost the same.")
	}
	var only [2][]string
	for k := range c.Problem.Limits {
		first, second := c.Reports[0][k].Met, c.Reports[1][k].Met
		name := c.Problem.Limits[k].Name()
		if !first {
			only[0] = append(only[0], name)
		}
		if !second {
			only[1] = append(only[1], name)
		}
	}
	for i, missed := range only {
		if len(missed) > 0 {
			fmt.Fprintf(&b, " %s misses %s.", c.Titles[i], listOf(few(missed), "and"))
		}
	}
	if len(c.Problem.Limits) > 0 && len(only[0])+len(only[1]) == 0 {
		b.WriteString(" Both meet every limit.")
	}
	return b.String()
}
