package formulation

import (
	"math"
	"sort"

	"millbase/inventory/mass"
)

// portion is the mass of one column.
type portion struct {
	column int
	mass   mass.Mass
	rest   float64 // mg cut off
}

// weigh rounds shares to whole milligrams. Where nothing is lost the masses add
// up to the quantity exactly: everything is rounded down, and the milligrams that
// are missing go to the largest remainders (Hamilton's method). Otherwise each
// is rounded to the nearest. No mass leaves the stock of its candidate.
func (b *built) weigh(x []float64) []portion {
	out := make([]portion, 0, 16)
	exact := true
	var sum mass.Mass
	for k, share := range x[:len(b.active)] {
		if share <= 0 {
			continue
		}
		c := &b.p.Candidates[b.active[k]]
		mg := share * float64(b.p.Quantity)
		whole := math.Floor(mg + 1e-6)
		if b.stays[k] != 1 {
			exact = false
		}
		m := max(mass.Mass(whole), c.AtLeast)
		if c.Available >= 0 {
			m = min(m, c.Available)
		}
		out = append(out, portion{k, m, mg - float64(m)})
		sum += m
	}
	if !exact {
		for i := range out {
			out[i].nudge(b, math.Round(out[i].rest))
		}
	} else {
		b.spread(out, b.p.Quantity-sum)
	}
	used := out[:0]
	for _, o := range out {
		if o.mass > 0 {
			used = append(used, o)
		}
	}
	return used
}

// nudge adds mg to a portion within what there is of it.
func (o *portion) nudge(b *built, mg float64) bool {
	c := &b.p.Candidates[b.active[o.column]]
	m := max(o.mass+mass.Mass(mg), c.AtLeast)
	if c.Available >= 0 {
		m = min(m, c.Available)
	}
	moved := m != o.mass
	o.rest -= float64(m - o.mass)
	o.mass = m
	return moved
}

// spread gives out missing milligrams (or takes back, when negative), one each,
// in the order of what was cut off.
func (b *built) spread(out []portion, missing mass.Mass) {
	if missing == 0 {
		return
	}
	order := make([]int, len(out))
	for i := range order {
		order[i] = i
	}
	step := 1.0
	if missing < 0 {
		step, missing = -1, -missing
	}
	sort.SliceStable(order, func(i, j int) bool { return step*out[order[i]].rest > step*out[order[j]].rest })
	for missing > 0 {
		moved := false
		for _, i := range order {
			if missing == 0 {
				break
			}
			// An even share at once: a formula of few large remainders must not
			// be filled milligram by milligram.
			n := max(1, missing/mass.Mass(len(order)))
			before := out[i].mass
			if out[i].nudge(b, step*float64(n)) {
				moved = true
			}
			missing -= mass.Mass(math.Abs(float64(out[i].mass - before)))
		}
		if !moved {
			return
		}
	}
}
