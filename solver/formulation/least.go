package formulation

import (
	"errors"
	"math"
	"slices"

	"millbase/inventory/property"
	"millbase/solver"
	"millbase/solver/checked"
	"millbase/solver/relax"
)

// hardWeight is how many times heavier a Hard limit is, once one must move.
const hardWeight = 1000

// stepCuts is how often a step is refined where values deviate: what a blend then
// needs is worked out exactly, and the next step starts from there.
const stepCuts = 4

// The other starting points: of at most so many limits, each pinned at so many
// places.
const (
	maxPinned = 12
	pinPlaces = 8
)

// least finds a blend for which the total weight of movements is least; possible
// is false when no movement of what may move helps.
//
// On the finished mass, of a property that blends linearly, a movement is linear
// in the blend, and one solve is exact. Elsewhere the movement of a bound v is
// |ratio(x) - v|, a quotient, and the problem is solved as a sequence of linear
// programs: at a blend x0 with movement d0 the row num(x) - (v+d) den(x) is linear
// but for d den(x), which is replaced by d0 den(x) + (d-d0) den(x0). For a single
// ratio this is Dinkelbach's method, which converges to the optimum (Management
// Science 13, 1967; from memory). For several it converges to a blend that no
// small change improves; then it starts again from blends in which one of the
// limits is pinned at places along its way, and keeps the best. The blends that meet what may not
// move are a convex set, so a step that does not improve is halved.
func (e *explainer) least(allowHard bool) (best []float64, possible bool, err error) {
	var movable []*bound
	for i := range e.bounds {
		if !e.bounds[i].hard || allowHard {
			movable = append(movable, &e.bounds[i])
		}
	}
	best, err = e.step(movable, nil, nil, 0)
	if err != nil || best == nil {
		return nil, false, unlessNumerical(err)
	}
	best, weight, err := e.descend(movable, best)
	if err != nil {
		return nil, false, err
	}
	for _, d := range e.starts(movable, best) {
		tried, w, err := e.pinned(movable, d)
		if err != nil {
			return nil, false, err
		}
		if tried != nil && w < weight*(1-1e-9) {
			best, weight = tried, w
		}
	}
	return best, true, nil
}

// pinned is the best blend that descents find from where bound d has moved a
// given part of the way that it would go if moving it cost nothing.
func (e *explainer) pinned(movable []*bound, d *bound) (best []float64, weight float64, err error) {
	t := &e.terms[d.limit]
	free := *d
	free.weight *= 1e-6
	rest := make([]*bound, 0, len(movable))
	for _, o := range movable {
		if o != d {
			rest = append(rest, o)
		}
	}
	x, err := e.step(append(rest[:len(rest):len(rest)], &free), nil, nil, 0)
	if err != nil || x == nil {
		return nil, 0, unlessNumerical(err)
	}
	from := t.value(t.bound(d.low))
	far, _ := e.reach(d.limit, d.low, x)
	way := t.value(far) - from
	if d.outward()*(far-t.bound(d.low)) <= 0 || math.IsInf(way, 0) || math.IsNaN(way) {
		return nil, 0, nil
	}
	for k := range pinPlaces + 1 {
		at := t.def.Forward(from + way*float64(k)/pinPlaces)
		x, err := e.step(rest, nil, d, at)
		if err != nil {
			return nil, 0, err
		}
		if x == nil {
			continue
		}
		x, w, err := e.descend(movable, x)
		if err != nil {
			return nil, 0, err
		}
		if best == nil || w < weight {
			best, weight = x, w
		}
	}
	return best, weight, nil
}

// starts are the limits to pin for other starting points: what moves in x, then
// the members of the clash, then the rest. There are none when every movement is
// linear, and the optimum is sure.
func (e *explainer) starts(movable []*bound, x []float64) []*bound {
	var moving, members, others []*bound
	curved := false
	for _, d := range movable {
		if d.limit < 0 {
			continue
		}
		t := &e.terms[d.limit]
		curved = curved || !t.ofInk || t.def.Index != property.Linear
		if _, moves := e.movement(d, x); moves {
			moving = append(moving, d)
		} else if slices.Contains(e.members, d) {
			members = append(members, d)
		} else {
			others = append(others, d)
		}
	}
	if !curved {
		return nil
	}
	moving = append(append(moving, members...), others...)
	return moving[:min(len(moving), maxPinned)]
}

// descend takes steps from x until none improves.
func (e *explainer) descend(movable []*bound, x []float64) (best []float64, weight float64, err error) {
	best, weight = x, e.weigh(movable, x)
	for range 30 {
		x, err := e.step(movable, best, nil, 0)
		if err != nil || x == nil {
			return best, weight, unlessNumerical(err)
		}
		w := e.weigh(movable, x)
		for halvings := 0; !(w < weight) && halvings < 20; halvings++ {
			for k := range x {
				x[k] = (x[k] + best[k]) / 2
			}
			w = e.weigh(movable, x)
		}
		if !(w < weight*(1-1e-9)) {
			break
		}
		best, weight = x, w
	}
	return best, weight, nil
}

// weigh is the total weight of the movements that the blend x needs.
func (e *explainer) weigh(movable []*bound, x []float64) float64 {
	sum := 0.0
	for _, d := range movable {
		if m, ok := e.movement(d, x); ok {
			if m.Hard {
				m.Weight *= hardWeight
			}
			sum += m.Weight
		}
	}
	return sum
}

// step solves the linear program at x0 (nil at the start), with the bound
// pin, if any, fixed at a ratio, and returns its blend, nil when there is none.
func (e *explainer) step(movable []*bound, x0 []float64, pin *bound, ratio float64) ([]float64, error) {
	at := *e.built                                                           // with the bounds moved to where x0 has them
	at.terms, at.rows, at.model = slices.Clone(e.terms), nil, solver.Model{} // its own
	at.guards = slices.Clone(e.guards)                                       // what it learns is forgotten
	back := make([]float64, len(movable))                                    // what takes the movement so far back
	elastic := make([]relax.Movable, len(movable))
	for i, d := range movable {
		elastic[i] = relax.Movable{Limit: d.row, Penalty: d.weight * e.p.Quantity.Kilograms()}
		if d.column >= 0 {
			continue
		}
		t := &e.terms[d.limit]
		from, to, den := t.bound(d.low), t.bound(d.low), 1.0
		switch {
		case x0 != nil:
			if r, base := e.reach(d.limit, d.low, x0); base > 0 {
				if !t.ofInk {
					den = base
				}
				if d.outward()*(r-from) > 0 {
					to = r
				}
			}
		case !t.ofInk:
			den = e.typical(d.limit)
		}
		if !t.ofInk {
			back[i] = (from - to) * den
			at.terms[d.limit].setBound(d.low, to)
		}
		elastic[i].Penalty = d.weight / (math.Abs(t.def.Slope(t.value(to))) * den)
		if d.hard {
			elastic[i].Penalty *= hardWeight
		}
	}
	if pin != nil {
		at.terms[pin.limit].setBound(pin.low, ratio)
	}
	at.makeModel()
	for i, d := range movable {
		if d.column < 0 {
			scale := at.moveRow(d, back[i])
			elastic[i].Penalty = min(max(elastic[i].Penalty/scale, 1e-9), 1e15)
		}
	}
	for round := 0; ; round++ {
		found, err := relax.Least(e.ctx, e.engine, &at.model, elastic)
		if err != nil || !found.Possible {
			return nil, err
		}
		if round == stepCuts || at.cut(found.X) == 0 {
			return found.X, nil
		}
	}
}

// moveRow sets the right-hand side of a ratio's row and returns its scale.
func (b *built) moveRow(d *bound, back float64) (scale float64) {
	row, pair := &b.model.Rows[d.row.Number], &b.rows[d.limit]
	scale = pair.upperScale
	if d.low {
		scale = pair.lowerScale
	}
	switch {
	case b.terms[d.limit].ofInk:
	case d.low:
		row.Lower = back * scale
	default:
		row.Upper = back * scale
	}
	return scale
}

func (t *term) setBound(low bool, to float64) {
	if low {
		t.lower = to
	} else {
		t.upper = to
	}
}

// typical is the mean denominator of a term over its candidates.
func (b *built) typical(i int) float64 {
	n, sum := len(b.active), 0.0
	for _, v := range b.den[i*b.width():][:n] {
		sum += v
	}
	if sum == 0 {
		return 1
	}
	return sum / float64(n)
}

// isNumerical reports whether err is about an answer that can't be trusted.
func isNumerical(err error) bool {
	var c *checked.Error
	return errors.Is(err, ErrNumerical) || errors.As(err, &c)
}
