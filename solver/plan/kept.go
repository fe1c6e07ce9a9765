package plan

import (
	"context"
	"fmt"
	"math"

	"millbase/solver"
	"millbase/solver/certify"
)

// Kept is a plan with its linear program and the basis of its optimum, from which
// it is planned again when stock or prices have changed. It is for one goroutine at
// a time.
type Kept struct {
	lp, mip solver.Engine
	b       *built
	free    *proven
}

// Keep plans, and keeps what it takes to plan again. Errors are those of Make.
func Keep(ctx context.Context, lp, mip solver.Engine, p *Problem) (*Kept, *Plan, error) {
	if err := p.Validate(); err != nil {
		return nil, nil, err
	}
	own := *p
	own.Supplies, own.Offers = append([]Supply(nil), p.Supplies...), append([]Offer(nil), p.Offers...)
	b, err := newBuilt(&own, false)
	if err != nil {
		return nil, nil, err
	}
	k := &Kept{lp: lp, mip: mip, b: b}
	out, err := k.plan(ctx)
	return k, out, err
}

// plan solves from the kept basis.
func (k *Kept) plan(ctx context.Context) (*Plan, error) {
	var start *solver.Basis
	if k.free != nil {
		// Where what has changed was not in short supply the old optimum still is one:
		// proving that takes less than finding it.
		if s := k.b.stillOptimal(k.free); s != nil {
			k.free = s
			return k.b.answer(ctx, k.lp, k.mip, s)
		}
		s, err := resolve(ctx, k.lp, &k.b.model, k.free)
		if err != nil {
			return nil, err
		}
		if s != nil {
			k.free = s
			return k.b.answer(ctx, k.lp, k.mip, s)
		}
		start = k.free.Basis
	}
	s, err := k.b.solve(ctx, k.lp, &k.b.model, start)
	if err != nil {
		return nil, err
	}
	k.free = s
	return k.b.answer(ctx, k.lp, k.mip, s)
}

// Change is what is different from what was planned before.
type Change struct {
	Kg     map[int]float64   // of supplies, by their index: 0 for a lot that was rejected
	Prices map[int][]float64 // of offers, one per period, where one could be ordered before
}

// Again plans with a change, which stays. A change that can't be made is
// FieldErrors, and nothing has changed.
func (k *Kept) Again(ctx context.Context, c Change) (*Plan, error) {
	if err := k.check(&c); err != nil {
		return nil, err
	}
	for i, kg := range c.Kg {
		k.b.setKg(i, kg)
	}
	for o, prices := range c.Prices {
		k.b.setPrices(o, prices)
	}
	return k.plan(ctx)
}

func (k *Kept) check(c *Change) error {
	v := &validator{p: k.b.p}
	for i, kg := range c.Kg {
		at := fmt.Sprintf("supplies[%d].kg", i)
		if v.index(at, i, len(k.b.p.Supplies)); len(v.errs) > 0 {
			return v.errs
		}
		v.amount(at, kg)
		if k.b.p.Supplies[i].Batch >= 0 {
			v.add(at, "what a batch brings hangs on the batch: plan anew")
		}
	}
	for o, prices := range c.Prices {
		at := fmt.Sprintf("offers[%d].price", o)
		if v.index(at, o, len(k.b.p.Offers)); len(v.errs) > 0 {
			return v.errs
		}
		of := k.b.p.Offers[o]
		if len(prices) != len(of.Price) {
			v.add(at, "give one price for each of the %d periods", len(of.Price))
			continue
		}
		of.Price = prices
		for t, price := range prices {
			if math.IsNaN(price) != math.IsNaN(k.b.p.Offers[o].Price[t]) {
				v.add(fmt.Sprintf("%s[%d]", at, t), "whether it can be ordered in a period can't change: plan anew")
			} else if !math.IsNaN(price) {
				v.amount(fmt.Sprintf("%s[%d]", at, t), price)
			}
		}
		if of.SalvagePerKg > of.cheapest() {
			v.add(at, "what is left of it would count for more than it costs: plan anew")
		}
	}
	if len(v.errs) > 0 {
		return v.errs
	}
	return nil
}

// setKg changes the amount of a supply in place.
func (b *built) setKg(i int, kg float64) {
	s := &b.p.Supplies[i]
	k := b.poolOf[i]
	of := &b.pools[k]
	more := kg - s.Kg
	s.Kg = kg
	of.kg += more
	from := max(0, of.like.From)
	switch {
	case from >= b.periods || of.like.Until < from:
	case b.there[k] >= 0:
		b.model.Rows[b.there[k]].Upper = math.Max(0, of.kg)
		b.fixed += more * b.keeping(k, from)
	default:
		r := &b.model.Rows[b.left[k][from]]
		r.Lower, r.Upper = -of.kg, -of.kg
	}
}

// setPrices changes the prices of an offer in place, in budgets too.
func (b *built) setPrices(o int, prices []float64) {
	of := &b.p.Offers[o]
	of.Price = prices
	for t, j := range b.buy[o] {
		if j < 0 {
			continue
		}
		b.model.Variables[j].Cost = of.lowest(t)
		rows, values := b.model.Column(j)
		for k, row := range rows {
			if int(row) == b.budget[t] {
				values[k] = of.lowest(t)
			}
		}
	}
}

// stillOptimal proves the answer of the model as it was to be one as it is; nil where
// it is not.
func (b *built) stillOptimal(was *proven) *proven {
	s := *was.Solution
	m := &b.model
	s.Objective, s.Iterations = m.Cost(s.X), 0
	s.Bound = s.Objective
	for i, basic := range s.Basis.Rows {
		// A row that rests on a bound that has moved would have to move as well.
		if basic != solver.Basic && math.Abs(s.Activity[i]-m.Rows[i].Lower) > 1e-9*(1+math.Abs(s.Activity[i])) && math.Abs(s.Activity[i]-m.Rows[i].Upper) > 1e-9*(1+math.Abs(s.Activity[i])) {
			return nil
		}
	}
	return prove(m, &s)
}

// prove certifies a solution of a model; nil where it is none.
func prove(m *solver.Model, s *solver.Solution) *proven {
	proof := certify.Check(m, s)
	if !proof.OK {
		return nil
	}
	return &proven{s, proof}
}
