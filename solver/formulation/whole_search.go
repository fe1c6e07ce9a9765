package formulation

import (
	"math"
	"time"

	"millbase/inventory/mass"
	"millbase/solver"
)

// found is the best weighable formula of a search.
type found struct {
	masses []mass.Mass // per column; nil for none
	value  float64     // of the objective, per kg of the quantity
	bound  float64     // no weighable formula has less
	none   bool        // there is none, proven
	iters  int
	engine string
}

// Parts of the time limit for the two large searches and the small one.
const (
	structureTime = 0.65
	refineTime    = 0.20
	everyTime     = 0.15
)

// search finds the cheapest weighable formula, or how far it got.
func (h *whole) search() (*found, error) {
	f := &found{bound: h.free.Objective}
	x := h.free.X
	whole := false
	if !h.obeys(x) {
		s, err := h.solve(h.pose(asked{}), h.w.Gap/4, structureTime)
		if err != nil {
			return nil, err
		}
		f.note(s)
		if f.none {
			return f, nil
		}
		if x, whole = h.point(s), h.allCoarse(); x == nil {
			x = h.pare()
		}
	}
	if x != nil {
		if err := h.refine(f, x); err != nil {
			return nil, err
		}
	}
	if h.proven(f) || whole || h.ctx.Err() != nil {
		return f, nil
	}
	s, err := h.solve(h.pose(asked{every: true}), h.w.Gap/2, everyTime)
	if err != nil {
		return nil, err
	}
	f.note(s)
	if x = h.point(s); x != nil && !f.none {
		err = h.refine(f, x)
	}
	return f, err
}

// proven reports whether f is as good as is asked for.
func (h *whole) proven(f *found) bool {
	return f.masses != nil && f.value-f.bound <= max(h.w.Gap, 1e-7)*math.Abs(f.value)+1e-9
}

// pare is a quick way to a formula for when the search found none in its time: the
// smallest component is left out, again and again, unless there is no blend without
// it, until the rules are obeyed. It is nil when that leads nowhere.
func (h *whole) pare() []float64 {
	m := h.base().model()
	kept := make([]bool, len(h.lines))
	var start *solver.Basis
	last, was := -1, 0.0
	for range 3 * len(h.lines) {
		a, _, err := solve(h.ctx, h.engine, m, solver.Options{Start: start})
		if err != nil || a.Stop != solver.StopOptimal {
			if last < 0 {
				return nil
			}
			m.Variables[last].Upper, kept[last], last = was, true, -1
			continue
		}
		x := a.X[:len(h.lines)]
		if start = a.Basis; h.obeys(x) {
			return x
		}
		last = -1
		for k, share := range x {
			if share > 1e-9 && !kept[k] && m.Variables[k].Lower == 0 && (last < 0 || share < x[last]) {
				last = k
			}
		}
		if last < 0 {
			return nil
		}
		was, m.Variables[last].Upper = m.Variables[last].Upper, 0
	}
	return nil
}

// note takes over what a solve of a relaxation proves.
func (f *found) note(s *solver.Solution) {
	f.iters, f.engine = f.iters+s.Iterations, s.Engine
	switch s.Stop {
	case solver.StopInfeasible:
		f.none = f.masses == nil
	case solver.StopOptimal, solver.StopLimit, solver.StopCancelled:
		if s.Bound > f.bound && !math.IsInf(s.Bound, 0) {
			f.bound = s.Bound
		}
	}
}

// solve solves a model of the search in a part of the time.
func (h *whole) solve(p *posed, gap, part float64) (*solver.Solution, error) {
	o := solver.Options{Gap: gap}
	if h.w.TimeLimit > 0 {
		o.TimeLimit = max(time.Millisecond, time.Duration(part*float64(h.w.TimeLimit)))
	}
	return h.engine.Solve(h.ctx, p.model(), o)
}

// point is the shares of a solution, nil where there are none.
func (h *whole) point(s *solver.Solution) []float64 {
	if s.Primal != solver.FeasiblePoint || len(s.X) < len(h.lines) {
		return nil
	}
	return s.X[:len(h.lines)]
}

// allCoarse reports whether the first search had every division in it.
func (h *whole) allCoarse() bool {
	for k := range h.lines {
		if l := &h.lines[k]; l.upper > 0 && !l.coarse {
			return false
		}
	}
	return true
}

// obeys reports whether a blend obeys every rule but for divisions that are not
// coarse, so that only those are left to find.
func (h *whole) obeys(x []float64) bool {
	masses := make([]mass.Mass, len(h.p.Candidates))
	for k, j := range h.active {
		l := &h.lines[k]
		if x[k] <= 1e-9 {
			continue
		}
		if len(l.bands) == 0 {
			return false
		}
		m := mass.Mass(math.Round(x[k] * float64(h.p.Quantity)))
		b := l.bands[l.nearest(m)]
		if m < b.low || b.high >= 0 && m > b.high+b.division {
			return false
		}
		if d := m.RoundTo(b.division, mass.RoundHalfEven); l.coarse && math.Abs(x[k]-h.share(d)) > 1e-9 {
			return false
		}
		masses[j] = max(m, 1)
	}
	c := weighed{p: h.p, w: h.w, masses: masses}
	c.counts()
	for i := range h.w.Rules {
		c.rule(&h.w.Rules[i])
	}
	return len(c.broken) == 0
}

// refine finds whole divisions near the shares x, and keeps them in f if they are
// the best so far and pass every check.
func (h *whole) refine(f *found, x []float64) error {
	if m := h.round(x); h.keep(f, m) && h.proven(f) {
		return nil
	}
	around := make([]mass.Mass, len(h.lines))
	for k := range around {
		if x[k] > 1e-9 && len(h.lines[k].bands) > 0 {
			around[k] = max(1, mass.Mass(math.Round(x[k]*float64(h.p.Quantity))))
		}
	}
	if y, err := h.roomy(around); err != nil {
		return err
	} else if y != nil && h.keep(f, h.round(y)) && h.proven(f) {
		return nil
	}
	for _, inward := range []bool{false, true} {
		if inward && !h.anyFine(around) {
			break
		}
		s, err := h.solve(h.pose(asked{around: around, inward: inward}), max(h.w.Gap/2, refined), refineTime/2)
		if err != nil {
			return unlessNumerical(err)
		}
		if y := h.point(s); y != nil && h.keep(f, h.round(y)) {
			return nil
		}
	}
	return nil
}

// roomy is the cheapest blend of the same components within limits that are drawn
// in by half a division of each: its rounding mostly meets them, at little cost.
func (h *whole) roomy(around []mass.Mass) ([]float64, error) {
	p := h.pose(asked{around: around})
	room := make([]float64, len(p.rows))
	for k, m := range around {
		if m > 0 {
			half := h.share(h.lines[k].bands[h.lines[k].nearest(m)].division) / 2
			for _, e := range p.entries[k] {
				room[e.Row] += math.Abs(e.Value) * half
			}
		}
	}
	for i := 1; i < len(p.rows); i++ {
		if r := &p.rows[i]; r.Upper-r.Lower > 2*room[i] {
			r.Lower, r.Upper = r.Lower+room[i], r.Upper-room[i]
		}
	}
	s, _, err := solve(h.ctx, h.engine, p.model().Relaxed(), solver.Options{})
	if err != nil {
		return nil, unlessNumerical(err)
	}
	return h.point(s), nil
}

// refined is the gap to which amounts are refined: nothing is proved by it.
const refined = 1e-6

// anyFine reports whether a formula has divisions that the model does not count.
func (h *whole) anyFine(around []mass.Mass) bool {
	for k, m := range around {
		if m > 0 && h.lines[k].fine {
			return true
		}
	}
	return false
}

// keep takes masses over when they pass every check and are the best so far; it
// reports whether they pass.
func (h *whole) keep(f *found, masses []mass.Mass) bool {
	if !h.passes(masses) {
		return false
	}
	if v := h.value(masses); f.masses == nil || v < f.value {
		f.masses, f.value = masses, v
	}
	return true
}

// value is the objective of a formula.
func (h *whole) value(masses []mass.Mass) float64 {
	sum, made := 0.0, 0.0
	for k, m := range masses {
		if m > 0 {
			sum += h.share(m) * h.model.Variables[k].Cost
			made += h.share(m) * h.stays[k]
		}
	}
	if h.tol > 0 {
		sum -= h.last * (made - 1)
	}
	return sum
}

// passes checks a formula: every limit by Evaluate's arithmetic, the quantity, and
// the rules in whole milligrams.
func (h *whole) passes(masses []mass.Mass) bool {
	all := make([]mass.Mass, len(h.p.Candidates))
	portions := make([]portion, 0, 16)
	for k, m := range masses {
		if m > 0 {
			all[h.active[k]] = m
			portions = append(portions, portion{column: k, mass: m})
		}
	}
	if len(portions) == 0 || len(CheckWeighing(h.p, all)) > 0 {
		return false
	}
	_, broken := h.check(h.asked, portions)
	return broken < 0
}

// round is the formula of whole divisions nearest to shares x. Where nothing is
// lost, fine divisions are given out so that the masses add up to what x makes.
func (h *whole) round(x []float64) []mass.Mass {
	q := float64(h.p.Quantity)
	out := make([]mass.Mass, len(h.lines))
	rest := make([]float64, len(h.lines))
	made, exact := 0.0, true
	var sum mass.Mass
	for k := range h.lines {
		l := &h.lines[k]
		made += x[k] * h.stays[k]
		if x[k] <= 1e-9 || len(l.bands) == 0 {
			continue
		}
		exact = exact && h.stays[k] == 1
		b := l.bands[l.nearest(mass.Mass(math.Round(x[k]*q)))]
		m := mass.RoundKilograms(x[k]*q/1e6, mass.RoundHalfEven).RoundTo(b.division, mass.RoundHalfEven)
		m = max(m, b.low)
		if b.high >= 0 {
			m = min(m, b.high)
		}
		out[k], rest[k] = m, x[k]*q-float64(m)
		sum += m
	}
	if exact {
		target := mass.Mass(math.Round(min(max(made, 1-h.tol), 1+h.tol) * q))
		h.giveOut(out, rest, target-sum)
	}
	return out
}

// giveOut gives missing mass out in divisions (or takes it back, when negative),
// the coarsest that fit first, and of those to the largest remainders.
func (h *whole) giveOut(out []mass.Mass, rest []float64, missing mass.Mass) {
	for missing != 0 {
		best, step := -1, mass.Mass(0)
		for k, m := range out {
			if m == 0 {
				continue
			}
			l := &h.lines[k]
			b := l.bands[l.nearest(m)]
			d := b.division
			if d > max(missing, -missing) || d < step {
				continue
			}
			if missing < 0 {
				d = -d
			}
			if m+d < b.low || b.high >= 0 && m+d > b.high {
				continue
			}
			if b.division > step || best < 0 || rest[k]*float64(d) > rest[best]*float64(d) {
				best, step = k, b.division
			}
		}
		if best < 0 {
			return
		}
		if n := missing / step / mass.Mass(len(out)); n > 1 || n < -1 {
			h.give(out, rest, best, n*step, &missing)
			continue
		}
		d := step
		if missing < 0 {
			d = -d
		}
		h.give(out, rest, best, d, &missing)
	}
}

// give moves one line within its band.
func (h *whole) give(out []mass.Mass, rest []float64, k int, d mass.Mass, missing *mass.Mass) {
	l := &h.lines[k]
	b := l.bands[l.nearest(out[k])]
	m := max(out[k]+d, b.low)
	if b.high >= 0 {
		m = min(m, b.high)
	}
	*missing -= m - out[k]
	rest[k] -= float64(m - out[k])
	out[k] = m
}
