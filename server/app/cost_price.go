package app

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"millbase/costing/money"
	"millbase/costing/rollup"
	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/mass"
)

// costing is one question of what something costs: the state of the book, the
// basis, and what had to be assumed on the way.
type costing struct {
	s        *supply
	basis    valuation.Basis
	date     time.Time
	taken    map[string]mass.Mass // by lot: what this question has used of it
	notes    []string
	lacks    []string              // of notes, those of figures that the basis lacks
	steps    map[string][]costStep // by formula: what the steps of its route stand for
	tried    map[string]PriceTrial // by material: prices that are tried out; nil for none
	sequence Sequence
	restsOn  map[string]time.Time  // offers that a price was taken from, with the last day that they hold
	once     []rollup.OverheadLine // what the question costs whatever the quantity
}

func (s *supply) costing(basis valuation.Basis, date time.Time) *costing {
	return &costing{s: s, basis: basis, date: date, taken: map[string]mass.Mass{}, steps: map[string][]costStep{}, restsOn: map[string]time.Time{}}
}

// note keeps a sentence once.
func (c *costing) note(format string, args ...any) {
	if n := fmt.Sprintf(format, args...); !slices.Contains(c.notes, n) {
		c.notes = append(c.notes, n)
	}
}

// lack keeps a sentence that says that the basis has no figure.
func (c *costing) lack(format string, args ...any) {
	if n := fmt.Sprintf(format, args...); !slices.Contains(c.lacks, n) {
		c.lacks = append(c.lacks, n)
	}
	c.note(format, args...)
}

// errNoCost says that a basis has no figure for a material; why goes into the
// assumptions.
type errNoCost struct{ why string }

func (e errNoCost) Error() string { return e.why }

// price is what a mass of a bought material costs on the basis. key is the
// material, or "material/lot" where the formula names the lot. Where the basis
// has no figure the next best is taken and noted; where none has, the error says
// what to enter.
func (c *costing) price(key string, need mass.Mass) (money.Money, error) {
	material, lot, _ := strings.Cut(key, "/")
	t, tried := c.tried[material]
	if tried && t.Price != nil {
		return t.of(money.Money{}, need), nil
	}
	cost, err := c.valued(material, lot, need)
	if tried && err == nil {
		cost = t.of(cost, need)
	}
	return cost, err
}

// valued is price as the book has it.
func (c *costing) valued(material, lot string, need mass.Mass) (money.Money, error) {
	if c.basis == valuation.Lot {
		if lot != "" {
			return c.ofNamedLot(material, lot, need)
		}
		return c.ofLots(material, need)
	}
	return c.onBases(material, need, append([]valuation.Basis{c.basis}, c.others()...))
}

// others are the bases that stand in, the best first.
func (c *costing) others() []valuation.Basis {
	all := []valuation.Basis{valuation.Replacement, valuation.Standard, valuation.Average}
	if c.basis == valuation.Standard {
		all = []valuation.Basis{valuation.Average, valuation.Replacement}
	}
	return slices.DeleteFunc(all, func(b valuation.Basis) bool { return b == c.basis })
}

// onBases values a mass on the first of the bases that has a figure.
func (c *costing) onBases(material string, need mass.Mass, bases []valuation.Basis) (money.Money, error) {
	why := ""
	for _, b := range bases {
		cost, err := c.onBasis(b, material, need)
		var none errNoCost
		switch {
		case err == nil && why != "":
			c.lack("%s: %s, so %s cost is taken.", c.s.title(material), why, b)
			return cost, nil
		case err == nil:
			return cost, nil
		case errors.As(err, &none):
			if why == "" {
				why = none.why
			}
		default:
			return cost, err
		}
	}
	return money.Money{}, Faultf(ErrNotReady, "NO_COST", "materials/"+material,
		"materials/%s has no cost: give it a standard cost, enter an offer that holds, or enter the landed cost of a lot.", material)
}

func (c *costing) onBasis(b valuation.Basis, material string, need mass.Mass) (money.Money, error) {
	currency := c.s.plant.Currency
	switch b {
	case valuation.Average:
		layers := c.s.layers(material)
		if len(layers) == 0 {
			return money.Money{}, errNoCost{"nothing with a landed cost is on hand"}
		}
		perKg, err := valuation.AveragePerKg(currency, layers, costPlaces, money.RoundHalfEven)
		return perKg.Of(need), err
	case valuation.Replacement:
		return c.replacement(material, need)
	}
	standard := c.s.materials[material].StandardCostPerKg
	if standard.Sign() <= 0 {
		return money.Money{}, errNoCost{"it has no standard cost"}
	}
	return money.PerKg{Currency: currency, Amount: standard}.Of(need), nil
}

func (c *costing) replacement(material string, need mass.Mass) (money.Money, error) {
	all, err := c.s.offersOn(material, c.date)
	if err != nil {
		return money.Money{}, err
	}
	sources := valuation.Sources{Currency: c.s.plant.Currency, On: c.date}
	for _, o := range all {
		sources.Offers = append(sources.Offers, o.landed)
	}
	cost, err := valuation.Value(valuation.Replacement, need, sources)
	if errors.Is(err, valuation.ErrNoOffer) {
		return money.Money{}, errNoCost{"no offer holds on " + c.date.Format(time.DateOnly)}
	}
	for _, o := range all {
		if !o.ValidUntil.IsZero() && slices.ContainsFunc(cost.Parts, func(p valuation.Part) bool { return p.Source == o.landed.ID }) {
			c.restsOn[offerName(o.Offer)] = o.ValidUntil
		}
	}
	return cost.Total, err
}

// costed reports whether the landed cost of a lot is known. Leftover ink may be
// worth nothing; for anything else a cost of zero means that none was entered.
func (s *supply) costed(l StockLot) bool {
	return l.Cost.CostPerKg.Sign() > 0 || s.materials[l.Material].Class == inventory.WorkOff
}

// layers is what is on hand of a material at a known cost.
func (s *supply) layers(material string) []valuation.Layer {
	var out []valuation.Layer
	for _, i := range s.stock[material] {
		if i.OnHand > 0 && s.costed(i.StockLot) {
			out = append(out, valuation.Layer{Lot: i.ID, Mass: i.OnHand, Cost: s.lotCost(i.StockLot), Received: i.ReceivedDate})
		}
	}
	return out
}

func (s *supply) lotCost(l StockLot) money.PerKg {
	return money.PerKg{Currency: s.plant.Currency, Amount: l.Cost.CostPerKg}
}

// ofNamedLot values a mass at the cost of the lot that the formula names.
func (c *costing) ofNamedLot(material, lot string, need mass.Mass) (money.Money, error) {
	l, known := c.s.lots[lot]
	if !known || !c.s.costed(l) {
		c.lack("Lot %s of %s has no landed cost.", lot, c.s.title(material))
		return c.onBases(material, need, c.others())
	}
	var free mass.Mass
	for _, i := range c.s.stock[material] {
		if i.ID == lot {
			free = i.free(c.date)
		}
	}
	if free < need {
		c.note("The formula asks for %s of lot %s of %s, of which %s are free; all of it is valued at the lot's cost.", need, lot, c.s.title(material), free)
	}
	return c.s.lotCost(l).Of(need), nil
}

// ofLots values a mass at the cost of the lots that weigh-up would take: free,
// usable on the date, the first to expire first. What they lack is valued at
// what it costs to buy.
func (c *costing) ofLots(material string, need mass.Mass) (money.Money, error) {
	total, left := money.Zero(c.s.plant.Currency), need
	for _, i := range c.s.stock[material] {
		if !c.s.costed(i.StockLot) {
			continue
		}
		take := min(left, max(0, i.free(c.date)-c.taken[i.ID]))
		if take == 0 {
			continue
		}
		c.taken[i.ID] += take
		left -= take
		total.Amount = total.Amount.Add(c.s.lotCost(i.StockLot).Of(take).Amount)
	}
	if left == 0 {
		return total, nil
	}
	if left < need {
		c.lack("%s: %s of %s can come from free lots on %s; the rest is valued as bought new.", c.s.title(material), need-left, need, c.date.Format(time.DateOnly))
	} else {
		c.lack("%s: no free lot with a landed cost on %s; it is valued as bought new.", c.s.title(material), c.date.Format(time.DateOnly))
	}
	rest, err := c.onBases(material, left, c.others())
	if err != nil {
		return total, err
	}
	return total.Add(rest)
}

// madeHere reports whether an ingredient is costed through its own formula:
// always at replacement and standard cost, else when no lot of it with a known
// cost is on hand.
func (c *costing) madeHere(material string) bool {
	if _, ok := c.s.formulas.byMaterial[material]; !ok {
		return false
	}
	if c.basis == valuation.Replacement || c.basis == valuation.Standard {
		return true
	}
	return len(c.s.layers(material)) == 0
}
