package app

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	landedcost "millbase/costing/landed"
	"millbase/costing/money"
	"millbase/costing/purchase"
	"millbase/costing/valuation"
	"millbase/inventory/mass"
)

// OrderSuggestion is what to order, from whom, and by when.
type OrderSuggestion struct {
	Supplier   string
	Offer      string // id within the supplier
	Quantity   mass.Mass
	PricePerKg money.PerKg // as the supplier asks it
	Landed     money.Money // for the whole order, in the plant's currency
	OrderBy    time.Time
	Arrival    time.Time
	Late       bool // even ordered today it comes after needBy
	// On the board:
	ReceiptBy   time.Time // by when it is planned to be there, with the safety time
	PastDueDays int       // by which the order should have gone out before today
	Batches     []string  // that it serves; none: it restores the safety stock

	leadTimeDays int // of the offer
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

// exchange is the latest rate from the currency to the plant's; ok is false when
// the plant has none.
func (p Plant) exchange(currency string) (rate money.Rate, ok bool) {
	if currency == p.Currency {
		return money.Same(currency), true
	}
	for _, r := range p.Rates {
		if r.Currency == currency && r.Rate.Sign() > 0 && (!ok || r.Date.After(rate.Date)) {
			rate, ok = money.Rate{From: currency, To: p.Currency, Value: r.Rate, Date: r.Date}, true
		}
	}
	return rate, ok
}

// landedOffer is an offer with its prices as the goods cost at the plant's door, in
// the plant's currency: price, duty on the price, freight, at the plant's rate.
func landedOffer(o purchase.Offer, rate money.Rate) (valuation.Offer, error) {
	out := valuation.Offer{ID: o.Supplier + "/" + o.ID, Pack: o.PackSize, Minimum: o.MinimumOrder, ValidFrom: o.ValidFrom}
	if !o.ValidUntil.IsZero() {
		out.ValidUntil = o.ValidUntil.AddDate(0, 0, 1) // its last day counts
	}
	for _, b := range o.Breaks {
		cost, err := landedcost.Terms{Price: money.PerKg{Currency: o.Currency, Amount: b.PricePerKg}, Freight: o.FreightPerKg,
			DutyPercent: o.DutyPercent}.PerKg(rate)
		if err != nil {
			return out, fmt.Errorf("offer %s: %w", out.ID, err)
		}
		out.Breaks = append(out.Breaks, valuation.Break{From: b.From, Price: cost.Total})
	}
	return out, nil
}

// offered is an offer of the book with its landed prices.
type offered struct {
	purchase.Offer
	landed valuation.Offer
}

// offersOn are the offers of a material that hold on the date and whose currency
// the plant has a rate for.
func (s *supply) offersOn(material string, date time.Time) ([]offered, error) {
	var out []offered
	for _, o := range s.offers[material] {
		rate, ok := s.plant.exchange(o.Currency)
		if !ok {
			continue
		}
		l, err := landedOffer(o, rate)
		if err != nil {
			return nil, err
		}
		if l.Holds(date) {
			out = append(out, offered{o, l})
		}
	}
	return out, nil
}

// bestOrder covers a need: the order that costs least at the plant's door among
// the offers that arrive by needBy (zero: any time), else the fastest offer,
// marked late. ok is false when nobody offers the material today.
func (s *supply) bestOrder(material string, need mass.Mass, needBy time.Time) (best OrderSuggestion, ok bool, err error) {
	all, err := s.offersOn(material, s.today)
	if err != nil || len(all) == 0 {
		return best, false, err
	}
	arrival := func(o offered) time.Time { return s.today.AddDate(0, 0, o.LeadTimeDays) }
	inTime := slices.DeleteFunc(slices.Clone(all), func(o offered) bool { return !needBy.IsZero() && arrival(o).After(needBy) })
	late := len(inTime) == 0
	if late {
		fastest := slices.MinFunc(all, func(a, b offered) int { return cmp.Compare(a.LeadTimeDays, b.LeadTimeDays) }).LeadTimeDays
		inTime = slices.DeleteFunc(slices.Clone(all), func(o offered) bool { return o.LeadTimeDays > fastest })
	}
	var candidates []valuation.Offer
	for _, o := range inTime {
		candidates = append(candidates, o.landed)
	}
	buy, err := valuation.Best(s.plant.Currency, candidates, need, s.today, valuation.LowestOutlay)
	if err != nil {
		return best, false, fmt.Errorf("ordering %s of %s: %w", need, material, err)
	}
	from := inTime[slices.IndexFunc(inTime, func(o offered) bool { return o.landed.ID == buy.Offer })]
	best = OrderSuggestion{Supplier: from.Supplier, Offer: from.ID, Quantity: buy.Order, PricePerKg: asked(from.Offer, buy.Order),
		Landed: buy.Outlay, OrderBy: s.today, Arrival: arrival(from), Late: late, leadTimeDays: from.LeadTimeDays}
	if by := needBy.AddDate(0, 0, -from.LeadTimeDays); !needBy.IsZero() && by.After(s.today) {
		best.OrderBy, best.Arrival = by, needBy
	}
	return best, true, nil
}

// asked is the supplier's own price per kg for an order.
func asked(o purchase.Offer, order mass.Mass) money.PerKg {
	price := money.PerKg{Currency: o.Currency}
	for _, b := range o.Breaks {
		if order >= b.From {
			price.Amount = b.PricePerKg
		}
	}
	return price
}
