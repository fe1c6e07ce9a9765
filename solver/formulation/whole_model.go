package formulation

import (
	"math"
	"slices"
	"sort"

	"millbase/inventory/mass"
	"millbase/solver"
)

// asked is what is asked of a model of the search.
type asked struct {
	every bool // every division that is not fine is whole; otherwise only coarse ones
	// around fixes what is used, and on which balance, to a formula, and keeps its
	// amounts within a few divisions; nil leaves all open.
	around []mass.Mass // per column
	// inward draws the limits in by what the rounding of fine divisions can do.
	inward bool
}

// window is the number of divisions by which a component may move from the formula
// that it is around.
const window = 20

// posed is a model of the search with the columns that matter.
type posed struct {
	sheet
	used []int // per line: whether it is used, -1 where nothing depends on it
}

// base is the linear program, homogeneous when there is a tolerance: columns are
// those of the model in their order.
func (h *whole) base() *sheet {
	s := &sheet{}
	m := &h.model
	for _, v := range m.Variables {
		s.column(v)
	}
	for k := range h.lines {
		s.columns[k].Upper = max(s.columns[k].Lower, min(s.columns[k].Upper, h.lines[k].upper))
	}
	s.row("quantity", 1-h.tol, 1+h.tol)
	type pair struct{ lower, upper int }
	at := make([]pair, len(m.Rows))
	for i := 1; i < len(m.Rows); i++ {
		r := m.Rows[i]
		if h.tol == 0 || homogeneous(r.Lower) && homogeneous(r.Upper) {
			row := s.row(r.Name, r.Lower, r.Upper)
			at[i] = pair{row, row}
			continue
		}
		at[i] = pair{-1, -1}
		if !math.IsInf(r.Lower, 0) {
			at[i].lower = s.atLeast(r.Name, 0)
		}
		if !math.IsInf(r.Upper, 0) {
			at[i].upper = s.atMost(r.Name, 0)
		}
	}
	for k := range m.Variables {
		rows, values := m.Column(k)
		stays := 0.0
		for e, i := range rows {
			if i == 0 {
				stays = values[e]
				s.add(0, item{k, stays})
			}
		}
		coefficient := make(map[int32]float64, len(rows))
		for e, i := range rows {
			coefficient[i] = values[e]
		}
		for i := int32(1); i < int32(len(m.Rows)); i++ {
			p, r, a := at[i], &m.Rows[i], coefficient[i]
			switch {
			case p.lower == p.upper:
				s.put(p.lower, k, a)
			default:
				s.put(p.lower, k, excess(a, finiteOr0(r.Lower)*stays))
				s.put(p.upper, k, excess(a, finiteOr0(r.Upper)*stays))
			}
		}
	}
	return s
}

// put adds a coefficient that does something.
func (s *sheet) put(row, column int, v float64) {
	if row >= 0 && math.Abs(v) >= negligible {
		s.add(row, item{column, v})
	}
}

func homogeneous(bound float64) bool { return bound == 0 || math.IsInf(bound, 0) }

func finiteOr0(v float64) float64 {
	if math.IsInf(v, 0) {
		return 0
	}
	return v
}

// pose makes a model of the search.
func (h *whole) pose(a asked) *posed {
	p := &posed{sheet: *h.base(), used: make([]int, len(h.lines))}
	h.objective(p)
	if a.inward {
		h.drawIn(p)
	}
	for k := range h.lines {
		p.used[k] = -1
		if a.around != nil {
			h.near(p, k, a.around[k])
			continue
		}
		h.line(p, k, a.every)
	}
	if a.around == nil {
		h.rules(p)
	}
	return p
}

// objective counts what is over or under the quantity at what the last kilogram of
// it costs without rules.
func (h *whole) objective(p *posed) {
	if h.tol == 0 {
		return
	}
	for k := range h.lines {
		p.columns[k].Cost -= h.last * h.stays[k]
	}
	p.column(solver.Variable{Name: "quantity", Cost: h.last, Lower: 1, Upper: 1})
}

// drawIn draws limits in by the rounding of fine divisions.
func (h *whole) drawIn(p *posed) {
	room := make([]float64, len(p.rows))
	for k := range h.lines {
		if l := &h.lines[k]; l.fine && l.upper > 0 {
			for _, e := range p.entries[k] {
				room[e.Row] += math.Abs(e.Value) * float64(l.bands[0].division) / float64(h.p.Quantity)
			}
		}
	}
	for i := 1; i < len(p.rows); i++ {
		if r := &p.rows[i]; r.Upper-r.Lower > 2*room[i] {
			r.Lower, r.Upper = r.Lower+room[i], r.Upper-room[i]
		}
	}
}

// share is a mass as a share of the quantity.
func (h *whole) share(m mass.Mass) float64 { return float64(m) / float64(h.p.Quantity) }

// line adds what one column needs: whether it is used, and whole numbers.
func (h *whole) line(p *posed, k int, every bool) {
	l := &h.lines[k]
	if len(l.bands) == 0 {
		if p.columns[k].Lower > 0 { // it must be used, and can't be weighed
			p.atMost("nothing weighs it", 0, item{k, 1})
		}
		return
	}
	split := len(l.bands) > 1 && (l.jumps || every && !l.fine)
	if p.columns[k].Lower > 0 {
		p.columns[k].Lower = max(p.columns[k].Lower, h.share(l.bands[0].low))
		p.columns[k].Upper = max(p.columns[k].Upper, p.columns[k].Lower)
	}
	if !l.named && !l.gap && !split {
		h.count(p, k, l.bands[0], every)
		return
	}
	y := p.binary("use " + p.columns[k].Name)
	p.used[k] = y
	if p.columns[k].Lower > 0 {
		p.columns[y].Lower = 1
	}
	upper := max(l.upper, 1e-9)
	p.atMost("used", 0, item{k, 1 / upper}, item{y, -1})
	if split {
		h.split(p, k, y, every)
		return
	}
	low := h.share(l.bands[0].low)
	scale := 1 / max(low, 1e-3*upper)
	p.atLeast("worth weighing", 0, item{k, scale}, item{y, -low * scale})
	h.count(p, k, l.bands[0], every)
}

// count makes column k whole divisions of its only band, where they count.
func (h *whole) count(p *posed, k int, b band, every bool) {
	l := &h.lines[k]
	if len(l.bands) > 1 || !l.coarse && (!every || l.fine) {
		return
	}
	most := math.Floor(l.upper*float64(h.p.Quantity)/float64(b.division) + 1e-6)
	h.divisions(p, k, b, 0, most)
}

// divisions makes column k a whole number of divisions of b.
func (h *whole) divisions(p *posed, k int, b band, least, most float64) {
	n := p.column(solver.Variable{Name: "divisions " + p.columns[k].Name, Lower: least, Upper: most, Kind: solver.Integer})
	p.row("divisions", 0, 0, item{k, 1 / h.share(b.division)}, item{n, -1})
}

// split makes column k the sum of its bands, of which one is used.
func (h *whole) split(p *posed, k, y int, every bool) {
	l := &h.lines[k]
	sum := []item{{y, -1}}
	parts := []item{{k, -1}}
	for _, b := range l.bands {
		z := p.binary("on " + p.columns[k].Name)
		high := l.upper
		if b.high >= 0 {
			high = min(high, h.share(b.high))
		}
		x := p.column(solver.Variable{Name: "amount " + p.columns[k].Name, Upper: high})
		low := h.share(b.low)
		scale := 1 / max(low, 1e-3*high)
		p.atMost("capacity", 0, item{x, 1 / high}, item{z, -1})
		p.atLeast("from", 0, item{x, scale}, item{z, -low * scale})
		if every && (h.w.counted || float64(b.division) >= fineDivision*float64(h.p.Quantity)) {
			h.divisions(p, x, b, 0, math.Floor(high/h.share(b.division)+1e-6))
		}
		sum, parts = append(sum, item{z, 1}), append(parts, item{x, 1})
	}
	p.row("one balance", 0, 0, sum...)
	p.row("amounts", 0, 0, parts...)
}

// near keeps column k close to a formula in which its mass is m.
func (h *whole) near(p *posed, k int, m mass.Mass) {
	l, v := &h.lines[k], &p.columns[k]
	if m == 0 || len(l.bands) == 0 {
		v.Lower, v.Upper = 0, 0
		return
	}
	b := l.bands[l.nearest(m)]
	least, most := b.low, m+window*b.division
	if b.high >= 0 {
		most = min(most, b.high)
	}
	if !l.fine {
		least = max(least, m-window*b.division)
	} else {
		most = b.high
	}
	least = least.RoundTo(b.division, mass.RoundUp)
	if most >= 0 {
		most = most.RoundTo(b.division, mass.RoundDown)
	}
	v.Lower = max(v.Lower, h.share(least))
	if most >= 0 {
		v.Upper = h.share(max(most, least))
	}
	if v.Upper < v.Lower {
		v.Upper = v.Lower
	}
	if !l.fine {
		h.divisions(p, k, b, float64(least/b.division), float64(max(most, least)/b.division))
	}
}

// nearest is the band whose amounts come nearest to m.
func (l *line) nearest(m mass.Mass) int {
	best, distance := 0, mass.Mass(math.MaxInt64)
	for i, b := range l.bands {
		d := max(b.low-m, 0)
		if b.high >= 0 {
			d = max(d, m-b.high)
		}
		if d < distance {
			best, distance = i, d
		}
	}
	return best
}

// like groups lines of which one can take the place of the other, the larger
// stock first: the same figures in every row, the same material, and no rule that
// names them by id.
func (h *whole) like() [][]int {
	named := map[string]bool{}
	note := func(g *Group) {
		for _, id := range g.Candidates {
			named[id] = true
		}
	}
	for i := range h.w.Rules {
		for g := range h.w.Rules[i].Groups {
			note(&h.w.Rules[i].Groups[g])
		}
	}
	for i := range h.w.Handling {
		note(&h.w.Handling[i].Of)
	}
	by := map[string][]int{}
	var order []string
	for k, j := range h.active {
		c := &h.p.Candidates[j]
		if named[c.ID] || c.AtLeast > 0 {
			continue
		}
		key := h.fingerprint(k)
		if by[key] == nil {
			order = append(order, key)
		}
		by[key] = append(by[key], k)
	}
	var out [][]int
	for _, key := range order {
		g := by[key]
		if len(g) < 2 {
			continue
		}
		stock := func(k int) mass.Mass {
			if a := h.p.Candidates[h.active[k]].Available; a >= 0 {
				return a
			}
			return math.MaxInt64
		}
		sort.SliceStable(g, func(x, y int) bool { return stock(g[x]) > stock(g[y]) })
		out = append(out, slices.Clone(g))
	}
	return out
}
