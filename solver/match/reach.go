package match

import (
	"fmt"
	"math"

	"millbase/inventory/mass"
	"millbase/solver/colour"
	"millbase/solver/formulation"
)

// outOfReach makes the answer to a target that no mixture comes near enough to.
func (m *matcher) outOfReach() (*Result, error) {
	near, err := m.closestOf(m.from, len(m.from)) // every start, before saying no
	if err != nil {
		return nil, err
	}
	if m.p.MaxBases > 0 {
		if near, err = m.fewer(near, m.p.MaxBases); err != nil {
			return nil, err
		}
	}
	if near.de < m.near.de {
		m.near = near
	}
	o, err := m.closestOffer()
	if err != nil {
		return nil, err
	}
	m.result.Outcome = OutOfReach
	m.result.Offers = []Offer{o}
	m.result.Reach, err = m.reach()
	return m.result, err
}

// reach says how near the nearest mixture is, and why it is no nearer.
func (m *matcher) reach() (*Reach, error) {
	m.shade.at(m.near.x)
	e := &m.shade.eyes[0]
	t := colour.Terms(e.metric.target, m.shade.seen(e))
	r := &Reach{Nearest: m.near.de, DeltaL: t.L, DeltaC: t.C, DeltaH: t.H, Without: m.near.de}
	r.Why = why(t)
	m.inTheWay(r)
	if len(r.InTheWay) == 0 && len(r.Short) == 0 && m.p.MaxBases == 0 {
		return r, nil
	}
	free := *m.p
	blend := *m.p.Blend
	blend.Limits, blend.Goals, blend.Rows, blend.Weighing = nil, nil, nil, nil
	blend.Candidates = append([]formulation.Candidate(nil), blend.Candidates...)
	for j := range blend.Candidates {
		if c := &blend.Candidates[j]; c.Available != 0 {
			c.Available = -1
		}
		blend.Candidates[j].AtLeast = mass.Mass(0)
	}
	free.Blend, free.MaxBases = &blend, 0
	s, err := newProgram(m.ctx, m.engine, &free)
	if err != nil {
		return nil, err
	}
	from, err := s.starts()
	if err != nil {
		return nil, err
	}
	best, err := s.closestOf(from, tries)
	m.solves += s.solves
	if best.de < r.Without {
		r.Without = best.de
	}
	return r, err
}

// why names what the nearest mixture lacks most.
func why(t colour.DifferenceTerms) string {
	l, c, h := math.Abs(t.L), math.Abs(t.C), math.Abs(t.H)
	switch {
	case l >= c && l >= h && t.L > 0:
		return "lightness: the nearest is too light"
	case l >= c && l >= h:
		return "lightness: the nearest is too dark"
	case c >= h && t.C < 0:
		return "chroma: the nearest is too dull"
	case c >= h:
		return "chroma: the nearest is too strong in colour"
	}
	return "hue: no mixture of these bases turns that way"
}

// inTheWay fills in the limits and stocks that keep the nearest mixture where it
// is: those that the difference has a price of.
func (m *matcher) inTheWay(r *Reach) {
	m.closest()
	m.around(m.near.x)
	last, ok, err := m.solve(0.01 * m.near.de)
	if err != nil || !ok {
		return
	}
	const matters = 1e-6
	names := map[string]int{}
	for i := range m.p.Blend.Limits {
		names[m.p.Blend.Limits[i].ID] = i
	}
	seen := map[int]bool{}
	for row := 1; row < m.main.first; row++ {
		i, known := names[m.model.Rows[row].Name]
		if known && !seen[i] && math.Abs(last.RowDual[row]) > matters {
			seen[i] = true
			r.InTheWay = append(r.InTheWay, i)
		}
	}
	for k, j := range m.prog.Columns {
		v := m.model.Variables[k]
		if finite(v.Upper) && last.X[k] >= v.Upper-1e-9 && last.ReducedCost[k] < -matters {
			r.Short = append(r.Short, j)
		}
	}
}

// Sentence is what a colour matcher would say of a target out of reach.
func (r *Reach) Sentence(p *Problem) string {
	s := fmt.Sprintf("Out of reach of these bases: the nearest is %.1f away, because %s.", r.Nearest, r.Why)
	if r.Without <= p.Tolerance {
		s = fmt.Sprintf("Out of reach within the limits: the nearest is %.1f away (%s); the bases alone would come to %.1f.", r.Nearest, r.Why, r.Without)
	}
	return s
}
