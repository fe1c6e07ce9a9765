package app

import (
	"context"
	"fmt"
	"strings"
	"time"

	"millbase/costing/purchase"
	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/batch"
	"millbase/inventory/mass"
	"millbase/solver/formulation"
	"millbase/solver/plan"
)

// maxPeriods is how many periods a plan can have.
const maxPeriods = 120

// loadPlanning reads the book and poses the problem. What the plan rests on is
// stamped before the changes of the request are laid over it.
func (b *Book) loadPlanning(ctx context.Context, tx Tx, req PlanRequest) (j *jointPlanning, stamps planStamps, err error) {
	if j, stamps, err = b.stampsNow(ctx, tx); err != nil {
		return nil, nil, err
	}
	j.req, j.periodDays = req, req.Book.PeriodDays
	if err := j.room.know(ctx, tx, req.Book.Excluded); err != nil {
		return nil, nil, err
	}
	if err := j.change(); err != nil {
		return nil, nil, err
	}
	return j, stamps, j.pose()
}

// pose turns the book into the problem.
func (j *jointPlanning) pose() error {
	if err := j.periods(); err != nil {
		return err
	}
	if err := j.checkNames(); err != nil {
		return err
	}
	j.p.Currency, j.p.Catalogue = j.supply.plant.Currency, j.room.catalogue
	j.p.Settings.WaterDensityKgPerL = j.supply.plant.WaterDensityKgPerL
	j.at = map[string]int{}
	for _, id := range sortedKeys(j.supply.materials) {
		m := j.supply.materials[id]
		if m.Class == inventory.Packaging {
			continue
		}
		j.at[id] = len(j.p.Materials)
		j.p.Materials = append(j.p.Materials, plan.Material{ID: id, Title: m.Title, Class: m.Class, ColourIndex: m.ColourIndex, StorageMost: -1})
	}
	for _, add := range []func() error{j.addLots, j.addOrders, j.addOffers, j.addBatches, j.addMade, j.valueStock, j.penalties, j.restrict} {
		if err := add(); err != nil {
			return err
		}
	}
	j.tidy()
	j.assume()
	return nil
}

// periods are counted from today.
func (j *jointPlanning) periods() error {
	weeks := j.req.Book.Weeks
	if weeks == 0 {
		weeks = defaultWeeks
	}
	if j.periodDays == 0 {
		j.periodDays = 7
	}
	n := (weeks*7 + j.periodDays - 1) / j.periodDays
	if weeks < 1 || weeks > maxWeeks {
		return InvalidField("book.weeks", "give from 1 to %d weeks, or 0 for %d.", maxWeeks, defaultWeeks)
	}
	if j.periodDays < 1 || n > maxPeriods {
		return InvalidField("book.period_days", "%d weeks in periods of %d days are %d periods, and there can be %d; give longer periods or fewer weeks.",
			weeks, j.periodDays, n, maxPeriods)
	}
	budget, err := j.inPlantCurrency("book.budget_per_period", j.req.Book.Budget)
	if err != nil {
		return err
	}
	if j.req.Book.Budget == nil {
		budget = -1
	}
	j.p = &plan.Problem{}
	for t := range n {
		j.p.Periods = append(j.p.Periods, plan.Period{Name: j.firstDay(t).Format(time.DateOnly), Budget: budget})
	}
	return nil
}

// period is the one that a day lies in: of what is needed.
func (j *jointPlanning) period(day time.Time) int {
	return max(0, int(day.Sub(j.today)/(24*time.Hour))/j.periodDays)
}

// periodFrom is the first one that begins on a day or after it: of what arrives.
func (j *jointPlanning) periodFrom(day time.Time) int {
	return (max(0, int(day.Sub(j.today)/(24*time.Hour))) + j.periodDays - 1) / j.periodDays
}

// checkNames checks what the request leaves out or picks.
func (j *jointPlanning) checkNames() error {
	var bad Invalid
	j.excluded = map[string]bool{}
	batches := map[string]bool{}
	for _, b := range j.supply.batches {
		batches["batches/"+b.ID] = true
	}
	for i, name := range j.req.Book.Excluded {
		_, material := j.supply.materials[strings.TrimPrefix(name, "materials/")]
		if !j.room.names[name] && !batches[name] && !(material && strings.HasPrefix(name, "materials/")) {
			bad = append(bad, FieldError{fmt.Sprintf("book.excluded[%d]", i),
				fmt.Sprintf("%.80q is no lot, material, offer or open batch of the book; write it like lots/..., materials/..., suppliers/.../offers/... or batches/...", name)})
		}
		j.excluded[name] = true
	}
	for i, id := range j.req.Book.Batches {
		if !batches["batches/"+id] {
			bad = append(bad, FieldError{fmt.Sprintf("book.batches[%d]", i), fmt.Sprintf("batches/%s is no open batch of the book", id)})
		}
	}
	if len(bad) > 0 {
		return bad
	}
	return nil
}

// excludes reports whether a candidate of a material is left out.
func (j *jointPlanning) excludes(name, material string) bool {
	return j.excluded[name] || j.excluded["materials/"+material]
}

// addLots makes a supply of what is free of every lot that can be used.
func (j *jointPlanning) addLots() error {
	places := j.room.freePlaces()
	basis, err := checkBasis(j.req.Book.Basis)
	if err != nil {
		return err
	}
	j.priced = j.room.pricesOn(&choice{date: j.today, basis: basis, quantity: mass.Kilogram * 100})
	for _, l := range j.room.lots {
		m, known := j.supply.materials[l.Material]
		_, is := j.at[l.Material]
		name := "lots/" + l.ID
		if !known || !is || j.excludes(name, l.Material) {
			continue
		}
		title := m.Title + ", lot " + l.ID
		if ok, why := l.UsableOn(j.today); !ok {
			j.leave(name, title, "it is %s", strings.TrimPrefix(why, "it is "))
			continue
		}
		free := places.sum(l.ID)
		if free <= 0 {
			j.leave(name, title, "all %s of it is reserved", j.room.onHand[l.ID])
			continue
		}
		if why := j.addLot(l, free, ""); why != "" {
			j.leave(name, title, "%s", why)
		}
	}
	return nil
}

// addLot makes a supply of a lot's mass, for one batch only where it is set aside
// for it; why is set where it has no price.
func (j *jointPlanning) addLot(l StockLot, free mass.Mass, only string) (why string) {
	m, name := j.supply.materials[l.Material], "lots/"+l.ID
	price, why := j.priced.of(l)
	if why != "" {
		return why
	}
	s := plan.Supply{ID: name, Material: j.at[l.Material], Properties: m.Properties.Merge(l.Values()), Kg: free.Kilograms(), CostPerKg: price.InexactFloat64(),
		Until: len(j.p.Periods), Batch: -1}
	if only != "" {
		s.ID += " for " + only
	}
	if !l.ExpiryDate.IsZero() {
		if s.Until = j.period(l.ExpiryDate); s.Until < len(j.p.Periods) {
			s.ScrapCost = s.CostPerKg // what is not used by then is lost
		}
	}
	j.addSupply(s, planSupply{name: name, title: m.Title + ", lot " + l.ID, lot: l.ID, only: only})
	return ""
}

// addAside makes supplies of what is set aside for a planned batch.
func (j *jointPlanning) addAside(b *batch.Batch, name string) error {
	aside := map[string]mass.Mass{}
	for _, l := range b.Lines {
		aside[l.Lot] += l.Quantity
	}
	for _, id := range sortedKeys(aside) {
		l, known := j.supply.lots[id]
		if ok, _ := l.UsableOn(j.today); known && ok && !j.rejected[id] {
			if why := j.addLot(l, aside[id], name); why != "" {
				j.leave("lots/"+id, id, "%s", why)
			}
		}
	}
	return nil
}

func (j *jointPlanning) leave(id, title, why string, args ...any) {
	j.leftOut = append(j.leftOut, LeftOut{id, title, fmt.Sprintf(why, args...)})
}

func (j *jointPlanning) addSupply(s plan.Supply, of planSupply) {
	j.p.Supplies, j.supplies = append(j.p.Supplies, s), append(j.supplies, of)
}

// addOrders makes a supply of what is still to come of every order that was sent.
func (j *jointPlanning) addOrders() error {
	for _, o := range j.supply.orders {
		for i, l := range o.Lines {
			at, is := j.at[l.Material]
			name := "purchaseOrders/" + o.ID
			if !is || l.Open() == 0 || j.excludes(name, l.Material) {
				continue
			}
			from := j.periodFrom(l.DueDate)
			if from >= len(j.p.Periods) {
				continue
			}
			title := j.supply.title(l.Material) + ", order " + o.ID
			cost, why, err := j.orderedAt(o, l)
			if err != nil {
				return err
			}
			if why != "" {
				j.leave(name, title, "%s", why)
				continue
			}
			j.addSupply(plan.Supply{ID: fmt.Sprintf("%s#%d", name, i), Material: at, Properties: j.supply.typical(j.supply.materials[l.Material]),
				Kg: l.Open().Kilograms(), CostPerKg: cost, From: from, Until: j.untilOf(l.Material, l.DueDate), Batch: -1}, planSupply{name: name, title: title})
		}
	}
	return nil
}

// orderedAt is what a kg of an order's line costs at the plant's door.
func (j *jointPlanning) orderedAt(o purchase.Order, l purchase.Line) (perKg float64, why string, err error) {
	rate, ok := j.supply.plant.exchange(o.Currency)
	if !ok {
		return 0, fmt.Sprintf("the plant has no exchange rate from %s to %s", o.Currency, j.supply.plant.Currency), nil
	}
	as := purchase.Offer{ID: l.Offer, Supplier: o.Supplier, Currency: o.Currency, Breaks: []purchase.Break{{PricePerKg: l.PricePerKg}}}
	for _, known := range j.supply.offers[l.Material] {
		if known.ID == l.Offer && known.Supplier == o.Supplier && known.Currency == o.Currency {
			as.FreightPerKg, as.DutyPercent = known.FreightPerKg, known.DutyPercent
		}
	}
	landed, err := landedOffer(as, rate)
	if err != nil {
		return 0, "", err
	}
	return landed.Breaks[0].Price.Amount.InexactFloat64(), "", nil
}

// untilOf is the last period in which what comes on a day can be used.
func (j *jointPlanning) untilOf(material string, day time.Time) int {
	life := j.supply.materials[material].ShelfLifeDays
	if life == 0 {
		return len(j.p.Periods)
	}
	return min(len(j.p.Periods), j.period(day.AddDate(0, 0, life)))
}

// basisOf is what lots are valued at, in words.
func basisOf(b valuation.Basis) string {
	if b == 0 {
		return "valued at the least that it costs to buy or make again less 2 %, so that it goes before purchases"
	}
	return "valued at " + b.String() + " cost"
}

func specificationsByID(ctx context.Context, tx Tx) (map[string]formulation.Specification, error) {
	list, err := tx.Specifications().List(ctx, Query{})
	if err != nil {
		return nil, err
	}
	out := make(map[string]formulation.Specification, len(list))
	for _, s := range list {
		out[s.Value.ID] = s.Value
	}
	return out, nil
}
