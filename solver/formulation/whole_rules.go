package formulation

import (
	"encoding/binary"
	"math"

	"millbase/solver"
)

// rules adds the rows of what goes together.
func (h *whole) rules(p *posed) {
	h.counts(p)
	for i := range h.w.Rules {
		r := &h.w.Rules[i]
		switch r.Kind {
		case IfThen:
			h.ifThen(p, r)
		case NeverBoth:
			h.neverBoth(p, r)
		case AtLeastOf:
			h.atLeastOf(p, r)
		case AtMostOf:
			h.atMostOf(p, r)
		}
	}
	for _, g := range h.like() {
		for i := 1; i < len(g); i++ {
			if a, b := p.used[g[i-1]], p.used[g[i]]; a >= 0 && b >= 0 {
				p.atMost("like lots", 0, item{b, 1}, item{a, -1})
			}
		}
	}
}

// counts limits the components, and those of one material.
func (h *whole) counts(p *posed) {
	var all []item
	of := map[string][]item{}
	var order []string
	for k, j := range h.active {
		if p.used[k] < 0 {
			continue
		}
		y := item{p.used[k], 1}
		all = append(all, y)
		if id := h.p.Candidates[j].Material; id != "" {
			if of[id] == nil {
				order = append(order, id)
			}
			of[id] = append(of[id], y)
		}
	}
	if n := h.w.AtMost; n > 0 && len(all) > n {
		p.atMost("components", float64(n), all...)
	}
	for _, id := range order {
		if n := h.w.LotsPerMaterial; n > 0 && len(of[id]) > n {
			p.atMost("lots of "+id, float64(n), of[id]...)
		}
	}
}

// members are the used columns of a group.
func (h *whole) members(p *posed, g *Group) []item {
	var out []item
	for k, j := range h.active {
		if p.used[k] >= 0 && g.Has(&h.p.Candidates[j]) {
			out = append(out, item{p.used[k], 1})
		}
	}
	return out
}

func (h *whole) ifThen(p *posed, r *Rule) {
	then := h.members(p, &r.Groups[1])
	for i := range then {
		then[i].value = -1
	}
	for _, y := range h.members(p, &r.Groups[0]) {
		p.atMost("if then", 0, append([]item{y}, then...)...)
	}
}

func (h *whole) neverBoth(p *posed, r *Rule) {
	var sides []item
	for g := range r.Groups {
		in := h.members(p, &r.Groups[g])
		switch len(in) {
		case 0:
		case 1:
			sides = append(sides, in[0])
		default:
			side := p.column(solver.Variable{Name: "side", Upper: 1})
			for _, y := range in {
				p.atMost("side", 0, y, item{side, -1})
			}
			sides = append(sides, item{side, 1})
		}
	}
	if len(sides) > 1 {
		p.atMost("never both", 1, sides...)
	}
}

// units are the members of a group by what they count as.
func (h *whole) units(p *posed, g *Group) [][]item {
	at := map[string]int{}
	var out [][]item
	for k, j := range h.active {
		c := &h.p.Candidates[j]
		if p.used[k] < 0 || !g.Has(c) {
			continue
		}
		u := g.unit(c)
		if _, ok := at[u]; !ok {
			at[u] = len(out)
			out = append(out, nil)
		}
		out[at[u]] = append(out[at[u]], item{p.used[k], 1})
	}
	return out
}

// atLeastOf: a unit counts, up to 1, when any of it is used.
func (h *whole) atLeastOf(p *posed, r *Rule) {
	var all []item
	for _, u := range h.units(p, &r.Groups[0]) {
		if len(u) > 1 {
			w := item{p.column(solver.Variable{Name: "unit", Upper: 1}), 1}
			p.atMost("unit", 0, append([]item{w}, scaled(u, -1)...)...)
			u = []item{w}
		}
		all = append(all, u[0])
	}
	if len(all) < r.Count {
		// There are not so many: a row that nothing meets. It must have an entry.
		all = append(all, item{p.column(solver.Variable{Name: "missing"}), 1})
	}
	p.atLeast("at least of", float64(r.Count), all...)
}

// atMostOf: a unit counts in full when any of it is used.
func (h *whole) atMostOf(p *posed, r *Rule) {
	var all []item
	for _, u := range h.units(p, &r.Groups[0]) {
		if len(u) > 1 {
			w := item{p.column(solver.Variable{Name: "unit", Upper: 1}), 1}
			for _, y := range u {
				p.atMost("unit", 0, y, item{w.column, -1})
			}
			u = []item{w}
		}
		all = append(all, u[0])
	}
	if len(all) > r.Count {
		p.atMost("at most of", float64(r.Count), all...)
	}
}

func scaled(items []item, by float64) []item {
	out := make([]item, len(items))
	for i, t := range items {
		out[i] = item{t.column, by * t.value}
	}
	return out
}

// fingerprint tells lines apart that can't take each other's place.
func (h *whole) fingerprint(k int) string {
	c := &h.p.Candidates[h.active[k]]
	rows, values := h.model.Column(k)
	key := make([]byte, 0, 16*len(rows)+64)
	key = append(append(append(key, c.Material...), 0), c.Class...)
	key = binary.LittleEndian.AppendUint64(key, math.Float64bits(h.model.Variables[k].Cost))
	for i, r := range rows {
		key = binary.LittleEndian.AppendUint32(key, uint32(r))
		key = binary.LittleEndian.AppendUint64(key, math.Float64bits(values[i]))
	}
	for i := range h.guards {
		m := h.moments[h.guards[i].term][k]
		for _, v := range [...]float64{m.num, m.both, m.den} {
			key = binary.LittleEndian.AppendUint64(key, math.Float64bits(v))
		}
	}
	return string(key)
}
