package match

import (
	"math"
	"slices"

	"millbase/inventory/mass"
	"millbase/solver/formulation"
)

// totals is the number of totals between pot and capacity that are looked at, closer
// together near the pot; refinements how often the best is looked at more closely.
const (
	totals      = 14
	refinements = 9
)

// mixed is a mixture of pot and additions of one total.
type mixed struct {
	*matcher
	total mass.Mass
	at    point // within the tolerance
	value float64
}

// total finds the additions to some of the pot; nil: none within the capacity bring
// it in.
func (c *corrector) total(kept mass.Mass) (*mixed, error) {
	room := c.p.Capacity - kept
	var best *mixed
	look := func(t float64) (bool, error) {
		m, err := c.mix(kept, c.place(kept, t))
		if err != nil || m == nil {
			return false, err
		}
		if best == nil || m.value < best.value {
			best = m
		}
		return true, nil
	}
	first := -1
	for i := range totals + 1 {
		ok, err := look(float64(i) / totals)
		if err != nil {
			return nil, err
		}
		if ok && first < 0 {
			first = i
		}
	}
	if first < 0 {
		return nil, nil
	}
	// The least total lies between the last that failed and the first that did not.
	low, high := float64(first-1)/totals, float64(first)/totals
	for range refinements {
		if first == 0 {
			break
		}
		middle := (low + high) / 2
		ok, err := look(middle)
		if err != nil {
			return nil, err
		}
		if ok {
			high = middle
		} else {
			low = middle
		}
	}
	if c.p.LeastMass || room == 0 {
		return best, nil
	}
	centre := math.Sqrt(float64(best.total-kept) / float64(room)) // of cost, on either side
	for step := 0.5 / totals; step > 1e-3; step /= 2 {
		for _, t := range []float64{centre - step, centre + step} {
			if _, err := look(min(1, max(0, t))); err != nil {
				return nil, err
			}
		}
		centre = math.Sqrt(float64(best.total-kept) / float64(room))
	}
	return best, nil
}

// place is a total between some of the pot and its capacity, t from 0 to 1.
func (c *corrector) place(kept mass.Mass, t float64) mass.Mass {
	return kept + mass.Mass(math.Round(t*t*float64(c.p.Capacity-kept)))
}

// mix is the match of one total; nil: it is beyond the tolerance or the limits.
func (c *corrector) mix(kept, total mass.Mass) (*mixed, error) {
	m, err := c.matcher(kept, total)
	if err != nil || m == nil || m.near.de > c.p.Tolerance {
		return nil, err
	}
	at, err := m.cheaper(m.near, m.near, c.p.Tolerance, math.Inf(1))
	if err != nil {
		return nil, err
	}
	out := &mixed{matcher: m, total: total, at: at, value: m.money(at.x) * total.Kilograms()}
	if c.p.LeastMass {
		out.value = total.Kilograms()
	}
	return out, nil
}

// matcher finds the nearest mixture of one total; nil: the limits can't be met.
func (c *corrector) matcher(kept, total mass.Mass) (*matcher, error) {
	s, err := newProgram(c.ctx, c.engine, c.problem(kept, total))
	if err != nil {
		return nil, err
	}
	m := &matcher{program: s, result: &Result{LeftOut: s.prog.LeftOut}}
	if m.from, err = s.starts(); err != nil || len(m.from) == 0 {
		return nil, err
	}
	m.near, err = s.closestOf(m.from, 3)
	return m, err
}

// answer fills in the additions of a mixture. Errors say that it can't be weighed.
func (c *corrector) answer(outcome formulation.CorrectionOutcome, kept mass.Mass, found *mixed) error {
	o, err := found.finish(Cheapest, found.at, c.p.Tolerance)
	if err != nil {
		return err
	}
	additions := c.additions(o.Answer)
	if w := c.p.Blend.Weighing; w != nil {
		if additions, err = c.weighable(kept, additions, w); err != nil {
			return err
		}
	}
	out := c.out
	if out.Limits, err = c.limits(kept, additions); err != nil {
		return err
	}
	out.Outcome, out.Kept, out.Additions, out.Proof, out.LeftOut = outcome, kept, additions, o.Answer.Proof, found.leftOut()
	out.After = c.after(kept, additions)
	out.Added, out.Cost = 0, 0
	for _, a := range additions {
		out.Added += a.Mass
		out.Cost += a.Mass.Kilograms() * a.CostPerKg
	}
	return nil
}

// leftOut are the candidates for additions that could not take part.
func (m *mixed) leftOut() []formulation.LeftOut {
	var out []formulation.LeftOut
	for _, l := range m.result.LeftOut {
		if l.Candidate > 0 {
			out = append(out, formulation.LeftOut{Candidate: l.Candidate - 1, Why: l.Why})
		}
	}
	return out
}

// additions are the components of an answer but for the pot.
func (c *corrector) additions(a *formulation.Answer) []formulation.Addition {
	var out []formulation.Addition
	for _, x := range a.Components {
		if x.Candidate > 0 {
			out = append(out, formulation.Addition{Candidate: x.Candidate - 1, Mass: x.Mass, CostPerKg: x.CostPerKg, AtLimit: x.AtLimit})
		}
	}
	return out
}

// after is the ink with additions.
func (c *corrector) after(kept mass.Mass, additions []formulation.Addition) Offer {
	masses := make([]mass.Mass, len(c.p.Blend.Candidates)+1)
	masses[0] = kept
	for _, a := range additions {
		masses[a.Candidate+1] = a.Mass
	}
	return c.problem(kept, kept).Predict(masses)
}

// inPart keeps the largest part of the pot that can be brought in, and says what
// stands in the way of all of it.
func (c *corrector) inPart() (*Correction, error) {
	m, err := c.nearest()
	if err != nil {
		return nil, err
	}
	if m != nil && m.near.de > c.p.Tolerance {
		if c.out.Reach, err = m.reach(); err != nil {
			return nil, err
		}
		c.out.Reach.InTheWay = slices.Clip(c.out.Reach.InTheWay)
		c.out.Reach.Short = withoutPot(c.out.Reach.Short)
	} else if m != nil && c.p.Blend.Weighing != nil {
		c.out.Assumed = append(c.out.Assumed, "All of the pot could be brought in to the milligram, but no amounts that the scales can weigh were found to do it within its capacity.")
	}
	low, high := 0.0, 1.0
	var best *mixed
	for range 12 {
		part := (low + high) / 2
		kept := mass.Mass(part * float64(c.pot))
		found, err := c.mix(kept, c.p.Capacity)
		if err != nil {
			return nil, err
		}
		if found == nil {
			high = part
			continue
		}
		if err := c.answer(formulation.InPart, kept, found); err != nil {
			high = part
			continue
		}
		low, best = part, found
	}
	if best == nil {
		c.out.Outcome, c.out.Kept, c.out.After = formulation.Impossible, 0, c.out.Measured
		if m != nil {
			c.out.After = m.looks(c)
		}
	}
	return c.out, nil
}

// nearest is the nearest mixture with all of the pot, whatever its total; nil: the
// limits can't be met at any.
func (c *corrector) nearest() (best *matcher, err error) {
	for i := range totals + 1 {
		m, err := c.matcher(c.pot, c.place(c.pot, float64(i)/totals))
		if err != nil {
			return nil, err
		}
		if m != nil && (best == nil || m.near.de < best.near.de) {
			best = m
		}
	}
	return best, nil
}

// withoutPot are candidates by their place without the pot.
func withoutPot(short []int) []int {
	var out []int
	for _, j := range short {
		if j > 0 {
			out = append(out, j-1)
		}
	}
	return out
}

// looks is how the nearest mixture of a matcher looks.
func (m *matcher) looks(c *corrector) Offer {
	masses := make([]mass.Mass, len(m.p.Blend.Candidates))
	for k, j := range m.prog.Columns {
		masses[j] = mass.Mass(math.Round(m.near.x[k] * float64(m.p.Blend.Quantity)))
	}
	return c.problem(c.pot, m.p.Blend.Quantity).Predict(masses)
}
