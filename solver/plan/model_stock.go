package plan

import (
	"fmt"
	"math"
	"slices"

	"millbase/solver"
)

var never = math.Inf(-1)

// makeRows makes the rows that columns of several kinds stand in.
func (b *built) makeRows() {
	p, m := b.p, &b.model
	b.asked = make([]int, len(b.groups))
	for i := range b.groups {
		g := &b.groups[i]
		b.asked[i] = m.AddRow(solver.Row{Name: "asked " + g.like.ID, Lower: g.kg, Upper: g.most})
	}
	b.poolRows()
	b.offerRows()
	b.budget = make([]int, b.periods)
	for t := range b.budget {
		b.budget[t] = -1
		if most := p.Periods[t].Budget; most >= 0 {
			b.budget[t] = m.AddRow(solver.Row{Name: fmt.Sprintf("budget %d", t), Lower: never, Upper: most})
		}
	}
	b.storeRows()
	b.useRows()
}

// poolRows hold what is used of a pool to what is there: by one row, or, where what
// is there hangs on a batch or what is left must be known, by a balance per period.
func (b *built) poolRows() {
	b.there, b.left = make([]int, len(b.pools)), make([][]int, len(b.pools))
	for k := range b.pools {
		s, kg := b.pools[k].like, b.pools[k].kg
		b.there[k] = -1
		if s.Batch < 0 && !b.stored(s.Material) {
			b.there[k] = b.model.AddRow(solver.Row{Name: "there " + s.ID, Lower: never, Upper: kg})
			if from := max(0, s.From); from < b.periods && s.Until >= from {
				b.fixed += kg * b.keeping(k, from)
			}
			continue
		}
		b.left[k] = make([]int, b.periods)
		for t := range b.periods {
			b.left[k][t] = -1
			if !b.usable(k, t) {
				continue
			}
			r := solver.Row{Name: fmt.Sprintf("left %s %d", s.ID, t)}
			if s.Batch < 0 && t == max(0, s.From) {
				r.Lower, r.Upper = -kg, -kg
			}
			b.left[k][t] = b.model.AddRow(r)
		}
	}
}

// offerRows are the balances of what was ordered, and what holds it to its shelf
// life: what stays in store at the end of period t+L-1 arrived after t; what expires
// with it arrived in t.
func (b *built) offerRows() {
	p, m := b.p, &b.model
	b.balance, b.dates, b.expiry = make([][]int, len(p.Offers)), make([][]int, len(p.Offers)), make([][]int, len(p.Offers))
	for o := range p.Offers {
		of := &p.Offers[o]
		b.balance[o], b.dates[o], b.expiry[o] = make([]int, b.periods), make([]int, b.periods), make([]int, b.periods)
		for t := range b.periods {
			b.balance[o][t] = m.AddRow(solver.Row{Name: fmt.Sprintf("balance %s %d", of.ID, t)})
			b.dates[o][t], b.expiry[o][t] = -1, -1
			// What expires with the last period counts for nothing after it.
			if end := t + of.ShelfLife; of.ShelfLife > 0 && (end < b.periods || end == b.periods && of.SalvagePerKg > 0) {
				b.dates[o][t] = m.AddRow(solver.Row{Name: fmt.Sprintf("date %s %d", of.ID, t), Lower: never})
				b.expiry[o][t] = m.AddRow(solver.Row{Name: fmt.Sprintf("expiry %s %d", of.ID, t), Lower: never})
			}
		}
	}
}

// stored reports whether what is in store of a material must be known in every
// period.
func (b *built) stored(material int) bool {
	m := &b.p.Materials[material]
	return m.StorageMost >= 0 || m.ClosingLeast > 0 || m.SafetyStock > 0 && m.SafetyPenalty > 0
}

func (b *built) storeRows() {
	p, m := b.p, &b.model
	b.store, b.safety = make([][]int, len(p.Materials)), make([][]int, len(p.Materials))
	for i := range p.Materials {
		if !b.stored(i) {
			continue
		}
		of := &p.Materials[i]
		b.store[i] = make([]int, b.periods)
		for t := range b.periods {
			r := solver.Row{Name: fmt.Sprintf("in store %s %d", of.ID, t), Lower: never, Upper: math.Inf(1)}
			if of.StorageMost >= 0 {
				r.Upper = of.StorageMost
			}
			if t == b.periods-1 {
				r.Lower = of.ClosingLeast
			}
			b.store[i][t] = m.AddRow(r)
		}
		if of.SafetyStock <= 0 || of.SafetyPenalty <= 0 {
			continue
		}
		b.safety[i] = make([]int, b.periods)
		for t := range b.periods {
			b.safety[i][t] = m.AddRow(solver.Row{Name: fmt.Sprintf("safety %s %d", of.ID, t), Lower: of.SafetyStock, Upper: math.Inf(1)})
		}
	}
}

// inStoreEntries let a column count as in store.
func (b *built) inStoreEntries(entries []solver.Entry, material, t int) []solver.Entry {
	if rows := b.store[material]; rows != nil {
		entries = append(entries, solver.Entry{Row: rows[t], Value: 1})
	}
	if rows := b.safety[material]; rows != nil {
		entries = append(entries, solver.Entry{Row: rows[t], Value: 1})
	}
	return entries
}

func (b *built) useRows() {
	b.uses = make([][][]int, len(b.p.Materials))
	for m := range b.uses {
		b.uses[m] = make([][]int, b.periods)
	}
	for i := range b.p.Uses {
		u := &b.p.Uses[i]
		for t, most := range u.Most {
			if most < 0 {
				continue
			}
			row := b.model.AddRow(solver.Row{Name: fmt.Sprintf("use %s %d", u.ID, t), Lower: never, Upper: most})
			for _, m := range u.Materials {
				b.uses[m][t] = append(b.uses[m][t], row)
			}
		}
	}
}

// makeOrders makes the columns of orders and of what lies in store of them:
// what stayed + what arrives - what is used - what expires = what stays.
func (b *built) makeOrders() {
	b.buy = make([][]int, len(b.p.Offers))
	for o := range b.p.Offers {
		b.buy[o] = make([]int, b.periods)
		for t := range b.periods {
			b.order(o, t)
		}
		for t := range b.periods {
			b.keep(o, t)
		}
	}
}

// order makes the column of what is ordered of an offer in a period.
func (b *built) order(o, t int) {
	of := &b.p.Offers[o]
	b.buy[o][t] = -1
	at := t + of.Lead
	if at >= b.periods || math.IsNaN(of.Price[t]) {
		return
	}
	price := of.lowest(t)
	entries := []solver.Entry{{Row: b.balance[o][at], Value: 1}}
	if b.budget[t] >= 0 {
		entries = append(entries, solver.Entry{Row: b.budget[t], Value: price})
	}
	if row := b.expiry[o][at]; row >= 0 {
		entries = append(entries, solver.Entry{Row: row, Value: -1})
	}
	for since := max(0, at-of.ShelfLife+1); since < at; since++ {
		if row := b.dates[o][since]; row >= 0 {
			entries = append(entries, solver.Entry{Row: row, Value: -1})
		}
	}
	most := math.Inf(1)
	if of.MostPerPeriod >= 0 {
		most = of.MostPerPeriod
	}
	b.buy[o][t] = b.model.AddVariable(solver.Variable{Name: fmt.Sprintf("order %s %d", of.ID, t), Cost: price, Upper: most}, entries...)
}

// keep makes the columns of what is in store of an offer at the end of a period: of
// what stays, and of what expires with it.
func (b *built) keep(o, t int) {
	of := &b.p.Offers[o]
	storage := b.p.Materials[of.Material].StorageCost
	stays := b.inStoreEntries([]solver.Entry{{Row: b.balance[o][t], Value: -1}}, of.Material, t)
	since := t - of.ShelfLife + 1
	if of.ShelfLife > 0 && since >= 0 && b.dates[o][since] >= 0 {
		expires := append(slices.Clone(stays), solver.Entry{Row: b.expiry[o][since], Value: 1})
		b.model.AddVariable(solver.Variable{Name: fmt.Sprintf("expires %s %d", of.ID, t), Cost: storage, Upper: math.Inf(1)}, expires...)
		stays = append(stays, solver.Entry{Row: b.dates[o][since], Value: 1})
	}
	cost := storage
	if t+1 < b.periods {
		stays = append(stays, solver.Entry{Row: b.balance[o][t+1], Value: 1})
	} else {
		cost -= of.SalvagePerKg
	}
	b.model.AddVariable(solver.Variable{Name: fmt.Sprintf("store %s %d", of.ID, t), Cost: cost, Upper: math.Inf(1)}, stays...)
}

// lowest is the price per kg at the best break.
func (o *Offer) lowest(t int) float64 {
	factor := 1.0
	for _, b := range o.Breaks {
		factor = math.Min(factor, b.Factor)
	}
	return o.Price[t] * factor
}

// makeStores makes the columns of what is left of pools and of what the safety
// stock is short of.
func (b *built) makeStores() {
	for k := range b.pools {
		if b.left[k] == nil {
			continue
		}
		s := b.pools[k].like
		for t := range b.periods {
			row := b.left[k][t]
			if row < 0 {
				continue
			}
			entries := []solver.Entry{{Row: row, Value: -1}}
			cost := b.p.Materials[s.Material].StorageCost
			if t == s.Until {
				cost += s.ScrapCost
			}
			if t+1 < b.periods && b.left[k][t+1] >= 0 {
				entries = append(entries, solver.Entry{Row: b.left[k][t+1], Value: 1})
			}
			entries = b.inStoreEntries(entries, s.Material, t)
			b.model.AddVariable(solver.Variable{Name: fmt.Sprintf("left %s %d", s.ID, t), Cost: cost, Upper: math.Inf(1)}, entries...)
		}
	}
	for i, rows := range b.safety {
		for t, row := range rows {
			b.model.AddVariable(solver.Variable{Name: fmt.Sprintf("short %s %d", b.p.Materials[i].ID, t), Cost: b.p.Materials[i].SafetyPenalty, Upper: math.Inf(1)},
				solver.Entry{Row: row, Value: 1})
		}
	}
}

// drawn is what a kilogram of a source costs in a period, and the row that it is
// taken from; false where there is none.
func (b *built) drawn(source, t int) (cost float64, from solver.Entry, ok bool) {
	if o := source - len(b.pools); o >= 0 {
		return 0, solver.Entry{Row: b.balance[o][t], Value: -1}, b.arrives(o, t)
	}
	if !b.usable(source, t) {
		return 0, from, false
	}
	cost = b.pools[source].like.CostPerKg
	if b.there[source] >= 0 {
		return cost - b.keeping(source, t), solver.Entry{Row: b.there[source], Value: 1}, true
	}
	return cost, solver.Entry{Row: b.left[source][t], Value: -1}, true
}

// arrives reports whether any order of an offer can be in use in a period.
func (b *built) arrives(o, t int) bool {
	of := &b.p.Offers[o]
	for at := 0; at+of.Lead <= t; at++ {
		if !math.IsNaN(of.Price[at]) {
			return true
		}
	}
	return false
}

// keeping is what a kilogram of a pool with one row costs that is there at the end
// of period t and is never used: storage until it expires, then scrap.
func (b *built) keeping(k, t int) float64 {
	s := b.pools[k].like
	cost := b.p.Materials[s.Material].StorageCost * float64(max(0, min(s.Until, b.periods-1)-t+1))
	if s.Until < b.periods {
		cost += s.ScrapCost
	}
	return cost
}
