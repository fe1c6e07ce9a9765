package formulation

import (
	"context"
	"math"

	"millbase/inventory/mass"
	"millbase/solver"
)

// whole looks for a weighable formula. The linear program comes first; where its
// optimum obeys the rules but for divisions, those are all that is left to find
// (see refine), otherwise the rules are solved with amounts that may be anything
// (structure), and only when the two leave a gap everything at once (see search).
//
// Shares are of the quantity asked for. With a tolerance the finished mass is not
// quite that, so limits are made homogeneous: num - bound*den, with the finished
// mass for den. An equation can't be hit by whole divisions; it is opened by what
// Evaluate counts as met.
type whole struct {
	*built          // of the problem with its equations opened
	asked  *Problem // as it was asked
	ctx    context.Context
	engine solver.Engine
	w      *Weighing
	free   *solver.Solution // the optimum without rules
	lines  []line           // per active column
	tol    float64          // part of the quantity
	last   float64          // what the last kilogram of the quantity adds to the objective of free
}

// line is how one column can be weighed.
type line struct {
	bands  []band
	upper  float64 // no formula has a larger share
	named  bool    // a rule depends on whether it is used
	gap    bool    // nothing, or some amount that is more than a division
	jumps  bool    // between its bands there are amounts that can't be weighed
	coarse bool    // so few divisions that they count from the start
	fine   bool    // divisions too fine to count: rounded at the end
}

// How many divisions of a component are few, and from which part of the quantity
// on a division is too fine to make a variable of.
const (
	fewDivisions = 40
	fineDivision = 1e-5
)

// newWhole prepares the search; b is built from p.opened().
func newWhole(ctx context.Context, engine solver.Engine, p *Problem, b *built, w *Weighing, free *solver.Solution) *whole {
	h := &whole{built: b, asked: p, ctx: ctx, engine: engine, w: w, free: free}
	h.tol = float64(w.Tolerance) / float64(b.p.Quantity)
	h.last = free.Objective
	for k, d := range free.ReducedCost {
		// Only stock and the least of a component do not grow with the quantity: by
		// duality the rest of the objective is the price of its growth.
		h.last -= d * free.X[k]
	}
	h.makeLines()
	return h
}

// opened is p with room in its equations: most of what Evaluate lets pass.
func (p *Problem) opened() *Problem {
	out := p
	for i := range p.Limits {
		l := &p.Limits[i]
		if l.Lower == nil || l.Upper == nil || *l.Upper-*l.Lower > tolerance*l.size() {
			continue
		}
		if out == p {
			out = p.copied()
		}
		lower, upper := *l.Lower-0.9*tolerance*l.size(), *l.Upper+0.9*tolerance*l.size()
		if l.Kind != Blended {
			lower = max(0, lower)
		}
		out.Limits[i].Lower, out.Limits[i].Upper = &lower, &upper
	}
	return out
}

func (h *whole) makeLines() {
	h.lines = make([]line, len(h.active))
	q := float64(h.p.Quantity)
	for k, j := range h.active {
		c, v, l := &h.p.Candidates[j], &h.model.Variables[k], &h.lines[k]
		l.bands = h.w.bands(c)
		l.upper = v.Upper
		if h.stays[k] > 0 {
			l.upper = min(l.upper, (1+h.tol)/h.stays[k])
		}
		if len(l.bands) == 0 {
			l.upper = 0
		} else if last := l.bands[len(l.bands)-1]; last.high >= 0 {
			l.upper = min(l.upper, float64(last.high)/q)
		}
	}
	h.nameLines()
	h.tighten()
	for k := range h.lines {
		h.lines[k].sort(h.p.Quantity, h.model.Variables[k].Lower > 0)
		h.lines[k].fine = h.lines[k].fine && !h.w.counted
	}
}

// sort says what kind of line it is.
func (l *line) sort(quantity mass.Mass, needed bool) {
	q := float64(quantity)
	kept := l.bands[:0]
	for _, b := range l.bands { // what is more than can be used can't be weighed
		if float64(b.low) <= l.upper*q*(1+1e-9) {
			kept = append(kept, b)
		}
	}
	l.bands = kept
	if len(l.bands) == 0 {
		l.upper = 0
		return
	}
	if high := l.bands[len(l.bands)-1].high; high >= 0 {
		l.upper = min(l.upper, float64(high)/q)
	}
	first := l.bands[0]
	l.gap = first.low > first.division && !needed
	l.fine = true
	coarse := 0.0
	for i, b := range l.bands {
		if i > 0 && b.low > l.bands[i-1].high+b.division {
			l.jumps = true
		}
		if float64(b.division) >= fineDivision*q {
			l.fine = false
		}
		coarse = max(coarse, l.upper*q/float64(b.division))
	}
	l.coarse = !l.fine && (len(l.bands) == 1 && coarse <= fewDivisions || first.container)
}

// nameLines marks the lines of which a rule counts whether they are used.
func (h *whole) nameLines() {
	of := map[string]int{}
	for _, j := range h.active {
		of[h.p.Candidates[j].Material]++
	}
	for k, j := range h.active {
		c := &h.p.Candidates[j]
		l := &h.lines[k]
		l.named = h.w.AtMost > 0 && h.w.AtMost < len(h.active) ||
			h.w.LotsPerMaterial > 0 && c.Material != "" && of[c.Material] > h.w.LotsPerMaterial
		for i := range h.w.Rules {
			for g := range h.w.Rules[i].Groups {
				l.named = l.named || h.w.Rules[i].Groups[g].Has(c)
			}
		}
	}
}

// mostTightened is the largest number of columns whose bounds are drawn in by a
// linear program each.
const mostTightened = 150

// unlimited stands for the share of a line that nothing limits: what does not stay
// in the ink, and of which there is no end.
const unlimited = 100

// tighten finds the largest share that each line can have in any blend that meets
// the limits: the tighter the bound, the better the relaxation of what depends on
// it.
func (h *whole) tighten() {
	if len(h.lines) <= mostTightened {
		s := h.base()
		for k := range s.columns {
			s.columns[k].Cost = 0
		}
		m := s.model()
		var start *solver.Basis
		for k := range h.lines {
			l := &h.lines[k]
			if l.upper == 0 || !l.named && h.model.Variables[k].Upper == l.upper && len(l.bands) == 1 && l.bands[0].low <= 1 {
				continue
			}
			m.Variables[k].Cost = -1
			a, _, err := solve(h.ctx, h.engine, m, solver.Options{Start: start})
			m.Variables[k].Cost = 0
			if err != nil || a.Stop != solver.StopOptimal {
				continue
			}
			start = a.Basis
			if most := a.X[k] + 1e-6*(1+a.X[k]); most < l.upper {
				l.upper = most
			}
		}
	}
	for k := range h.lines {
		if math.IsInf(h.lines[k].upper, 1) {
			h.lines[k].upper = unlimited
		}
	}
}
