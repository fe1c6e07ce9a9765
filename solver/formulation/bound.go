package formulation

import (
	"math"

	"millbase/solver/relax"
)

// bound is one thing that can give: a side of a limit, or the stock or AtLeast of
// a candidate.
type bound struct {
	limit  int  // index into terms, -1 for stock
	column int  // -1 for a limit
	low    bool // a lower bound, of the ratio or of the share
	row    relax.Limit
	// weight per unit of the limit, or per kg of stock.
	weight float64
	hard   bool
}

// bounds lists everything that can give.
func (b *built) bounds() []bound {
	out := make([]bound, 0, 2*len(b.terms)+len(b.active))
	for i := range b.terms {
		t, pair := &b.terms[i], &b.rows[i]
		side := bound{limit: i, column: -1, weight: t.limit.moveWeight(), hard: t.limit.Hard}
		if !math.IsInf(t.lower, 0) {
			side.low, side.row = true, relax.Row(int(pair.lower), relax.Lower)
			out = append(out, side)
		}
		if !math.IsInf(t.upper, 0) {
			side.low, side.row = false, relax.Row(int(pair.upper), relax.Upper)
			out = append(out, side)
		}
	}
	stock := bound{limit: -1, weight: 100 / b.p.Quantity.Kilograms()}
	for k := range b.active {
		v := &b.model.Variables[k]
		stock.column = k
		if v.Lower > 0 {
			stock.low, stock.row = true, relax.Variable(k, relax.Lower)
			out = append(out, stock)
		}
		if !math.IsInf(v.Upper, 1) {
			stock.low, stock.row = false, relax.Variable(k, relax.Upper)
			out = append(out, stock)
		}
	}
	return out
}

// moveWeight is the weight of moving the limit by one unit.
func (l *Limit) moveWeight() float64 {
	if l.MoveWeight > 0 {
		return l.MoveWeight
	}
	return 100 / l.size()
}

// ratio is numerator over denominator of a term at shares x; den is 0 where
// there is nothing to relate to.
func (b *built) ratio(i int, x []float64) (r, den float64) {
	num, n := 0.0, b.width()
	for k, share := range x[:len(b.active)] {
		if share != 0 {
			num += share * b.num[i*n+k]
			den += share * b.den[i*n+k]
		}
	}
	return num / den, den
}

// outward is the sign of the direction in which the bound gives.
func (d *bound) outward() float64 {
	if d.low {
		return -1
	}
	return 1
}

// movement is how the bound must move, in its own unit, for the blend x; ok is
// false when x meets it as it is. Its weight is +Inf where no movement does.
func (b *built) movement(d *bound, x []float64) (m Movement, ok bool) {
	if d.column >= 0 {
		v := &b.model.Variables[d.column]
		from := v.Upper
		if d.low {
			from = v.Lower
		}
		over := d.outward() * (x[d.column] - from)
		if over <= least {
			return m, false
		}
		return b.stockMovement(d, from, x[d.column]), true
	}
	t := &b.terms[d.limit]
	from := t.bound(d.low)
	r, den := b.reach(d.limit, d.low, x)
	if !(den > 0) {
		if math.IsNaN(r) {
			return m, false
		}
		return Movement{Limit: d.limit, Candidate: -1, Weight: math.Inf(1)}, true
	}
	size := math.Abs(t.def.Slope(t.value(from))) * t.limit.size()
	if d.outward()*(r-from) <= least*max(size, math.Abs(from)*1e-3) {
		return m, false
	}
	return b.limitMovement(d, r), true
}

// least is the relative movement below which a bound counts as met: about what
// engines call feasible.
const least = 2e-7

func (b *built) stockMovement(d *bound, from, to float64) Movement {
	q := b.p.Quantity.Kilograms()
	return Movement{Limit: -1, Candidate: int(b.active[d.column]), Side: sideOf(d.low),
		From: from * q, To: to * q, Weight: math.Abs(to-from) * q * d.weight}
}

func (b *built) limitMovement(d *bound, ratio float64) Movement {
	t := &b.terms[d.limit]
	from, to := t.value(t.bound(d.low)), t.value(ratio)
	if math.Abs(to) < least*math.Abs(from) {
		to = 0 // nothing gives it at all
	}
	return Movement{Limit: d.limit, Candidate: -1, Side: sideOf(d.low == t.def.Increasing()),
		From: from, To: to, Weight: math.Abs(to-from) * d.weight, Hard: d.hard}
}

// bound is one of the bounds of the ratio.
func (t *term) bound(low bool) float64 {
	if low {
		return t.lower
	}
	return t.upper
}

func sideOf(low bool) Side {
	if low {
		return AtLower
	}
	return AtUpper
}
