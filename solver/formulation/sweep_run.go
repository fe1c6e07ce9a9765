package formulation

import (
	"math"
	"slices"

	"millbase/solver"
)

// run steps from the loose end to the tight one.
func (w *sweep) run() error {
	edge, more, err := w.start()
	if err != nil || !more {
		return err
	}
	step, filling := firstStep, false
	for {
		place := edge - float64(w.outward())*step*w.size(edge)
		if !w.looser(place, w.tight) {
			place = (edge + w.tight) / 2
		}
		s, err := w.at(place)
		if err != nil && !isNumerical(err) {
			return err
		}
		switch {
		case err != nil:
		case w.out.Outcome == Unbounded || w.out.Outcome == Unfinished:
			return nil
		case s.Stop == solver.StopInfeasible:
			return w.finish(EndInfeasible)
		}
		g, next := w.after(s, place)
		if g == nil {
			// Too near for the engine to tell, or rounding calls the old basis
			// optimal still: look further on.
			if step *= 4; step > lastStep {
				return w.finish(EndCut)
			}
			continue
		}
		if gap := math.Abs(edge-g.loose) / w.size(edge); w.looser(edge, g.loose) && gap > leastGap && !filling {
			step, filling = gap/2, true // another basis between the two
			continue
		}
		filling = false
		w.add(g, edge, next)
		edge, step = next, firstStep
		switch {
		case g.cut && edge != w.tight:
			return w.finish(EndCut)
		case edge == w.tight:
			return w.finish(w.tightEnd())
		case len(w.out.Segments) >= maxSegments:
			return w.finish(EndCut)
		}
	}
}

// after is the stretch of the optimum s at a place and where it ends; nil when it
// ends where it begins.
func (w *sweep) after(s *solver.Solution, place float64) (g *stretch, next float64) {
	if s == nil {
		return nil, 0
	}
	g = w.stretch(s, place)
	next = w.within(g.tight)
	if !w.looser(place, next) && next != w.tight {
		return nil, 0
	}
	return g, next
}

// within is a place that is not nearer than the tight end, nor nearly there.
func (w *sweep) within(place float64) float64 {
	if !w.looser(place, w.tight) || !math.IsInf(w.tight, 0) && math.Abs(place-w.tight) <= sameplace*w.size(w.tight) {
		return w.tight
	}
	return place
}

// tightEnd says why the frontier stops at w.tight.
func (w *sweep) tightEnd() End {
	for _, v := range []*float64{w.along.From, w.along.To} {
		if v != nil && w.parameter(*v) == w.tight {
			return EndAsked
		}
	}
	return EndBound
}

// start solves without the bound and finds the place from which on it binds. With
// a loose end asked for, or a bound given, beyond that, the first segment is flat.
func (w *sweep) start() (edge float64, more bool, err error) {
	s, err := w.at(math.Inf(w.outward()))
	if err != nil || w.out.Outcome != "" {
		return 0, false, err
	}
	if s.Stop == solver.StopInfeasible {
		w.out.Outcome = Infeasible
		return 0, false, nil
	}
	g := w.flat(s)
	outer := w.loose
	if math.IsInf(outer, 0) {
		outer = w.given
	}
	beyond := EndFree
	switch {
	case math.IsNaN(g.tight): // neither side of the ratio is there: it never binds
		g.tight = w.tight
		if math.IsInf(g.tight, 0) || math.IsInf(outer, 0) {
			return 0, false, FieldErrors{{"limit", "nothing of what it is about is in the cheapest formula; give both ends of the range to look at"}}
		}
	case math.IsInf(g.tight, 0) && math.IsInf(outer, 0):
		return 0, false, FieldErrors{{"limit", "the cheapest formula without it has nothing to relate it to; give the end of the range to start from"}}
	}
	edge = w.within(g.tight)
	switch {
	case !w.looser(outer, g.tight) && (!math.IsInf(w.loose, 0) || math.IsInf(g.tight, 0)):
		edge, beyond = outer, EndAsked
	case !math.IsInf(outer, 0) && w.looser(outer, g.tight):
		w.add(g, outer, edge)
	}
	if w.out.Side == AtLower {
		w.out.Low = beyond
	} else {
		w.out.High = beyond
	}
	if !w.looser(edge, w.tight) {
		if len(w.out.Segments) == 0 {
			w.add(g, edge, edge)
		}
		return edge, false, w.finish(w.tightEnd())
	}
	return edge, true, nil
}

// finish sets the tight end and puts the segments in order.
func (w *sweep) finish(end End) error {
	w.out.Outcome = Optimal
	if len(w.out.Segments) == 0 {
		w.out.Outcome = Infeasible
	}
	if w.out.Side == AtLower {
		w.out.High = end
		return nil
	}
	w.out.Low = end
	slices.Reverse(w.out.Segments)
	return nil
}

// size is what a place is large or small beside.
func (w *sweep) size(place float64) float64 {
	if w.column >= 0 {
		return max(math.Abs(place), 1e-3)
	}
	return max(math.Abs(place), 1e-3*w.sizeOf(w.along.Limit))
}

// stretch is an optimum and how it moves with the bound.
type stretch struct {
	s     *solver.Solution
	path  *solver.Path // nil where the bound does not bind
	place float64      // where it was solved
	scale float64      // factor of the row
	tight float64      // how near the bound may come
	loose float64      // how far it may give
	cut   bool         // it goes on for ever from there
}

// flat is the stretch on which the bound does not bind.
func (w *sweep) flat(s *solver.Solution) *stretch {
	g := &stretch{s: s, loose: math.Inf(w.outward())}
	if w.column >= 0 {
		g.tight = s.X[w.column]
	} else {
		g.tight, _ = w.ratio(w.along.Limit, s.X)
	}
	return g
}

// stretch is the stretch of an optimum at a place.
func (w *sweep) stretch(s *solver.Solution, place float64) *stretch {
	g := w.flat(s)
	g.place = place
	g.path, g.scale = w.path(s)
	if g.path == nil {
		return g
	}
	end, other := g.path.Lower, g.path.Upper
	if w.low {
		end, other = other, end
	}
	g.tight, g.loose = place+g.path.Ratio(end)/g.scale, place+g.path.Ratio(other)/g.scale
	if math.IsInf(g.tight, 0) && g.path.DenominatorStep*end < 0 { // to nothing to relate to
		end = -(1 - leastDenominator) * g.path.Denominator / g.path.DenominatorStep
		g.tight, g.cut = place+g.path.Ratio(end)/g.scale, true
	}
	return g
}

// sameplace is the difference, relative to its size, at which two places are one.
const sameplace = 1e-9

// leastDenominator is the part of its denominator at which a ratio without end is
// no longer followed.
const leastDenominator = 0.01

// path is how the optimum moves with the bound, nil where it does not bind; scale
// is the factor of its row.
func (w *sweep) path(s *solver.Solution) (p *solver.Path, scale float64) {
	if w.column >= 0 {
		if v := &w.model.Variables[w.column]; v.Lower < v.Upper && (s.Basis.Variables[w.column] == solver.AtLower) != w.low {
			return nil, 1
		}
		return w.model.VariablePath(s, w.column), 1
	}
	i := w.along.Limit
	number, scale := w.rows[i].upper, w.rows[i].upperScale
	if w.low {
		number, scale = w.rows[i].lower, w.rows[i].lowerScale
	}
	if r := &w.model.Rows[number]; w.terms[i].ofInk && r.Lower < r.Upper &&
		(s.Basis.Rows[number] == solver.AtLower) != w.low && !math.IsInf(r.Lower, 0) && !math.IsInf(r.Upper, 0) {
		return nil, scale
	}
	var den []float64
	if !w.terms[i].ofInk {
		den = w.den[i*w.width():][:len(w.active)]
	}
	return w.model.RowPath(s, int(number), den), scale
}

// point is the formula of a stretch with the bound at a place.
func (w *sweep) point(g *stretch, place float64) Point {
	p := Point{Bound: w.bound(place), CostPerKg: g.s.Objective, Denominator: 1}
	t := 0.0
	if w.out.Quotient {
		_, p.Denominator = w.ratio(w.along.Limit, g.s.X)
	}
	if g.path != nil {
		by := (place - g.place) * g.scale
		t = by * g.path.Denominator / (1 - by*g.path.DenominatorStep)
		p.Denominator = g.path.Denominator + t*g.path.DenominatorStep
		p.CostPerKg += t * g.path.Objective
		p.ShadowPrice = g.path.Objective * g.scale * p.Denominator * p.Denominator / g.path.Denominator
		if w.column >= 0 {
			p.ShadowPrice /= w.p.Quantity.Kilograms()
		} else {
			p.ShadowPrice *= w.terms[w.along.Limit].def.Slope(p.Bound)
		}
	}
	for k, x := range g.s.X {
		if g.path != nil {
			x += t * g.path.X[k]
		}
		if x > 1e-9 {
			p.Parts = append(p.Parts, Part{int(w.active[k]), x})
		}
	}
	return p
}

// add appends the segment of a stretch between two places.
func (w *sweep) add(g *stretch, loose, tight float64) {
	from, to := w.point(g, tight), w.point(g, loose)
	if w.out.Side == AtLower {
		from, to = to, from
	}
	w.out.Segments = append(w.out.Segments, Segment{from, to})
}
