package match

import (
	"context"
	"fmt"
	"math"
	"slices"

	"millbase/solver"
	"millbase/solver/formulation"
)

// tries is the number of starts of the search for the nearest mixture.
const tries = 6

// Match finds the mixtures that are asked for.
//
// Errors are formulation.FieldErrors (p is not valid, nothing was solved),
// formulation.ErrNumerical, that of a context that is done, and what the engine
// could not do. That the target is out of reach, or that the other limits clash, is
// an answer.
func Match(ctx context.Context, engine solver.Engine, p *Problem, w Want) (*Result, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	if err := w.validate(); err != nil {
		return nil, err
	}
	s, err := newProgram(ctx, engine, p)
	if err != nil {
		return nil, err
	}
	m := &matcher{program: s, result: &Result{LeftOut: s.prog.LeftOut}}
	defer func() { m.result.Solves = s.solves }()
	if len(s.prog.Columns) == 0 {
		return m.clash()
	}
	if m.from, err = s.starts(); err != nil {
		return nil, err
	}
	if len(m.from) == 0 {
		return m.clash()
	}
	if m.near, err = s.closestOf(m.from, tries); err != nil {
		return nil, err
	}
	if p.MaxBases > 0 {
		if m.near, err = m.fewer(m.near, p.MaxBases); err != nil {
			return nil, err
		}
	}
	if m.near.de > p.Tolerance {
		return m.outOfReach()
	}
	return m.result, m.offers(w)
}

// validate reports what is wrong with what is asked for.
func (w Want) validate() error {
	var errs formulation.FieldErrors
	for i, k := range w.Kinds {
		if k > LeastMetameric || slices.Contains(w.Kinds[:i], k) {
			errs = append(errs, formulation.FieldError{Field: fmt.Sprintf("offers[%d]", i), Problem: "name each kind of offer once"})
		}
	}
	if w.FrontierPoints < 0 || w.FrontierPoints == 1 || w.FrontierPoints > MaxPoints {
		errs = append(errs, formulation.FieldError{Field: "frontier_points", Problem: fmt.Sprintf("give 0, or from 2 to %d points", MaxPoints)})
	}
	if len(errs) > 0 {
		return errs
	}
	return nil
}

// matcher is one match under way.
type matcher struct {
	*program
	result *Result
	from   []point // to start from
	near   point   // the nearest
	// searches is how many weighable formulas are looked for, which share the time.
	searches int
}

// clash says why the other limits can't be met.
func (m *matcher) clash() (*Result, error) {
	plain := *m.p.Blend
	plain.Weighing = nil
	a, err := formulation.Optimise(m.ctx, m.engine, &plain)
	if err != nil {
		return nil, err
	}
	if a.Outcome != formulation.Infeasible {
		return nil, fmt.Errorf("%w: the limits alone are %s", formulation.ErrNumerical, a.Outcome)
	}
	m.result.Outcome, m.result.Clash = Clash, a
	return m.result, nil
}

// offers makes the offers and the frontier.
func (m *matcher) offers(w Want) error {
	m.searches = max(1, len(w.Kinds))
	for _, k := range Kinds {
		if !slices.Contains(w.Kinds, k) {
			continue
		}
		if k == LeastMetameric && m.p.Target.Curve == nil {
			m.result.Assumed = append(m.result.Assumed, "A colour without a curve looks different under another light in ways that it does not tell: there is no least metameric offer.")
			continue
		}
		o, err := m.offer(k)
		if err != nil {
			return err
		}
		m.result.Offers = append(m.result.Offers, o)
	}
	if w.FrontierPoints > 0 {
		return m.frontier(w.FrontierPoints)
	}
	return nil
}

// offer makes one offer.
func (m *matcher) offer(k Kind) (Offer, error) {
	switch k {
	case Closest:
		return m.closestOffer()
	case FewestBases:
		at, err := m.fewest()
		if err != nil {
			return Offer{}, err
		}
		m.only(at)
		defer m.shut(nil)
		o, err := m.finish(k, at, m.p.Tolerance)
		if err == nil && len(o.Answer.Components) == 0 {
			// The cheapest may have as few, and can be weighed.
			for _, other := range m.result.Offers {
				if other.Kind == Cheapest && len(other.Answer.Components) > 0 && other.Bases <= m.bases(at.x) {
					o = other
					o.Kind = k
				}
			}
		}
		return o, err
	case LeastMetameric:
		return m.leastMetameric()
	}
	at, err := m.cheapest(m.p.Tolerance)
	if err != nil {
		return Offer{}, err
	}
	if m.p.MaxBases > 0 {
		m.only(at)
		defer m.shut(nil)
	}
	return m.finish(Cheapest, at, m.p.Tolerance)
}

// cheapest is the cheapest mixture within a difference.
func (m *matcher) cheapest(difference float64) (point, error) {
	at, err := m.cheapestOf(m.from, m.near, difference)
	if err == nil && m.p.MaxBases > 0 && m.bases(at.x) > m.p.MaxBases {
		at, err = m.cheapestOfFewer(difference, m.p.MaxBases)
	}
	return at, err
}

// frontier traces the cost against the difference from the nearest mixture to
// where a wider tolerance saves no more.
func (m *matcher) frontier(n int) error {
	from := max(m.near.de, repeatable)
	to := max(3*m.p.Tolerance, 2*from)
	at := m.near
	for i := range n {
		tolerance := from * math.Pow(to/from, float64(i)/float64(n-1))
		next, err := m.cheapest(tolerance)
		if err != nil {
			return err
		}
		if i > 0 && at.cost < next.cost { // a mixture within a narrower tolerance is within this one
			next = at
		}
		at = next
		m.result.Frontier = append(m.result.Frontier, Point{Tolerance: tolerance, DE00: at.de, CostPerKg: m.money(at.x), Shares: m.shares(at.x)})
	}
	return nil
}

// money is the cost per kg of a mixture, without premiums.
func (m *matcher) money(x []float64) float64 {
	sum := 0.0
	for k, j := range m.prog.Columns {
		sum += x[k] * m.p.Blend.Candidates[j].CostPerKg
	}
	return sum
}

// shares are those of a mixture by candidate.
func (m *matcher) shares(x []float64) []float64 {
	out := make([]float64, len(m.p.Blend.Candidates))
	for k, j := range m.prog.Columns {
		out[j] = x[k]
	}
	return out
}
