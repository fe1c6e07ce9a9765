package valuation

import (
	"errors"
	"fmt"
	"math/big"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/inventory/mass"
)

// ErrOrder is the answer to an order-quantity question without a positive
// demand, order cost or holding cost.
var ErrOrder = errors.New("valuation: an order quantity needs a demand, an order cost and a holding percentage above zero")

// Demand is what an economic order quantity is worked out for.
type Demand struct {
	PerYear        mass.Mass
	OrderCost      money.Money     // of placing and receiving one order
	HoldingPercent decimal.Decimal // of the price, per year: 20 for 20 %
}

// OrderCost is one order quantity and what it costs in a year.
type OrderCost struct {
	Order    mass.Mass
	Price    money.PerKg
	Purchase money.Money // demand x price
	Ordering money.Money // orders per year x order cost
	Holding  money.Money // half an order on hand, on average
	Total    money.Money
}

// yearPlaces is the number of places to which orders per year x order cost, the
// only quotient here, is rounded.
const yearPlaces = 8

// OrderQuantities are the candidates for the cheapest order quantity with price
// breaks on the whole order (the textbook model of economic order quantity with
// quantity discounts): for each price the quantity sqrt(2 D S / (h C)), raised
// to the break, the minimum and a whole pack, where it still has that price.
// best is the index of the cheapest. Quantities are whole packs, or whole
// milligrams when the offer has no pack.
func OrderQuantities(d Demand, o Offer) (all []OrderCost, best int, err error) {
	if d.PerYear <= 0 || d.OrderCost.Sign() <= 0 || d.HoldingPercent.Sign() <= 0 {
		return nil, 0, ErrOrder
	}
	if err := o.Check(d.OrderCost.Currency); err != nil {
		return nil, 0, err
	}
	for i, b := range o.Breaks {
		holding := b.Price.Amount.Mul(d.HoldingPercent.Shift(-2)) // per kg and year
		if holding.Sign() == 0 {
			return nil, 0, fmt.Errorf("%w: offer %q has a price of zero", ErrOrder, o.ID)
		}
		ideal := sqrtMass(d, holding)
		for _, q := range packsAround(o, ideal, b.From) {
			price, _ := o.PriceAt(q)
			beyond := i+1 < len(o.Breaks) && q >= o.Breaks[i+1].From
			if beyond || !price.Equal(b.Price) || (o.Available > 0 && q > o.Available) {
				continue
			}
			c := yearCost(d, price, holding, q)
			all = append(all, c)
			if c.Total.Amount.LessThan(all[best].Total.Amount) {
				best = len(all) - 1
			}
		}
	}
	if len(all) == 0 {
		return nil, 0, fmt.Errorf("%w: offer %q", ErrNoOffer, o.ID)
	}
	return all, best, nil
}

// packsAround are the order quantities to try for one price: the ideal one down
// and up to a whole pack, neither below what can be ordered at that price.
func packsAround(o Offer, ideal, from mass.Mass) []mass.Mass {
	up := o.OrderFor(max(ideal, from))
	if o.Pack == 0 || ideal <= from {
		return []mass.Mass{up}
	}
	down := o.OrderFor(max(ideal.RoundTo(o.Pack, mass.RoundFloor), from))
	if down == up {
		return []mass.Mass{up}
	}
	return []mass.Mass{down, up}
}

// sqrtMass is sqrt(2 D S / h) in whole milligrams, rounded down, at most
// mass.Max: the root of an integer of square milligrams, so that nothing
// depends on floating point.
func sqrtMass(d Demand, holdingPerKg decimal.Decimal) mass.Mass {
	square := money.DivDecimal(
		decimal.NewFromInt(int64(d.PerYear)).Shift(6).Mul(d.OrderCost.Amount).Mul(decimal.NewFromInt(2)),
		holdingPerKg, 0, money.RoundDown).BigInt()
	root := new(big.Int).Sqrt(square)
	if root.Cmp(big.NewInt(int64(mass.Max))) > 0 {
		return mass.Max
	}
	return max(mass.Mass(root.Int64()), mass.Milligram)
}

func yearCost(d Demand, price money.PerKg, holdingPerKg decimal.Decimal, q mass.Mass) OrderCost {
	cur := d.OrderCost.Currency
	c := OrderCost{Order: q, Price: price, Purchase: price.Of(d.PerYear)}
	c.Ordering = money.Money{Currency: cur, Amount: money.DivDecimal(
		d.OrderCost.Amount.Mul(money.Kilograms(d.PerYear)), money.Kilograms(q), yearPlaces, money.RoundHalfEven)}
	c.Holding = money.Money{Currency: cur, Amount: holdingPerKg.Mul(money.Kilograms(q)).Mul(decimal.New(5, -1))}
	c.Total = money.Money{Currency: cur, Amount: c.Purchase.Amount.Add(c.Ordering.Amount).Add(c.Holding.Amount)}
	return c
}
