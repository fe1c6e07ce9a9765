package app

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/shopspring/decimal"

	"millbase/inventory/mass"
)

// PlanDifference is a plan with changes against the one without them.
type PlanDifference struct {
	Cost, CostWithout decimal.Decimal
	Batches           []BatchDifference
	Orders            []OrderDifference
	Shortages         []ShortageDifference
	Summary           []string
}

// BatchDifference is a batch that is late on other days, due on another, or made in
// another mass. One that is in time is left out: within its time the day is free.
type BatchDifference struct {
	Batch, Title              string
	BeginWithout, BeginWith   time.Time // of the last run; zero: not made
	UnmadeWithout, UnmadeWith mass.Mass
}

// OrderDifference is an offer of which another mass is ordered, or on another day.
type OrderDifference struct {
	Offer, Title          string
	Without, With         mass.Mass
	ByWithout, ByWith     time.Time // of the first order; zero: none
	LandedWithout, Landed decimal.Decimal
}

// ShortageDifference is a material whose least stock over the plan is other.
type ShortageDifference struct {
	Material, Title string
	Without, With   mass.Mass
}

// differenceOf compares a plan with changes to the one without.
func differenceOf(with, without *JointPlan) *PlanDifference {
	d := &PlanDifference{Cost: with.Cost.Total.Sub(without.Cost.Total), CostWithout: without.Cost.Total}
	d.batches(with, without)
	d.orders(with, without)
	d.shortages(with, without)
	d.summarise(with.Currency)
	if loose := math.Max(with.Gap, without.Gap); loose > 0.0005 && len(d.Summary) > 0 {
		d.Summary[0] += fmt.Sprintf(" Each of the two plans is within %.1f %% of its best, so small differences may be the search's own.", 100*loose)
	}
	return d
}

func (d *PlanDifference) batches(with, without *JointPlan) {
	begin := func(b PlannedBatch) (last time.Time) {
		for _, r := range b.Runs {
			if r.Begin.After(last) {
				last = r.Begin
			}
		}
		return last
	}
	all, matters, due := map[string]*BatchDifference{}, map[string]bool{}, map[string]time.Time{}
	for _, b := range without.Batches {
		all[b.Batch] = &BatchDifference{Batch: b.Batch, Title: b.Title, BeginWithout: begin(b), UnmadeWithout: b.Unmade}
		matters[b.Batch], due[b.Batch] = b.Late, b.Due
	}
	for _, b := range with.Batches {
		if all[b.Batch] == nil {
			all[b.Batch] = &BatchDifference{Batch: b.Batch, Title: b.Title}
		}
		all[b.Batch].BeginWith, all[b.Batch].UnmadeWith = begin(b), b.Unmade
		matters[b.Batch] = matters[b.Batch] || b.Late || !due[b.Batch].Equal(b.Due)
	}
	for _, id := range sortedKeys(all) {
		x := all[id]
		moved := !x.BeginWith.Equal(x.BeginWithout) && (matters[id] || x.BeginWith.IsZero() || x.BeginWithout.IsZero())
		if moved || x.UnmadeWith != x.UnmadeWithout {
			d.Batches = append(d.Batches, *x)
		}
	}
	slices.SortStableFunc(d.Batches, func(a, b BatchDifference) int {
		return cmp.Compare(b.UnmadeWith-b.UnmadeWithout, a.UnmadeWith-a.UnmadeWithout)
	})
}

func (d *PlanDifference) orders(with, without *JointPlan) {
	all := map[string]*OrderDifference{}
	add := func(p *JointPlan, into func(*OrderDifference, PlannedOrder)) {
		for _, o := range p.Orders {
			if all[o.Offer] == nil {
				all[o.Offer] = &OrderDifference{Offer: o.Offer, Title: o.Title}
			}
			into(all[o.Offer], o)
		}
	}
	first := func(by *time.Time, o PlannedOrder) {
		if by.IsZero() || o.OrderBy.Before(*by) {
			*by = o.OrderBy
		}
	}
	add(without, func(x *OrderDifference, o PlannedOrder) {
		x.Without += o.Quantity
		x.LandedWithout = x.LandedWithout.Add(o.Landed)
		first(&x.ByWithout, o)
	})
	add(with, func(x *OrderDifference, o PlannedOrder) {
		x.With += o.Quantity
		x.Landed = x.Landed.Add(o.Landed)
		first(&x.ByWith, o)
	})
	for _, id := range sortedKeys(all) {
		if x := all[id]; x.With != x.Without || !x.ByWith.Equal(x.ByWithout) {
			d.Orders = append(d.Orders, *x)
		}
	}
	slices.SortStableFunc(d.Orders, func(a, b OrderDifference) int {
		return b.Landed.Sub(b.LandedWithout).Abs().Cmp(a.Landed.Sub(a.LandedWithout).Abs())
	})
}

func (d *PlanDifference) shortages(with, without *JointPlan) {
	least := func(p *JointPlan) map[string]PlannedStock {
		out := map[string]PlannedStock{}
		for _, s := range p.Stock {
			out[s.Material] = PlannedStock{s.Material, s.Title, []mass.Mass{slices.Min(s.Mass)}}
		}
		return out
	}
	a, b := least(without), least(with)
	titles := map[string]string{}
	for id, s := range a {
		titles[id] = s.Title
	}
	for id, s := range b {
		titles[id] = s.Title
	}
	of := func(m map[string]PlannedStock, id string) mass.Mass {
		if s, ok := m[id]; ok {
			return s.Mass[0]
		}
		return 0
	}
	for _, id := range sortedKeys(titles) {
		if x := (ShortageDifference{id, titles[id], of(a, id), of(b, id)}); x.With != x.Without {
			d.Shortages = append(d.Shortages, x)
		}
	}
	slices.SortStableFunc(d.Shortages, func(a, b ShortageDifference) int { return cmp.Compare(a.With-a.Without, b.With-b.Without) })
}

// summarise puts the difference into sentences.
func (d *PlanDifference) summarise(currency string) {
	say := func(format string, args ...any) { d.Summary = append(d.Summary, fmt.Sprintf(format, args...)) }
	switch d.Cost.Sign() {
	case 0:
		say("It costs the same.")
	case 1:
		say("It costs %s %s more.", d.Cost, currency)
	default:
		say("It costs %s %s less.", d.Cost.Neg(), currency)
	}
	for _, b := range d.Batches {
		switch {
		case b.UnmadeWith > b.UnmadeWithout:
			say("%s: %s more can't be made.", b.Title, b.UnmadeWith-b.UnmadeWithout)
		case b.UnmadeWith < b.UnmadeWithout:
			say("%s: %s more can be made.", b.Title, b.UnmadeWithout-b.UnmadeWith)
		case b.BeginWith.IsZero():
			say("%s need not be made.", b.Title)
		case b.BeginWithout.IsZero():
			say("%s must be made on %s.", b.Title, dayOf(b.BeginWith))
		default:
			say("%s is begun on %s, not on %s.", b.Title, dayOf(b.BeginWith), dayOf(b.BeginWithout))
		}
	}
	for _, o := range d.Orders {
		switch {
		case o.Without == 0:
			say("%s: order %s by %s.", o.Title, o.With, dayOf(o.ByWith))
		case o.With == 0:
			say("%s: no order (%s before).", o.Title, o.Without)
		case o.With != o.Without:
			say("%s: order %s, not %s.", o.Title, o.With, o.Without)
		default:
			say("%s: order by %s, not by %s.", o.Title, dayOf(o.ByWith), dayOf(o.ByWithout))
		}
	}
}
