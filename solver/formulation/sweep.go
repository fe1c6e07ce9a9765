package formulation

import (
	"context"
	"math"
	"slices"

	"millbase/inventory/mass"
	"millbase/solver"
)

// The first step beyond a breakpoint, relative to the size of the bound: more than
// what engines call feasible. A step that finds nothing new is made longer.
const (
	firstStep = 1e-6
	lastStep  = 1e-2
	leastGap  = 2e-7 // between two bases that is looked into
)

// maxSegments ends a frontier.
const maxSegments = 500

// CostFrontier works out the cheapest cost against one bound of p. It starts where
// the bound is loosest and steps from basis to basis: the interval in which each
// stays optimal is known exactly (solver.Path), and the engine is asked only once
// behind each breakpoint. Divisions of a scale and confidences play no part: it is
// the frontier of the exact formulas.
//
// The errors are those of Optimise, and FieldErrors for a bound that p has not.
func CostFrontier(ctx context.Context, engine solver.Engine, p *Problem, along Along) (*Frontier, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	if err := along.check(p); err != nil {
		return nil, err
	}
	p = p.nominal()
	w := &sweep{ctx: ctx, engine: engine, along: along, figures: map[float64]float64{}, out: &Frontier{Limit: along.Limit, Candidate: along.Candidate}}
	if err := w.prepare(p); err != nil {
		return nil, err
	}
	return w.out, w.run()
}

func (a *Along) check(p *Problem) error {
	one := a.Limit >= 0 && a.Limit < len(p.Limits) && a.Candidate < 0 || a.Limit < 0 && a.Candidate >= 0 && a.Candidate < len(p.Candidates)
	finite := func(v *float64) bool { return v == nil || math.Abs(*v) <= 1e12 }
	switch {
	case !one:
		return FieldErrors{{"along", "name one limit, or one candidate whose stock moves"}}
	case !finite(a.From):
		return FieldErrors{{"from", "give a finite start of at most 1e12 in size"}}
	case !finite(a.To):
		return FieldErrors{{"to", "give a finite end of at most 1e12 in size"}}
	case a.From != nil && a.To != nil && !(*a.From < *a.To):
		return FieldErrors{{"to", "the range must end above its start"}}
	case a.Candidate >= 0 && (a.From != nil && *a.From < 0 || a.To != nil && *a.To < 0):
		return FieldErrors{{"from", "a stock can't be below 0 kg"}}
	}
	return nil
}

// sweep is a frontier in the making. Its parameter is the bound of the ratio of a
// limit, or the bound of the share of a candidate.
type sweep struct {
	*built
	ctx    context.Context
	engine solver.Engine
	along  Along
	low    bool // it is a lower bound that moves
	column int  // of the candidate, -1 for a limit
	out    *Frontier
	// given is the bound in the problem, loose and tight are the ends asked for;
	// infinite for none.
	given, loose, tight float64
	basis               *solver.Basis
	// figures are the bounds as they were given, by place.
	figures map[float64]float64
}

// prepare makes the model and reads the ends.
func (w *sweep) prepare(p *Problem) error {
	var err error
	if w.along.Limit >= 0 {
		w.out.Unit, w.column = p.Limits[w.along.Limit].Unit(p.Catalogue), -1
		if w.built, err = build(p, true); err != nil {
			return err
		}
		t := &w.terms[w.along.Limit]
		w.side(t.limit.Lower != nil && t.limit.Upper == nil)
		w.low = (w.out.Side == AtLower) == t.def.Increasing()
		w.out.term, w.out.Quotient, w.out.Curved = t, !t.ofInk, t.def.Index != linear.Index
		w.given = t.bound(w.low)
	} else if err = w.prepareStock(p); err != nil {
		return err
	}
	w.out.LeftOut = w.leftOut
	w.loose, w.tight = math.Inf(w.outward()), math.Inf(-w.outward())
	if w.column < 0 { // the other bound stands
		for _, v := range []*float64{p.Limits[w.along.Limit].Lower, p.Limits[w.along.Limit].Upper} {
			if v != nil {
				w.parameter(*v)
			}
		}
		w.tight = w.terms[w.along.Limit].bound(!w.low)
	} else if w.tight = w.model.Variables[w.column].Upper; !w.low {
		w.tight = w.model.Variables[w.column].Lower
	}
	for _, v := range []*float64{w.along.From, w.along.To} {
		if v == nil {
			continue
		}
		at, loosest := w.parameter(*v), w.outer() > 0
		if loosest == (v == w.along.To) {
			w.loose = at
		} else if float64(w.outward())*(at-w.tight) > 0 {
			w.tight = at
		}
	}
	return nil
}

// side takes the side asked for, or the usual one.
func (w *sweep) side(onlyLower bool) {
	w.out.Side = w.along.Side
	if w.out.Side != AtLower && w.out.Side != AtUpper {
		w.out.Side = sideOf(onlyLower)
	}
}

func (w *sweep) prepareStock(p *Problem) error {
	own := *p
	own.Candidates = slices.Clone(p.Candidates)
	c := &own.Candidates[w.along.Candidate]
	w.out.Unit = "kg"
	w.side(false)
	w.low = w.out.Side == AtLower
	given := c.Available.Kilograms()
	if w.low {
		given, c.AtLeast = c.AtLeast.Kilograms(), 0
	} else if c.Available < 0 {
		given = math.Inf(1)
	}
	if !w.low {
		c.Available = mass.Mass(-1)
	}
	var err error
	if w.built, err = build(&own, true); err != nil {
		return err
	}
	w.column = slices.Index(w.active, int32(w.along.Candidate))
	if w.column < 0 {
		why := "it can't take part"
		for _, l := range w.leftOut {
			if l.Candidate == w.along.Candidate {
				why = l.Why
			}
		}
		return FieldErrors{{"candidate", c.Name() + " takes no part: " + why}}
	}
	w.given = w.parameter(given)
	return nil
}

// outward is the direction of the parameter in which the bound gives.
func (w *sweep) outward() int {
	if w.low {
		return -1
	}
	return 1
}

// outer is the direction of the bound, in its own unit, in which it gives.
func (w *sweep) outer() int {
	if w.out.Side == AtLower {
		return -1
	}
	return 1
}

// parameter is the place of a bound.
func (w *sweep) parameter(bound float64) float64 {
	at := bound / w.p.Quantity.Kilograms()
	if w.column < 0 {
		t := &w.terms[w.along.Limit]
		if bound <= t.def.Domain() {
			return math.Inf(-w.sign())
		}
		at = t.def.Forward(bound)
	}
	w.figures[at] = bound
	return at
}

// sign is the direction of the ratio in which the value rises.
func (w *sweep) sign() int {
	if w.terms[w.along.Limit].def.Increasing() {
		return 1
	}
	return -1
}

// bound is the bound at a place, in its own unit.
func (w *sweep) bound(at float64) float64 {
	if v, known := w.figures[at]; known {
		return v
	}
	if w.column >= 0 {
		return at * w.p.Quantity.Kilograms()
	}
	v := w.terms[w.along.Limit].edge(at)
	if math.Abs(v) <= 1e-12*w.sizeOf(w.along.Limit) {
		return 0 // rounding would make a negative amount of it
	}
	return v
}

// looser reports whether place a is looser than b.
func (w *sweep) looser(a, b float64) bool { return float64(w.outward())*(a-b) > 0 }

// at solves with the bound at a place; infinite for none.
func (w *sweep) at(place float64) (*solver.Solution, error) {
	w.out.Solves++
	if w.column < 0 {
		w.terms[w.along.Limit].setBound(w.low, place)
		w.makeModel()
	} else {
		v := &w.model.Variables[w.column]
		switch {
		case !w.low:
			v.Upper = place
		case math.IsInf(place, 0):
			v.Lower = 0
		default:
			v.Lower = place
		}
	}
	o := solver.Options{Start: w.basis}
	if math.IsInf(place, 0) {
		o.Start = nil
	}
	s, _, err := solve(w.ctx, w.engine, &w.model, o)
	if err != nil {
		return nil, err
	}
	switch s.Stop {
	case solver.StopOptimal:
		if s.Basis == nil {
			return nil, ErrNumerical // an engine without a basis has no path
		}
		if !math.IsInf(place, 0) {
			w.basis = s.Basis
		}
	case solver.StopInfeasible:
	case solver.StopUnbounded:
		w.out.Outcome = Unbounded
	case solver.StopLimit, solver.StopCancelled:
		w.out.Outcome = Unfinished
	default:
		return nil, ErrNumerical
	}
	return s, nil
}
