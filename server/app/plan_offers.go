package app

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/purchase"
	"millbase/inventory/mass"
	"millbase/solver/plan"
)

// inPlantCurrency is an amount of the request in the plant's currency; nil is 0.
func (j *jointPlanning) inPlantCurrency(field string, m *money.Money) (float64, error) {
	if m == nil {
		return 0, nil
	}
	rate, ok := j.supply.plant.exchange(m.Currency)
	if !ok {
		return 0, InvalidField(field, "there is no exchange rate from %s to %s; give it in %s", m.Currency, j.supply.plant.Currency, j.supply.plant.Currency)
	}
	return m.Amount.Mul(rate.Value).InexactFloat64(), nil
}

// addOffers makes an offer of every one that can be ordered in some period.
func (j *jointPlanning) addOffers() error {
	if err := j.checkForecasts(); err != nil {
		return err
	}
	perOrder, err := j.inPlantCurrency("book.cost_per_order", j.req.Book.PerOrder)
	if err != nil {
		return err
	}
	for _, material := range sortedKeys(j.supply.offers) {
		at, is := j.at[material]
		m := j.supply.materials[material]
		for _, o := range j.supply.offers[material] {
			name := offerName(o)
			if !is || m.Archived || j.excludes(name, material) {
				continue
			}
			title := m.Title + ", " + j.room.supplierTitle(o.Supplier)
			if !o.ValidUntil.IsZero() && o.ValidUntil.Before(j.today) {
				continue // history
			}
			ladder, why := j.room.ladder(o)
			if why != "" {
				j.leave(name, title, "%s", why)
				continue
			}
			of := plan.Offer{ID: name, Title: title, Material: at, Properties: j.supply.typical(m), MinimumOrder: o.MinimumOrder.Kilograms(),
				Pack: o.PackSize.Kilograms(), MostPerPeriod: -1, PerOrder: perOrder, Lead: (o.LeadTimeDays + j.periodDays - 1) / j.periodDays}
			if m.ShelfLifeDays > 0 {
				of.ShelfLife = max(1, m.ShelfLifeDays/j.periodDays)
			}
			if of.Lead >= len(j.p.Periods) {
				j.leave(name, title, "ordered today it arrives on %s, after the last week", dayOf(j.today.AddDate(0, 0, o.LeadTimeDays)))
				continue
			}
			some, err := j.prices(&of, o, ladder)
			if err != nil {
				return err
			}
			if !some {
				j.leave(name, title, "no order can be placed while it holds")
				continue
			}
			j.p.Offers = append(j.p.Offers, of)
			j.offers = append(j.offers, planOffer{name: name, title: title, of: &o, ladder: ladder, days: o.LeadTimeDays})
		}
	}
	return nil
}

// prices fills in the landed price of each period, as it is expected and as it is
// tried out, and the breaks; some reports whether there is a period to order in.
func (j *jointPlanning) prices(of *plan.Offer, o purchase.Offer, ladder []rung) (some bool, err error) {
	base := ladder[0].price.InexactFloat64()
	low := math.Inf(1)
	for t := range j.p.Periods {
		day := j.firstDay(t)
		price := math.NaN()
		if (o.ValidFrom.IsZero() || !day.Before(o.ValidFrom)) && (o.ValidUntil.IsZero() || !day.After(o.ValidUntil)) {
			factor, expected, err := j.expected(o, day)
			if err != nil {
				return false, err
			}
			price = base * factor
			if expected != nil {
				price = expected.InexactFloat64()
			}
			price *= j.moved(o)
			low = min(low, price)
		}
		of.Price = append(of.Price, price)
	}
	if math.IsInf(low, 1) {
		return false, nil
	}
	least := 1.0
	for _, r := range ladder[1:] {
		f := 1.0
		if base > 0 {
			f = r.price.InexactFloat64() / base
		}
		of.Breaks = append(of.Breaks, plan.Break{From: r.from.Kilograms(), Factor: f})
		least = min(least, f)
	}
	of.SalvagePerKg = low * least * j.req.Book.Leftover
	return true, nil
}

// concerns reports whether a name is that of the offer, of its supplier or of its
// material.
func concerns(name string, o purchase.Offer) bool {
	return name == offerName(o) || name == "suppliers/"+o.Supplier || name == "materials/"+o.Material
}

// expected is the price that is expected on a day: a factor on today's, or a landed
// price of its own. The forecast that began last counts, the one that names the
// offer before one that names its supplier or material.
func (j *jointPlanning) expected(o purchase.Offer, day time.Time) (factor float64, price *decimal.Decimal, err error) {
	var best *PriceForecast
	for i := range j.req.Book.Forecasts {
		f := &j.req.Book.Forecasts[i]
		if !concerns(f.Of, o) || f.From.After(day) {
			continue
		}
		if best == nil || f.From.After(best.From) || f.From.Equal(best.From) && f.Of == offerName(o) {
			best = f
		}
	}
	if best == nil {
		best = j.inOutlook(o, day)
	}
	switch {
	case best == nil:
		return 1, nil, nil
	case best.Price == nil:
		return 1 + best.Percent.InexactFloat64()/100, nil, nil
	}
	as := o
	as.Currency, as.Breaks = best.Price.Currency, []purchase.Break{{PricePerKg: best.Price.Amount}}
	if as.Currency != o.Currency && o.FreightPerKg.Sign() > 0 {
		return 0, nil, InvalidField("book.forecasts", "%s asks freight in %s; give its price in %s too", offerName(o), o.Currency, o.Currency)
	}
	ladder, why := j.room.ladder(as)
	if why != "" {
		return 0, nil, InvalidField("book.forecasts", "%s: %s", best.Of, why)
	}
	return 0, &ladder[0].price, nil
}

// inOutlook is what the buyer keeps as the offer's outlook, which counts where the
// request says nothing; nil: the offer's own price holds.
func (j *jointPlanning) inOutlook(o purchase.Offer, day time.Time) *PriceForecast {
	kept := j.outlooks[offerName(o)]
	price, ok := kept.On(day)
	if !ok {
		return nil
	}
	return &PriceForecast{Of: offerName(o), Price: &money.PerKg{Currency: kept.Currency, Amount: price}}
}

// moved is the factor by which the changes that are tried out move a price.
func (j *jointPlanning) moved(o purchase.Offer) float64 {
	factor := 1.0
	for _, c := range j.req.Changes {
		if c.Of != "" && concerns(c.Of, o) {
			factor *= 1 + c.Percent.InexactFloat64()/100
		}
	}
	return factor
}

func (j *jointPlanning) checkForecasts() error {
	var bad Invalid
	for i, f := range j.req.Book.Forecasts {
		if !j.sold(f.Of) {
			bad = append(bad, FieldError{fmt.Sprintf("book.forecasts[%d].of", i), notSold(f.Of)})
		}
	}
	if len(bad) > 0 {
		return bad
	}
	return nil
}

// sold reports whether a name is an offer, or a supplier or material with one.
func (j *jointPlanning) sold(name string) bool {
	for _, offers := range j.supply.offers {
		if slices.ContainsFunc(offers, func(o purchase.Offer) bool { return concerns(name, o) }) {
			return true
		}
	}
	return false
}

func notSold(name string) string {
	return fmt.Sprintf("%.80q is no offer of the book, and no material or supplier with one; write it like materials/..., suppliers/... or suppliers/.../offers/...", name)
}

// atTheDoor fills in what only an offer of the book knows.
func (j *jointPlanning) atTheDoor(out *PlannedOrder, of planOffer, o plan.Order) {
	asked := j.p.Offers[o.Offer]
	out.Supplier = of.of.Supplier
	factor := 1.0
	if base := of.ladder[0].price.InexactFloat64(); base > 0 {
		factor = asked.Price[o.Period] / base
	}
	out.PricePerKg = askedFor(*of.of, out.Quantity)
	landed := of.ladder[rungFor(of.ladder, out.Quantity)].price
	if math.Abs(factor-1) > 1e-9 {
		by := decimal.NewFromFloat(factor)
		out.PricePerKg.Amount = out.PricePerKg.Amount.Mul(by).Round(pricePlaces)
		landed = landed.Mul(by)
	}
	out.Landed = landed.Mul(decimal.NewFromInt(int64(out.Quantity))).Shift(-6).Round(2)
	out.Arrives = j.firstDay(o.Arrival)
	out.OrderBy = out.Arrives.AddDate(0, 0, -of.days)
	if last := j.firstDay(o.Period).AddDate(0, 0, j.periodDays-1); out.OrderBy.After(last) {
		out.OrderBy = last // it is bought before it is needed, for its price
		out.Arrives = last.AddDate(0, 0, of.days)
	}
	if until := of.of.ValidUntil; !until.IsZero() && out.OrderBy.After(until) {
		out.OrderBy, out.Arrives = until, until.AddDate(0, 0, of.days)
	}
	if first := j.firstDay(o.Period); out.OrderBy.Before(first) {
		out.OrderBy = first
	}
	out.Today = out.OrderBy.Equal(j.today)
	out.Title = strings.TrimSpace(of.title)
}

// askedFor is the supplier's own price of an order, of the first break where the
// order reaches none.
func askedFor(o purchase.Offer, order mass.Mass) money.PerKg {
	if p := asked(o, order); p.Amount.Sign() != 0 || len(o.Breaks) == 0 {
		return p
	}
	return money.PerKg{Currency: o.Currency, Amount: o.Breaks[0].PricePerKg}
}
