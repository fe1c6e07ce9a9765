package plan

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"unsafe"

	"millbase/inventory/mass"
	"millbase/solver"
	"millbase/solver/formulation"
)

// built is a problem made into a linear program. Supplies that are alike in all
// that counts are one column in each batch; see pool.
type built struct {
	p       *Problem
	periods int
	pools   []pool
	poolOf  []int // per supply
	model   solver.Model
	fixed   float64 // of the objective, whatever is done
	groups  []group
	ratios  map[string]*formulation.Ratios // by limitsKey
	// ofBook are the candidates of ratios: pools first, then offers.
	ofBook    []formulation.Candidate
	assume    map[string]bool
	limitKeys map[*formulation.Limit]limitKey
	checked   map[string]bool                // blends that were evaluated
	ever      map[string]*formulation.Answer // by limitsKey: with any amount of everything

	asked   []int     // row, per group
	there   []int     // row that holds a pool to its amount; -1 where it has a row per period
	left    [][]int   // row that balances a pool, per period; nil for the others, -1 outside its time
	balance [][]int   // row, per offer and period
	dates   [][]int   // row that holds an offer's stock to its shelf life, per period; -1 for none
	expiry  [][]int   // row that lets no more expire than arrived, likewise
	budget  []int     // row, per period; -1 for none
	store   [][]int   // row of what is in store, per material and period; nil for most
	safety  [][]int   // row of the safety stock, likewise
	uses    [][][]int // rows, per material and period

	runs   []run
	unmade []int   // column, per batch
	buy    [][]int // column, per offer and period; -1 for none
}

// pool is supplies that are alike: of one material, with the same properties, cost
// and time.
type pool struct {
	members []int // by number
	like    *Supply
	kg      float64
}

// run is a group of batches in one period.
type run struct {
	group, period int
	columns       []int // kg of each source
	sources       []int // pools, then offers counted from len(pools)
}

// newBuilt makes the model of a valid problem; apart merges nothing.
func newBuilt(p *Problem, apart bool) (*built, error) {
	b := &built{p: p, periods: len(p.Periods), ratios: map[string]*formulation.Ratios{}, assume: map[string]bool{}, limitKeys: map[*formulation.Limit]limitKey{}, ever: map[string]*formulation.Answer{}, checked: map[string]bool{}}
	b.makePools(apart)
	b.makeGroups(apart)
	for k := range b.pools {
		b.ofBook = append(b.ofBook, p.candidate(b.pools[k].members[0], -1))
	}
	for o := range p.Offers {
		b.ofBook = append(b.ofBook, p.candidate(-1, o))
	}
	b.makeRows()
	if err := b.makeRuns(); err != nil {
		return nil, err
	}
	b.makeOrders()
	b.makeStores()
	return b, nil
}

// makePools merges supplies that are alike: the optimum is the same, and what is
// used of a pool is shared out afterwards.
func (b *built) makePools(apart bool) {
	wanted := b.wantedBy()
	b.poolOf = make([]int, len(b.p.Supplies))
	byMaterial := map[int][]int{}
	for i := range b.p.Supplies {
		s := &b.p.Supplies[i]
		at := -1
		for _, k := range byMaterial[s.Material] {
			if !apart && wanted[i] == wanted[b.pools[k].members[0]] && alike(b.pools[k].like, s, b.periods) {
				at = k
				break
			}
		}
		if at < 0 {
			at = len(b.pools)
			b.pools = append(b.pools, pool{like: s})
			byMaterial[s.Material] = append(byMaterial[s.Material], at)
		}
		b.poolOf[i] = at
		k := &b.pools[at]
		k.members, k.kg = append(k.members, i), k.kg+s.Kg
	}
}

// wantedBy tells supplies apart that may not go into the same batches: of each, the
// numbers of the lists of batches that name it.
func (b *built) wantedBy() []string {
	out := make([]string, len(b.p.Supplies))
	type span struct { // a list may be a part of another
		first *int
		n     int
	}
	lists := map[span]bool{}
	for i := range b.p.Batches {
		list := b.p.Batches[i].Supplies
		key := span{unsafe.SliceData(list), len(list)}
		if len(list) == 0 || lists[key] {
			continue
		}
		lists[key] = true
		for _, s := range list {
			out[s] += strconv.Itoa(i) + " "
		}
	}
	return out
}

func alike(a, b *Supply, periods int) bool {
	if a.CostPerKg != b.CostPerKg || a.Batch != b.Batch || max(0, a.From) != max(0, b.From) || min(periods, a.Until) != min(periods, b.Until) ||
		a.ScrapCost != b.ScrapCost || len(a.Properties) != len(b.Properties) {
		return false
	}
	for k, v := range a.Properties {
		if w, ok := b.Properties[k]; !ok || w != v {
			return false
		}
	}
	return true
}

// usable reports whether a pool can be in use in a period.
func (b *built) usable(k, t int) bool {
	s := b.pools[k].like
	return t >= max(0, s.From) && t <= s.Until
}

// blend is a batch as a question of one formula, with everything as a candidate.
func (b *built) blend(of *Batch) *formulation.Problem {
	return &formulation.Problem{Quantity: mass.Kilogram, Limits: of.Limits, Candidates: b.ofBook, Catalogue: b.p.Catalogue, Settings: b.p.Settings, Currency: b.p.Currency}
}

// makeRuns makes the columns of every group of batches in every period that it can
// be made in.
func (b *built) makeRuns() error {
	b.unmade = make([]int, len(b.p.Batches))
	for g := range b.groups {
		of := b.groups[g].like
		r, err := b.ratiosOf(of)
		if err != nil {
			return inBatch(err, b.groups[g].batches[0])
		}
		for _, i := range b.groups[g].batches {
			one := &b.p.Batches[i]
			b.unmade[i] = b.model.AddVariable(solver.Variable{Name: "unmade " + one.ID, Cost: one.UnmadePerKg, Upper: one.Kg}, solver.Entry{Row: b.asked[g], Value: 1})
		}
		sources := b.sources(of, r)
		for t := max(0, of.Earliest); t <= min(of.Due+of.MostLate, b.periods-1); t++ {
			b.runs = append(b.runs, b.makeRun(g, t, r, sources))
		}
	}
	return nil
}

// sources are what may go into a batch, pools first.
func (b *built) sources(of *Batch, r *formulation.Ratios) []int {
	var out []int
	for k := range b.pools {
		in := of.Supplies == nil || slices.ContainsFunc(b.pools[k].members, func(s int) bool { return slices.Contains(of.Supplies, s) })
		if in && r.Missing[k] == "" {
			out = append(out, k)
		}
	}
	for o := range b.p.Offers {
		if k := len(b.pools) + o; (of.Offers == nil || slices.Contains(of.Offers, o)) && r.Missing[k] == "" {
			out = append(out, k)
		}
	}
	return out
}

// scaled brings a row to the size of 1.
func scaled(bound float64) float64 {
	if a := math.Abs(bound); a > 0 && !math.IsInf(a, 0) {
		return math.Exp2(-math.Round(math.Log2(a)))
	}
	return 1
}

// side is one bound of a limit as a row.
type side struct {
	limit        int
	bound, scale float64
}

// sidesOf makes the rows of limits in a model, for one blend.
func sidesOf(m *solver.Model, r *formulation.Ratios) (out []side) {
	for i := range r.Lower {
		if lo := r.Lower[i]; !math.IsInf(lo, -1) {
			out = append(out, side{i, lo, scaled(lo)})
			m.AddRow(solver.Row{Upper: math.Inf(1)})
		}
		if up := r.Upper[i]; !math.IsInf(up, 1) {
			out = append(out, side{i, up, scaled(up)})
			m.AddRow(solver.Row{Lower: never})
		}
	}
	return out
}

// sidesAt are the entries of source j in the rows of limits, which begin at first.
func sidesAt(sides []side, r *formulation.Ratios, first, j int) (out []solver.Entry) {
	for i, s := range sides {
		if v := (r.Num[s.limit][j] - s.bound*r.Den[s.limit][j]) * s.scale; math.Abs(v) > 1e-12 {
			out = append(out, solver.Entry{Row: first + i, Value: v})
		}
	}
	return out
}

// makeRun makes the columns of one run. Its rows and columns have no names of their
// own: there are too many.
func (b *built) makeRun(g, t int, r *formulation.Ratios, sources []int) run {
	m, of := &b.model, b.groups[g].like
	out := run{group: g, period: t, columns: make([]int, 0, len(sources)), sources: make([]int, 0, len(sources))}
	makes := m.AddRow(solver.Row{Name: fmt.Sprintf("makes %s %d", of.ID, t)})
	first := len(m.Rows)
	sides := sidesOf(m, r)
	// A batch that brings a supply adds to it.
	entries := []solver.Entry{{Row: makes, Value: -1}, {Row: b.asked[g], Value: 1}}
	cost := of.LatePerKg*float64(max(0, t-of.Due)) - of.Worth
	for k := range b.pools {
		if s := b.pools[k].like; s.Batch >= 0 && s.Batch == b.groups[g].batches[0] && b.left[k] != nil && t+s.From < b.periods && b.left[k][t+s.From] >= 0 {
			entries = append(entries, solver.Entry{Row: b.left[k][t+s.From], Value: b.pools[k].kg / of.whole()})
		}
	}
	m.AddVariable(solver.Variable{Name: fmt.Sprintf("made %s %d", of.ID, t), Cost: cost, Upper: math.Inf(1)}, entries...)
	for _, j := range sources {
		c := &b.ofBook[j]
		price, row, ok := b.drawn(j, t)
		if !ok {
			continue
		}
		material := b.materialOf(j)
		entries = append(entries[:0], solver.Entry{Row: makes, Value: c.Properties.Retained()}, row)
		for _, u := range b.uses[material][t] {
			entries = append(entries, solver.Entry{Row: u, Value: 1})
		}
		entries = append(entries, sidesAt(sides, r, first, j)...)
		out.columns = append(out.columns, m.AddVariable(solver.Variable{Cost: price, Upper: math.Inf(1)}, entries...))
		out.sources = append(out.sources, j)
	}
	return out
}

func (b *built) materialOf(source int) int {
	if source < len(b.pools) {
		return b.pools[source].like.Material
	}
	return b.p.Offers[source-len(b.pools)].Material
}
