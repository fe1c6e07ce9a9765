package app

import (
	"fmt"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/purchase"
	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/mass"
)

// pricePlaces is how many decimal places of the currency a price per kg is kept
// to, so that what is shown times the mass is what is charged.
const pricePlaces = 6

// rung is one price of an offer, landed and in the plant's currency, for orders
// of From or more.
type rung struct {
	from  mass.Mass
	price decimal.Decimal
}

// rungFor is the highest rung that an order of that size reaches; the first one
// when it reaches none.
func rungFor(ladder []rung, order mass.Mass) int {
	k := 0
	for i, r := range ladder {
		if order >= r.from {
			k = i
		}
	}
	return k
}

// ladder is an offer's landed prices; why is set when there is none.
func (r *stockRoom) ladder(o purchase.Offer) (out []rung, why string) {
	if len(o.Breaks) == 0 {
		return nil, "the offer has no price"
	}
	rate, ok := r.plant.exchange(o.Currency)
	if !ok {
		return nil, fmt.Sprintf("the plant has no exchange rate from %s to %s", o.Currency, r.plant.Currency)
	}
	at, err := landedOffer(o, rate)
	if err != nil {
		return nil, err.Error()
	}
	for _, b := range at.Breaks {
		out = append(out, rung{b.From, b.Price.Round(pricePlaces, money.RoundHalfEven).Amount})
	}
	return out, ""
}

// prices values lots on a basis.
type prices struct {
	room  *stockRoom
	basis valuation.Basis
	// by material: average, replacement
	price map[string]decimal.Decimal
	why   map[string]string
}

func (r *stockRoom) pricesOn(c *choice) *prices {
	p := &prices{room: r, basis: c.basis, price: map[string]decimal.Decimal{}, why: map[string]string{}}
	switch c.basis {
	case valuation.Average:
		p.averages()
	case valuation.Replacement:
		p.replacements(c.quantity)
	}
	return p
}

// of is the price per kg of a lot; why is set when the basis has none for it.
func (p *prices) of(l StockLot) (price decimal.Decimal, why string) {
	switch p.basis {
	case valuation.Average, valuation.Replacement:
		if price, ok := p.price[l.Material]; ok {
			return price, ""
		}
		if why := p.why[l.Material]; why != "" {
			return price, why
		}
		if p.basis == valuation.Average {
			return price, "nothing of the material on hand has a landed cost to average"
		}
		return price, "no offer of the material holds today, so it has no replacement cost"
	case valuation.Standard:
		if s := p.room.materials[l.Material].StandardCostPerKg; s.Sign() > 0 {
			return s, ""
		}
		return price, "the material has no standard cost"
	}
	if !p.costed(l) {
		return price, "its landed cost is not known"
	}
	return l.Cost.CostPerKg, ""
}

// costed reports whether the lot's landed cost is known. Leftover ink may be
// worth nothing; for anything bought or made a cost of zero means that nobody
// entered one.
func (p *prices) costed(l StockLot) bool {
	return l.Cost.CostPerKg.Sign() > 0 || p.room.materials[l.Material].Class == inventory.WorkOff
}

// averages is the weighted average landed cost of what is on hand, by material.
func (p *prices) averages() {
	layers := map[string][]valuation.Layer{}
	for _, l := range p.room.lots {
		if p.costed(l) {
			layers[l.Material] = append(layers[l.Material], valuation.Layer{Lot: l.ID, Mass: p.room.onHand[l.ID],
				Cost: money.PerKg{Currency: p.room.plant.Currency, Amount: l.Cost.CostPerKg}, Received: l.ReceivedDate})
		}
	}
	for m, of := range layers {
		average, err := valuation.AveragePerKg(p.room.plant.Currency, of, pricePlaces, money.RoundHalfEven)
		if err != nil {
			p.why[m] = "its average cost can't be worked out: " + err.Error()
			continue
		}
		p.price[m] = average.Amount
	}
}

// replacements is the lowest landed price, by material, among the offers that
// hold today, at the break that an order of the whole quantity reaches.
func (p *prices) replacements(quantity mass.Mass) {
	for _, o := range p.room.offers {
		if p.room.today.Before(o.ValidFrom) || p.room.suppliers[o.Supplier].Archived {
			continue
		}
		ladder, why := p.room.ladder(o)
		if why != "" {
			if _, ok := p.price[o.Material]; !ok {
				p.why[o.Material] = why
			}
			continue
		}
		need := mostOf(quantity, p.room.materials[o.Material].Properties)
		price := ladder[rungFor(ladder, need)].price
		if best, ok := p.price[o.Material]; !ok || price.LessThan(best) {
			p.price[o.Material] = price
		}
	}
}

// exactCost is the sum of mass times price, and the same per kg of the quantity:
// the sum rounded half-even to the currency's minor unit, per kg to 1/10000.
func exactCost(currency string, masses []mass.Mass, price []decimal.Decimal, quantity mass.Mass) (total money.Money, perKg money.PerKg, err error) {
	exact := money.Zero(currency)
	for i, m := range masses {
		exact.Amount = exact.Amount.Add(price[i].Mul(money.Kilograms(m)))
	}
	if perKg, err = exact.PerKg(quantity, 4, money.RoundHalfEven); err != nil {
		return total, perKg, err
	}
	return exact.RoundMinor(money.RoundHalfEven), perKg, nil
}

// checkBasis turns the unset basis into the plant's usual one.
func checkBasis(basis valuation.Basis) (valuation.Basis, error) {
	switch basis {
	case 0:
		return valuation.Lot, nil
	case valuation.Lot, valuation.Average, valuation.Replacement, valuation.Standard:
		return basis, nil
	}
	return 0, InvalidField("cost_basis", "use lot, average, replacement or standard")
}

// onDate checks the day that something is to be made: empty is today, and what
// is past is refused.
func onDate(date, today time.Time, field string) (time.Time, error) {
	switch {
	case date.IsZero():
		return today, nil
	case date.Before(today):
		return date, InvalidField(field, "%s is past; today at the plant is %s", date.Format(time.DateOnly), today.Format(time.DateOnly))
	case date.After(today.AddDate(10, 0, 0)):
		return date, InvalidField(field, "%s is more than ten years ahead; check the year", date.Format(time.DateOnly))
	}
	return date, nil
}
