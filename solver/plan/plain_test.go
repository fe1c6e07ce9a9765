package plan_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"millbase/solver"
	"millbase/solver/formulation"
	"millbase/solver/plan"
	"millbase/solver/solvertest"
)

// plain is the plan as a linear program once more, written from the meaning of the
// problem's fields alone: every delivery is kept apart from every other, every
// kilogram has its own way from what brings it to the batch that takes it.
type plain struct {
	p     *plan.Problem
	cost  []float64
	upper []float64
	rows  []plainRow
	whole []bool // per column
	fixed float64
	made  [][]int    // column, per batch and period
	stock [][]amount // in store at the end of a period, per material
}

type plainRow struct {
	of     map[int]float64
	lo, up float64
}

// amount is a linear form.
type amount struct {
	of    map[int]float64
	fixed float64
}

func newAmount() amount { return amount{of: map[int]float64{}} }

func (a *amount) add(column int, v float64) { a.of[column] += v }

func (a *amount) plus(b amount) {
	for j, v := range b.of {
		a.of[j] += v
	}
	a.fixed += b.fixed
}

func (l *plain) column(cost, upper float64) int {
	l.cost, l.upper, l.whole = append(l.cost, cost), append(l.upper, upper), append(l.whole, false)
	return len(l.cost) - 1
}

// hold keeps lo <= a <= up.
func (l *plain) hold(a amount, lo, up float64) {
	of := map[int]float64{}
	for j, v := range a.of {
		of[j] = v
	}
	l.rows = append(l.rows, plainRow{of, lo - a.fixed, up - a.fixed})
}

// charge makes a kilogram of a cost money.
func (l *plain) charge(a amount, perKg float64) {
	for j, v := range a.of {
		l.cost[j] += v * perKg
	}
	l.fixed += a.fixed * perKg
}

var everything = math.Inf(1)

func newPlain(p *plan.Problem) *plain {
	l := &plain{p: p, made: make([][]int, len(p.Batches)), stock: make([][]amount, len(p.Materials))}
	for m := range l.stock {
		for range p.Periods {
			l.stock[m] = append(l.stock[m], newAmount())
		}
	}
	pots := l.batches()
	used := make([][]amount, len(p.Materials))
	for m := range used {
		for range p.Periods {
			used[m] = append(used[m], newAmount())
		}
	}
	for s := range p.Supplies {
		l.supply(s, pots, used)
	}
	spent := make([]amount, len(p.Periods))
	for t := range spent {
		spent[t] = newAmount()
	}
	for o := range p.Offers {
		for t := range p.Periods {
			l.delivery(o, t, pots, used, spent)
		}
	}
	for t := range spent {
		if most := p.Periods[t].Budget; most >= 0 {
			l.hold(spent[t], -everything, most)
		}
	}
	for b := range pots {
		for t := range pots[b] {
			l.limits(b, t, &pots[b][t])
		}
	}
	for u := range p.Uses {
		for t, most := range p.Uses[u].Most {
			if sum := newAmount(); most >= 0 {
				for _, m := range p.Uses[u].Materials {
					sum.plus(used[m][t])
				}
				l.hold(sum, -everything, most)
			}
		}
	}
	l.stores()
	return l
}

// pot is what goes into a batch in a period: the columns, with what they are.
type pot struct {
	columns  []int
	material []int
	stays    []float64
	hardness []float64
}

// batches are made in their time, or not made.
func (l *plain) batches() [][]pot {
	pots := make([][]pot, len(l.p.Batches))
	for i := range l.p.Batches {
		b := &l.p.Batches[i]
		pots[i] = make([]pot, len(l.p.Periods))
		all := newAmount()
		for t := range l.p.Periods {
			l.made[i] = append(l.made[i], -1)
			if t >= b.Earliest && t <= b.Due+b.MostLate {
				l.made[i][t] = l.column(b.LatePerKg*math.Max(0, float64(t-b.Due))-b.Worth, everything)
				all.add(l.made[i][t], 1)
			}
		}
		all.add(l.column(b.UnmadePerKg, b.Kg), 1)
		l.hold(all, b.Kg, math.Max(b.Kg, b.Most))
	}
	return pots
}

// into is a column of a kilogram that goes into a batch in a period.
func (l *plain) into(pots [][]pot, b, t, material int, properties map[string]float64, cost float64, used [][]amount) int {
	j := l.column(cost, everything)
	stays, ok := properties["retained_fraction"]
	if !ok {
		stays = 1
	}
	k := &pots[b][t]
	k.columns, k.material = append(k.columns, j), append(k.material, material)
	k.stays, k.hardness = append(k.stays, stays), append(k.hardness, properties["hardness_units"])
	used[material][t].add(j, 1)
	return j
}

// supply is used from From to Until, and no more than is there.
func (l *plain) supply(i int, pots [][]pot, used [][]amount) {
	s := &l.p.Supplies[i]
	set := map[string]float64{}
	for k, v := range s.Properties {
		set[k] = v
	}
	there := newAmount()
	for t := range l.p.Periods {
		switch {
		case s.Batch < 0 && t == max(0, s.From):
			there.fixed += s.Kg
		case s.Batch >= 0 && t >= s.From && l.made[s.Batch][t-s.From] >= 0:
			whole := l.p.Batches[s.Batch].Kg
			if whole == 0 {
				whole = l.p.Batches[s.Batch].Most
			}
			there.add(l.made[s.Batch][t-s.From], s.Kg/whole)
		}
		if t > s.Until || t < s.From {
			continue
		}
		for b := range l.p.Batches {
			if list := l.p.Batches[b].Supplies; l.made[b][t] >= 0 && (list == nil || slices.Contains(list, i)) {
				there.add(l.into(pots, b, t, s.Material, set, s.CostPerKg, used), -1)
			}
		}
		l.hold(there, 0, everything)
		l.stock[s.Material][t].plus(there)
		if t == s.Until {
			l.charge(there, s.ScrapCost)
		}
	}
}

// delivery is what is ordered of an offer in one period.
func (l *plain) delivery(o, t int, pots [][]pot, used [][]amount, spent []amount) {
	of := &l.p.Offers[o]
	at := t + of.Lead
	if at >= len(l.p.Periods) || math.IsNaN(of.Price[t]) {
		return
	}
	set := map[string]float64{}
	for k, v := range of.Properties {
		set[k] = v
	}
	there := l.bought(of, t, &spent[t])
	for w := at; w < len(l.p.Periods) && (of.ShelfLife == 0 || w < at+of.ShelfLife); w++ {
		for b := range l.p.Batches {
			if list := l.p.Batches[b].Offers; l.made[b][w] >= 0 && (list == nil || slices.Contains(list, o)) {
				there.add(l.into(pots, b, w, of.Material, set, 0, used), -1)
			}
		}
		l.hold(there, 0, everything)
		l.stock[of.Material][w].plus(there)
	}
	if of.ShelfLife == 0 || at+of.ShelfLife > len(l.p.Periods) {
		l.charge(there, -of.SalvagePerKg)
	}
}

// bought is the kg of an order.
func (l *plain) bought(of *plan.Offer, t int, spent *amount) amount {
	kg, one := newAmount(), newAmount()
	if levels := levelsOf(l.p, of); of.Pack > 0 || of.PerOrder > 0 || len(levels) != 1 || levels[0].from > 0 {
		for _, k := range levels {
			x, y := l.column(of.Price[t]*k.factor, everything), l.column(of.PerOrder, 1)
			l.whole[y] = true
			spent.add(x, of.Price[t]*k.factor)
			spent.add(y, of.PerOrder)
			kg.add(x, 1)
			one.add(y, 1)
			within := newAmount()
			within.add(x, 1)
			within.add(y, -k.from)
			l.hold(within, 0, everything)
			within.add(y, k.from-k.to)
			l.hold(within, -everything, 0)
		}
		l.hold(one, 0, 1)
		if of.Pack > 0 {
			n := l.column(0, 1000)
			l.whole[n] = true
			packs := newAmount()
			packs.plus(kg)
			packs.add(n, -of.Pack)
			l.hold(packs, 0, 0)
		}
		return kg
	}
	most := everything
	if of.MostPerPeriod >= 0 {
		most = of.MostPerPeriod
	}
	x := l.column(of.Price[t], most)
	spent.add(x, of.Price[t])
	kg.add(x, 1)
	return kg
}

// levelOf is a range of kg at one price.
type levelOf struct{ from, to, factor float64 }

// levelsOf are the ranges that an order may be in; from the last one on there is an
// end that no plan has a use for.
func levelsOf(p *plan.Problem, of *plan.Offer) []levelOf {
	most := 60.0
	for i := range p.Batches {
		most += 2 * math.Max(p.Batches[i].Kg, p.Batches[i].Most)
	}
	if of.MostPerPeriod >= 0 {
		most = of.MostPerPeriod
	}
	out := []levelOf{{of.MinimumOrder, most, 1}}
	for _, b := range of.Breaks {
		out[len(out)-1].to = math.Min(most, b.From)
		out = append(out, levelOf{math.Max(b.From, of.MinimumOrder), most, b.Factor})
	}
	return slices.DeleteFunc(out, func(k levelOf) bool { return k.from > k.to || k.to == 0 && len(out) > 1 })
}

// limits hold what is in a pot to what is made, and to the two kinds of limit that
// are drawn.
func (l *plain) limits(b, t int, k *pot) {
	if l.made[b][t] < 0 {
		return
	}
	sum := newAmount()
	sum.add(l.made[b][t], -1)
	for n, j := range k.columns {
		sum.add(j, k.stays[n])
	}
	l.hold(sum, 0, 0)
	for _, lim := range l.p.Batches[b].Limits {
		over, under := newAmount(), newAmount()
		for n, j := range k.columns {
			part := k.stays[n] * k.hardness[n]
			if lim.Kind == formulation.Share { // of what is put in, per kg of ink
				part = 0
				if slices.Contains(lim.Materials, l.p.Materials[k.material[n]].ID) {
					part = 1
				}
			}
			if lim.Lower != nil {
				over.add(j, part-k.stays[n]**lim.Lower)
			}
			if lim.Upper != nil {
				under.add(j, part-k.stays[n]**lim.Upper)
			}
		}
		l.hold(over, 0, everything)
		l.hold(under, -everything, 0)
	}
}

// stores are charged and held to their limits.
func (l *plain) stores() {
	for m := range l.p.Materials {
		of := &l.p.Materials[m]
		for t := range l.p.Periods {
			in := l.stock[m][t]
			l.charge(in, of.StorageCost)
			if of.StorageMost >= 0 {
				l.hold(in, -everything, of.StorageMost)
			}
			if t == len(l.p.Periods)-1 {
				l.hold(in, of.ClosingLeast, everything)
			}
			if of.SafetyStock > 0 {
				short := newAmount()
				short.plus(in)
				short.add(l.column(of.SafetyPenalty, everything), 1)
				l.hold(short, of.SafetyStock, everything)
			}
		}
	}
}

// model is for glpsol.
func (l *plain) model() *solver.Model {
	m := &solver.Model{}
	entries := make([][]solver.Entry, len(l.cost))
	for _, r := range l.rows {
		row := m.AddRow(solver.Row{Lower: r.lo, Upper: r.up})
		for j, v := range r.of {
			entries[j] = append(entries[j], solver.Entry{Row: row, Value: v})
		}
	}
	for j := range l.cost {
		v := solver.Variable{Cost: l.cost[j], Upper: l.upper[j]}
		if l.whole[j] {
			v.Kind = solver.Integer
		}
		m.AddVariable(v, entries[j]...)
	}
	return m
}

// plainCost is the least cost by the plain program; false where there is no plan.
func plainCost(t solvertest.TB, dir string, p *plan.Problem) (float64, bool) {
	t.Helper()
	l := newPlain(p)
	stop, cost := solvertest.GLPK(t, dir, l.model())
	if stop != solver.StopOptimal && stop != solver.StopInfeasible {
		t.Fatalf("the plain program: %v", stop)
	}
	return cost + l.fixed, stop == solver.StopOptimal
}

// What the model means: any small plan costs what the plain program says.
func TestSmallPlansAgainstPlain(t *testing.T) {
	dir := t.TempDir()
	planned := 0
	rapid.Check(t, func(r *rapid.T) {
		p := drawn(r, false)
		got := made(r, p)
		want, ok := plainCost(r, dir, p)
		if ok != (got != nil) {
			r.Fatalf("a plan: %v, by the plain program: %v", got != nil, ok)
		}
		if got != nil {
			planned++
			if math.Abs(got.Cost-want) > 1e-5*(1+math.Abs(want)) {
				r.Fatalf("a plan at %g, by the plain program %g", got.Cost, want)
			}
		}
	})
	if planned < 40 {
		t.Errorf("only %d plans were compared", planned)
	}
}
