package valuation

import (
	"fmt"
	"sort"
	"time"

	"millbase/costing/money"
	"millbase/inventory/mass"
)

// Break is a price per kg for the whole of an order of From or more.
type Break struct {
	From  mass.Mass
	Price money.PerKg
}

// Offer is what a supplier asks for a material.
type Offer struct {
	ID         string
	Breaks     []Break   // with rising From; below the first there is no price
	Pack       mass.Mass // orders are whole packs; 0: any mass
	Minimum    mass.Mass // smallest order; 0: none
	Available  mass.Mass // largest order; 0: no limit
	ValidFrom  time.Time // zero: always
	ValidUntil time.Time // first moment at which it no longer holds; zero: no end
}

// Check refuses an offer that cannot be ordered from (ErrOffer).
func (o Offer) Check(currency string) error {
	if len(o.Breaks) == 0 || o.Pack < 0 || o.Minimum < 0 || o.Available < 0 {
		return fmt.Errorf("%w: offer %q", ErrOffer, o.ID)
	}
	for i, b := range o.Breaks {
		if b.From < 0 || b.Price.Amount.Sign() < 0 || (i > 0 && b.From <= o.Breaks[i-1].From) {
			return fmt.Errorf("%w: offer %q, break from %s at %s", ErrOffer, o.ID, b.From, b.Price)
		}
		if b.Price.Currency != currency {
			return fmt.Errorf("%w: offer %q in %s, asked in %s", money.ErrMismatch, o.ID, b.Price.Currency, currency)
		}
	}
	return nil
}

// Holds reports whether the offer can be ordered from on that moment.
func (o Offer) Holds(on time.Time) bool {
	return !on.Before(o.ValidFrom) && (o.ValidUntil.IsZero() || on.Before(o.ValidUntil))
}

// OrderFor is the smallest order that brings at least need: at least the
// minimum and the first break, in whole packs.
func (o Offer) OrderFor(need mass.Mass) mass.Mass {
	order := max(need, o.Minimum)
	if len(o.Breaks) > 0 {
		order = max(order, o.Breaks[0].From)
	}
	if o.Pack > 0 {
		order = order.RoundTo(o.Pack, mass.RoundCeil)
	}
	return order
}

// PriceAt is the price per kg of an order of that mass; ok is false below the
// first break.
func (o Offer) PriceAt(order mass.Mass) (price money.PerKg, ok bool) {
	for _, b := range o.Breaks {
		if order < b.From {
			break
		}
		price, ok = b.Price, true
	}
	return price, ok
}

// Purchase is an order that would cover a need.
type Purchase struct {
	Offer   string
	Order   mass.Mass   // what is ordered
	Surplus mass.Mass   // what is left of it after the need
	Price   money.PerKg // per kg ordered
	Outlay  money.Money // for the whole order
}

// Choice names what makes an order the best.
type Choice uint8

// The choices.
const (
	LowestOutlay Choice = iota // least money for the order, surplus thought worthless
	LowestPerKg                // least price per kg ordered, surplus thought worth its price
)

// Purchases are all sensible orders on the offers that hold on that moment and
// cover need: for each offer the smallest order, and the smallest order at each
// higher break, since a larger order may cost less. The best one by the choice
// comes first; ties go to the other measure, then the smaller order, then the
// offer's id.
func Purchases(currency string, offers []Offer, need mass.Mass, on time.Time, by Choice) ([]Purchase, error) {
	if need <= 0 {
		return nil, fmt.Errorf("%w: got %s", ErrQuantity, need)
	}
	var all []Purchase
	for _, o := range offers {
		if err := o.Check(currency); err != nil {
			return nil, err
		}
		if !o.Holds(on) {
			continue
		}
		last := mass.Mass(-1)
		for _, b := range o.Breaks {
			order := o.OrderFor(max(need, b.From))
			if order == last || (o.Available > 0 && order > o.Available) {
				continue
			}
			last = order
			price, _ := o.PriceAt(order)
			all = append(all, Purchase{o.ID, order, order - need, price, price.Of(order)})
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return before(all[i], all[j], by) })
	return all, nil
}

// Best is the first of Purchases; ErrNoOffer when there is none.
func Best(currency string, offers []Offer, need mass.Mass, on time.Time, by Choice) (Purchase, error) {
	all, err := Purchases(currency, offers, need, on, by)
	if err != nil {
		return Purchase{}, err
	}
	if len(all) == 0 {
		return Purchase{}, fmt.Errorf("%w: %s wanted", ErrNoOffer, need)
	}
	return all[0], nil
}

func before(a, b Purchase, by Choice) bool {
	outlay, price := a.Outlay.Amount.Cmp(b.Outlay.Amount), a.Price.Amount.Cmp(b.Price.Amount)
	first, second := outlay, price
	if by == LowestPerKg {
		first, second = price, outlay
	}
	switch {
	case first != 0:
		return first < 0
	case second != 0:
		return second < 0
	case a.Order != b.Order:
		return a.Order < b.Order
	}
	return a.Offer < b.Offer
}
