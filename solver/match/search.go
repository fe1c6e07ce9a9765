package match

import (
	"context"
	"math"
	"slices"

	"millbase/solver"
)

// These say when the search is there. A difference of a thousandth is far below
// what an instrument tells.
const (
	steps      = 60
	sameDE     = 1e-6
	sameCost   = 1e-5 // of the cost
	wide       = 8.0  // a part, as in bound, from which shares are not kept near
	repeatable = 0.02 // differences no further apart than this count as the same
)

// nearest descends from a start to the least difference: around each point the
// program finds the mixture that is nearest to first order, and the way there is
// gone as far as the true difference falls. The points meet every limit.
func (s *program) nearest(start point) (point, error) {
	s.closest()
	defer s.unbound()
	at, part, right := start, math.Inf(1), 0.01
	for range steps {
		if !finite(at.de) || at.de < sameDE {
			break
		}
		s.around(at.x)
		if part < wide {
			s.bound(at.x, part)
		} else {
			s.unbound()
		}
		last, ok, err := s.solve(right * at.de)
		if err != nil || !ok {
			return at, err
		}
		hoped := at.de - last.X[s.excess]
		if hoped < sameDE*max(1, at.de) {
			break
		}
		to := s.point(last.X)
		full := to
		t := 1.0
		for t > 1e-3 && !(to.de < at.de-0.05*t*hoped && s.guards(to)) {
			t /= 2
			to = s.between(at, full, t)
		}
		if part *= 2; t < 0.2 {
			part, right = 0.15*min(part, wide), max(1e-5, 0.2*right)
		}
		if to.de < at.de-sameDE && s.guards(to) {
			at = to
		} else if part < 1e-3 {
			break
		}
	}
	return at, nil
}

// guards reports whether a point keeps to the guard: a little more than what the
// program is held to, so that a step that is short enough always does.
func (s *program) guards(p point) bool {
	return s.guard == nil || p.other <= s.guard.allowed*1.02
}

// cheaper descends from a mixture to the least cost within a difference. On the
// way the difference may be beyond, at a price above what it is worth; at the end
// what is still beyond is drawn back towards inner, a mixture that is within. It
// gives up, with no x, when it sees that it will not come below the cost beat.
func (s *program) cheaper(inner, start point, difference, beat float64) (point, error) {
	at, ok, err := s.descend(start, difference, beat)
	if err != nil || !ok {
		return point{}, err
	}
	if at.de > difference {
		if inner.x == nil {
			if inner, err = s.nearest(at); err != nil || inner.de > difference {
				return point{}, err
			}
		}
		at = s.drawnBack(inner, at, difference)
	}
	return at, nil
}

// descend is cheaper before the last is drawn back: sequential linear programming
// with a trust region, judged by the cost and the difference beyond at a price
// (R. Fletcher, Practical Methods of Optimization, 1987, section 14.4). ok is false
// when it gave up.
func (s *program) descend(start point, difference, beat float64) (at point, ok bool, err error) {
	s.within(difference)
	defer s.unbound()
	over := func(de float64) float64 { return max(0, de-difference) }
	at = start
	part, right, price, fresh := 4.0, 0.1, 0.0, false
	for range steps {
		if !fresh {
			s.around(at.x)
			fresh = true
		}
		s.bound(at.x, part)
		last, ok, err := s.solve(right * difference)
		if err != nil || !ok {
			return at, err == nil, err
		}
		to := s.point(last.X)
		price = max(1.5*s.price(last), 0.7*price)
		most := at.cost - to.cost + price*over(at.de) // that it can bring, to first order
		if most <= sameCost*math.Abs(at.cost) {
			break
		}
		hoped := most - price*over(length(s.vector(&s.main, to.x)))
		if hoped < 0.5*most { // the cuts are too coarse
			if right *= 0.1; right < 1e-7 {
				break
			}
			continue
		}
		if at.cost+price*over(at.de)-1.5*most > beat {
			return at, false, nil
		}
		saved := most - price*over(to.de)
		if saved > 0.05*hoped {
			at, fresh = to, false
		}
		switch {
		case saved < 0.25*hoped:
			part *= 0.3
		case saved > 0.75*hoped:
			part *= 2
		}
		if part < 1e-6 {
			break
		}
		right = min(0.1, max(1e-6, 0.05*hoped/(price*difference)))
	}
	return at, true, nil
}

// price is what the last bit of difference is worth in a solution.
func (s *program) price(last *solver.Solution) float64 {
	sum := 0.0
	for _, y := range last.RowDual[s.main.first : s.main.first+s.main.n] {
		sum += math.Abs(y)
	}
	return sum
}

// drawnBack is the last point on the way from one within the difference to one
// beyond that is still within.
func (s *program) drawnBack(from, to point, difference float64) point {
	if from.de > difference {
		return from
	}
	low, high, best := 0.0, 1.0, from
	lowDE, highDE := from.de-difference, to.de-difference
	for range 30 {
		// Regula falsi, kept from the ends.
		t := low + (high-low)*min(0.95, max(0.05, lowDE/(lowDE-highDE)))
		p := s.between(from, to, t)
		if p.de <= difference {
			low, lowDE, best = t, p.de-difference, p
			if p.de > difference-1e-6 {
				break
			}
		} else {
			high, highDE = t, p.de-difference
		}
		if high-low < 1e-9 {
			break
		}
	}
	return best
}

// starts are mixtures that meet every limit to begin from, the nearest to the
// target first: the cheapest without the shade, and on the way from it to the most
// of each base. None: no mixture meets the limits.
func (s *program) starts() ([]point, error) {
	s.open()
	first, ok, err := s.solve(math.Inf(1))
	if err != nil || !ok {
		return nil, err
	}
	plain := s.point(first.X)
	out := []point{plain}
	for k, at := range s.slot {
		if at < 0 || s.most[k] <= s.lower[k] {
			continue
		}
		for i := range s.cost {
			s.model.Variables[i].Cost = 0
		}
		s.model.Variables[k].Cost = -1
		most, ok, err := s.solve(math.Inf(1))
		if err != nil || !ok {
			return nil, err
		}
		full := s.point(most.X)
		for _, t := range [...]float64{0.03, 0.12, 0.4, 0.9} {
			out = append(out, s.between(plain, full, t))
		}
	}
	slices.SortStableFunc(out, func(a, b point) int {
		switch {
		case a.de < b.de:
			return -1
		case a.de > b.de:
			return 1
		}
		return 0
	})
	return out, nil
}

// open lets any difference through.
func (s *program) open() {
	s.within(0)
	s.basis = nil
	s.model.Variables[s.excess].Upper = math.Inf(1)
	s.loosen(&s.main)
}

// enough is the difference at which a further start is not tried.
const enough = 0.05

// closestOf descends from several starts and returns the nearest mixture.
func (s *program) closestOf(starts []point, tries int) (point, error) {
	best := point{de: math.Inf(1)}
	for i := range min(tries, len(starts)) {
		p, err := s.nearest(starts[i])
		if err != nil {
			return best, err
		}
		if best.x == nil || p.de < best.de {
			best = p
		}
		if best.de < enough || s.ctx.Err() != nil {
			break
		}
	}
	return best, context.Cause(s.ctx)
}

// cheapestOf is the cheapest mixture within a difference: down from the nearest
// one, and again without each base that the best one has, for where other bases
// give the colour for less.
func (s *program) cheapestOf(starts []point, nearest point, difference float64) (point, error) {
	best, err := s.cheaper(nearest, nearest, difference, math.Inf(1))
	if err != nil {
		return best, err
	}
	for k := range best.x {
		if s.slot[k] < 0 || best.x[k] < 1e-6 || s.most[k] <= s.lower[k] {
			continue
		}
		beat := best.cost - 10*sameCost*math.Abs(best.cost)
		other, err := s.without(k, best, difference, beat)
		if err != nil {
			return best, err
		}
		if other.x != nil && other.cost < beat {
			if best, err = s.cheaper(other, other, difference, math.Inf(1)); err != nil {
				return best, err
			}
		}
	}
	return best, nil
}

// without is the cheapest mixture within a difference that does without column k;
// no x: there is none below the cost beat.
func (s *program) without(k int, from point, difference, beat float64) (point, error) {
	most := s.most[k]
	s.most[k] = s.lower[k]
	s.unbound()
	defer func() { s.most[k] = most; s.unbound() }()
	// The first step keeps to the limits; the point that it starts from need not.
	s.within(difference)
	s.around(from.x)
	last, ok, err := s.solve(0.1 * difference)
	if err != nil || !ok {
		return point{}, err
	}
	return s.cheaper(point{}, s.point(last.X), difference, beat)
}
