package match

import (
	"fmt"
	"math"

	"millbase/solver"
	"millbase/solver/formulation"
)

// closestOffer is the nearest mixture; among those as near, the one whose curve is
// nearest to the target's, else the cheapest.
func (m *matcher) closestOffer() (Offer, error) {
	if m.p.MaxBases > 0 {
		m.only(m.near)
		defer m.shut(nil)
	}
	if m.p.Blend.Weighing != nil {
		return m.nearestWeighable(m.near.de + repeatable)
	}
	if m.near.de > m.p.Tolerance { // out of reach: just that one
		return m.finishWithin(Closest, m.near.x, m.held(m.near.x))
	}
	allowed := min(m.near.de+repeatable, m.p.Tolerance)
	if m.p.Target.Curve == nil {
		at, err := m.cheapest(allowed)
		if err != nil {
			return Offer{}, err
		}
		return m.finish(Closest, at, allowed)
	}
	at, rows, err := m.sameCurve(m.near, m.near.de+0.9*(allowed-m.near.de))
	if err != nil {
		return Offer{}, err
	}
	return m.finish(Closest, at, allowed, rows...)
}

// nearestWeighable allows more until there is a formula that can be weighed.
func (m *matcher) nearestWeighable(allowed float64) (Offer, error) {
	for {
		at, err := m.cheaper(m.near, m.near, allowed, math.Inf(1))
		if err != nil {
			return Offer{}, err
		}
		o, err := m.finish(Closest, at, allowed)
		if err == nil && len(o.Answer.Components) > 0 {
			return o, nil
		}
		if allowed >= m.p.Tolerance || m.ctx.Err() != nil {
			return o, err
		}
		allowed = min(m.p.Tolerance, 2*allowed)
	}
}

// sameCurve moves from a mixture within a difference to the one whose curve is
// nearest to the target's in the sum of absolute differences, each weighted by how
// bright the eye sees the wavelength. The rows hold a blend to it.
func (m *matcher) sameCurve(at point, allowed float64) (point, []formulation.Row, error) {
	// On the way the difference may be beyond what is allowed, at a price that is
	// far above what it brings the curve nearer.
	merit := func(p point) float64 { return m.curveDistance(p.x) + max(0, p.de-allowed) }
	best, bestMerit := at, merit(at)
	straight, err := m.straight()
	if err != nil {
		return at, nil, err
	}
	if straight.x != nil && merit(straight) < bestMerit {
		best, bestMerit = straight, merit(straight)
	}
	m.within(allowed)
	for range steps {
		m.around(best.x)
		rows, by := m.curveRows(best.x)
		x, err := m.solveCurve(rows, by)
		if err != nil {
			return at, nil, err
		}
		if x == nil {
			break
		}
		full := m.point(x)
		to := full
		t := 1.0
		for t > 1e-3 && !(merit(to) < bestMerit) {
			t /= 2
			to = m.between(best, full, t)
		}
		saved := bestMerit - merit(to)
		if saved <= 0 {
			break
		}
		best, bestMerit = to, bestMerit-saved
		if saved < 1e-4*bestMerit+1e-9 {
			break
		}
	}
	if best.de > allowed {
		best = m.drawnBack(at, best, allowed)
	}
	return best, m.held(best.x), nil
}

// straight is the mixture whose K/S is nearest to the target's, without regard to
// the difference: K less the target's K/S times S is linear in the shares, so it is
// one linear program, exact where the target is a mixture of the candidates. No x:
// there is none.
func (m *matcher) straight() (point, error) {
	m.shade.toward(*m.p.Target.Curve)
	m.loosen(&m.main)
	rows := make([]solver.Row, len(m.shade.ks))
	by := make([][]float64, len(rows))
	for i := range rows {
		weight := m.shade.weight(i) * m.shade.slope[i]
		by[i] = make([]float64, len(m.slot))
		for k, slot := range m.slot {
			switch {
			case slot < 0:
			case m.p.Mode == Film:
				by[i][k] = weight * m.shade.unit[k][i]
			default:
				by[i][k] = weight * (m.shade.unit[k][i] - m.shade.ks[i]*m.shade.scatter[k][i])
			}
		}
		bound := 0.0
		if m.p.Mode == Film {
			bound = weight * (m.shade.ks[i] - m.shade.base[i])
		}
		rows[i] = solver.Row{Name: "curve", Lower: bound, Upper: bound}
	}
	x, err := m.solveCurve(rows, by)
	if err != nil || x == nil {
		return point{}, err
	}
	return m.point(x), nil
}

// curveDistance is the weighted sum of the differences between the curve of x and
// the target's.
func (m *matcher) curveDistance(x []float64) float64 {
	if !m.shade.at(x) {
		return math.Inf(1)
	}
	sum := 0.0
	for i, goal := range m.p.Target.Curve.Values {
		sum += m.shade.weight(i) * math.Abs(m.shade.r[i]-goal)
	}
	return sum
}

// weight is how much a wavelength counts: how bright the eye sees it, and a little
// for what it hardly sees.
func (s *shade) weight(i int) float64 {
	w := 0.02
	for k := range s.eyes[0].rows {
		w += math.Abs(s.eyes[0].rows[k][i]) / 100
	}
	return w
}

// curveRows are rows that hold a mixture's curve to the target's: the weighted
// reflectance to first order around x, and per column what its share does to it.
func (s *program) curveRows(x []float64) (rows []solver.Row, by [][]float64) {
	s.shade.at(x)
	s.shade.slopes()
	for i, goal := range s.p.Target.Curve.Values {
		weight := s.shade.weight(i)
		coefficients := make([]float64, len(s.slot))
		bound := weight * (goal - s.shade.r[i])
		for k, slot := range s.slot {
			if slot < 0 {
				continue
			}
			coefficients[k] = weight * s.shade.byShare(k, i)
			bound += coefficients[k] * x[k]
		}
		rows = append(rows, solver.Row{Name: "curve", Lower: bound, Upper: bound})
		by = append(by, coefficients)
	}
	return rows, by
}

// solveCurve minimises what the rows of the curve are missed by, within the limits
// and the difference allowed; nil: there is no such mixture.
func (s *program) solveCurve(rows []solver.Row, by [][]float64) ([]float64, error) {
	m := s.model.Clone()
	for j := range m.Variables {
		m.Variables[j].Cost = 0
	}
	m.Variables[s.excess].Upper = 0
	columns := make([]int32, 0, len(s.slot))
	for k, slot := range s.slot {
		if slot >= 0 {
			columns = append(columns, int32(k))
		}
	}
	values := make([]float64, len(columns))
	first := len(m.Rows)
	for i, r := range rows {
		for c, k := range columns {
			values[c] = by[i][k]
		}
		m.InsertRow(r, columns, values)
	}
	for i := range rows {
		for _, sign := range [...]float64{1, -1} {
			m.AddVariable(solver.Variable{Name: "miss", Cost: 1, Upper: solver.Inf}, solver.Entry{Row: first + i, Value: sign})
		}
	}
	last, err := s.ask(m, nil)
	if err != nil {
		return nil, err
	}
	switch last.Stop {
	case solver.StopOptimal:
		return last.X[:len(s.cost)], nil
	case solver.StopInfeasible:
		return nil, nil
	case solver.StopCancelled, solver.StopLimit:
		return nil, fmt.Errorf("the search for the nearest curve was stopped: %w", s.stopped().Err())
	}
	return nil, fmt.Errorf("%w: the curve's program stopped without an answer", formulation.ErrNumerical)
}

// held are rows that hold a blend to the coloured shares of x, but for a milligram
// and what a program rounds.
func (m *matcher) held(x []float64) []formulation.Row {
	room := 1e-7 + 1.5/float64(m.p.Blend.Quantity)
	var out []formulation.Row
	for k, j := range m.prog.Columns {
		if m.slot[k] < 0 {
			continue
		}
		r := formulation.Row{Title: "curve", Coefficients: make([]float64, len(m.p.Blend.Candidates)), Lower: x[k] - room, Upper: x[k] + room}
		r.Coefficients[j] = 1
		out = append(out, r)
	}
	return out
}

// leastMetameric is the mixture within the tolerance that differs least under the
// second light.
func (m *matcher) leastMetameric() (Offer, error) {
	g := m.guarded(0.97 * m.p.Tolerance)
	defer func() { m.solves += g.solves }()
	if m.p.MaxBases > 0 {
		m.only(m.near)
		g.only(m.near)
		defer m.shut(nil)
	}
	start, err := m.bestUnderSecond(g)
	if err != nil {
		return Offer{}, err
	}
	best, err := g.nearest(start)
	if err != nil {
		return Offer{}, err
	}
	if m.p.Blend.Weighing == nil {
		return m.finish(LeastMetameric, m.point(best.x), m.p.Tolerance, m.held(best.x)...)
	}
	for room := repeatable; ; room *= 3 { // divisions need room
		o, err := m.finishWithin(LeastMetameric, best.x, nil, within{m.program, &m.main, m.p.Tolerance}, within{g, &g.main, best.de + room})
		if err == nil && len(o.Answer.Components) > 0 || room > m.p.Tolerance || m.ctx.Err() != nil {
			return o, err
		}
	}
}

// bestUnderSecond is where the search for the least metameric mixture begins: the
// nearest mixture, or the one with the nearest curve.
func (m *matcher) bestUnderSecond(g *program) (point, error) {
	start := g.point(m.near.x)
	same, _, err := m.sameCurve(m.near, max(0.97*m.p.Tolerance, m.near.de))
	if err != nil {
		return start, err
	}
	if p := g.point(same.x); p.de < start.de && g.guards(p) {
		start = p
	}
	return start, nil
}
