package match

import (
	"fmt"
	"math"
	"slices"
	"time"

	"millbase/inventory/mass"
	"millbase/solver/colour"
	"millbase/solver/formulation"
)

// hair is by how much the difference worked out from whole milligrams may be above
// the one that was allowed, where strict tries find no mixture that keeps to it.
const (
	hair   = 1e-4
	strict = 12
)

// within is a difference that is kept within what is allowed.
type within struct {
	of      *program
	by      *family
	allowed float64
}

// finish makes an offer of a mixture within a difference.
func (m *matcher) finish(k Kind, at point, allowed float64, more ...formulation.Row) (Offer, error) {
	return m.finishWithin(k, at.x, more, within{m.program, &m.main, allowed})
}

// finishWithin makes an offer of the mixture x: the program around it, with the
// shade to first order, goes back to formulation, which proves its optimum, checks
// every limit from whole masses and weighs it as the plant can. The differences are
// then worked out from those masses; where one is beyond what is allowed (a coarse
// scale), it is drawn in and sought again around the masses found.
func (m *matcher) finishWithin(k Kind, x []float64, more []formulation.Row, differences ...within) (Offer, error) {
	targets := make([]float64, len(differences))
	for i, d := range differences {
		targets[i] = d.allowed * (1 - 1e-5)
		if err := d.of.settle(x, d.allowed); err != nil {
			return Offer{}, err
		}
	}
	margin := 1e-6
	part := math.Inf(1) // how far the shares may be from x, as in bound
	// What can be weighed is sought among the components of x first: among all of a
	// plant's lots it takes long.
	narrow := m.p.Blend.Weighing != nil
	for try := 0; try < 40; try++ {
		a, err := m.formula(x, part, narrow, more, targets, differences)
		if err != nil {
			return Offer{}, err
		}
		if len(a.Components) == 0 {
			if narrow {
				narrow = false
				continue
			}
			if m.p.Blend.Weighing != nil && (a.Outcome == formulation.Infeasible || a.Outcome == formulation.Unfinished) {
				return Offer{Kind: k, Answer: a}, nil
			}
			if a.Outcome == formulation.Infeasible && try < strict { // the tolerance is that of the nearest mixture
				for i, d := range differences {
					targets[i] = d.allowed + hair/2
				}
				try = strict
				continue
			}
			return Offer{}, fmt.Errorf("%w: the formula around the match is %s", formulation.ErrNumerical, a.Outcome)
		}
		out := m.seen(k, a)
		worst, room := 0.0, 0.0
		if try >= strict {
			room = hair
		}
		found := m.massShares(a)
		for i, d := range differences {
			beyond := [...]float64{out.DE00, out.Second00}[d.by.eye] - d.allowed
			if worst = max(worst, beyond); beyond <= room {
				continue
			}
			d.of.around(x)
			switch {
			case try%3 < 2 && d.of.also(d.by, found, targets[i]+5e-6*max(1, d.allowed)): // a plane was missing
			case beyond > 1e-3*d.allowed && part > 0.01: // too far from x to be true to first order
				part = min(0.1, part/4)
			default:
				margin *= 2
				targets[i] -= beyond + margin*d.allowed
			}
		}
		if worst <= room {
			return out, nil
		}
		if slices.Min(targets) <= 0 {
			break
		}
	}
	return Offer{}, fmt.Errorf("%w: no formula in whole masses keeps the difference; a finer scale or a larger batch may", formulation.ErrNumerical)
}

// formula is that of the program around x.
func (m *matcher) formula(x []float64, part float64, narrow bool, more []formulation.Row, targets []float64, differences []within) (*formulation.Answer, error) {
	blend := *m.p.Blend
	blend.Rows = slices.Concat(blend.Rows, more, m.nearby(x, part))
	for i, d := range differences {
		blend.Rows = append(blend.Rows, d.of.rows(d.by, x, targets[i])...)
	}
	m.keepOut(&blend)
	if w := blend.Weighing; w != nil && m.searches > 0 {
		shared := *w
		shared.TimeLimit = w.TimeLimit / time.Duration(m.searches)
		blend.Weighing = &shared
	}
	if narrow {
		blend.Candidates = slices.Clone(blend.Candidates)
		for k, j := range m.prog.Columns {
			if x[k] <= trace {
				blend.Candidates[j].Available = blend.Candidates[j].AtLeast
			}
		}
	}
	a, err := formulation.Optimise(m.ctx, m.engine, &blend)
	if err == nil && narrow && len(a.Components) > 0 {
		a.Assumed = append(a.Assumed, "Weighed out of the components of the match to the milligram; others were not tried.")
	}
	return a, err
}

// settle finds the directions that hold a difference around x.
func (s *program) settle(x []float64, allowed float64) error {
	s.within(allowed)
	s.around(x)
	_, _, err := s.solve(1e-6 * allowed)
	return err
}

// massShares are the shares of the masses of an answer, by column.
func (m *matcher) massShares(a *formulation.Answer) []float64 {
	column := make(map[int]int, len(m.prog.Columns))
	for k, j := range m.prog.Columns {
		column[j] = k
	}
	x := make([]float64, len(m.prog.Columns))
	for i := range a.Components {
		c := &a.Components[i]
		x[column[c.Candidate]] = c.Mass.Kilograms() / m.p.Blend.Quantity.Kilograms()
	}
	return x
}

// nearby are rows that keep the coloured shares near x, but for the divisions of
// the scales; none when part is infinite.
func (m *matcher) nearby(x []float64, part float64) []formulation.Row {
	if math.IsInf(part, 1) {
		return nil
	}
	room := 1.5
	if w := m.p.Blend.Weighing; w != nil {
		for _, b := range w.Balances {
			room = max(room, 2*float64(b.Division))
		}
	}
	var out []formulation.Row
	for k, j := range m.prog.Columns {
		if m.slot[k] < 0 {
			continue
		}
		by := part*(x[k]+0.02) + room/float64(m.p.Blend.Quantity)
		r := formulation.Row{Title: "shade", Coefficients: make([]float64, len(m.p.Blend.Candidates)), Lower: x[k] - by, Upper: x[k] + by}
		r.Coefficients[j] = 1
		out = append(out, r)
	}
	return out
}

// rows are the cuts around x as rows on the shares of candidates: in the directions
// of the search, and in that of the difference at x.
func (s *program) rows(f *family, x []float64, allowed float64) []formulation.Row {
	s.around(x)
	directions := append([][3]float64(nil), f.directions[:f.n]...)
	if size := length(f.near.value); size > 1e-9 {
		v := f.near.value
		directions = append(directions, [3]float64{v[0] / size, v[1] / size, v[2] / size})
	}
	out := make([]formulation.Row, 0, len(directions))
	for _, u := range directions {
		r := formulation.Row{Title: "shade", Coefficients: make([]float64, len(s.p.Blend.Candidates)), Lower: math.Inf(-1),
			Upper: allowed - dot(u, f.near.value)}
		for k, j := range s.prog.Columns {
			if s.slot[k] >= 0 {
				r.Coefficients[j] = dot(u, f.near.by[k])
				r.Upper += r.Coefficients[j] * x[k]
			}
		}
		out = append(out, r)
	}
	return out
}

// keepOut leaves out of a blend what is shut out of the program.
func (m *matcher) keepOut(blend *formulation.Problem) {
	cloned := false
	for k, j := range m.prog.Columns {
		if m.most[k] < m.upper[k] {
			if !cloned {
				blend.Candidates = append([]formulation.Candidate(nil), blend.Candidates...)
				cloned = true
			}
			blend.Candidates[j].Available = blend.Candidates[j].AtLeast
		}
	}
}

// seen is an answer as it will look.
func (m *matcher) seen(k Kind, a *formulation.Answer) Offer {
	masses := make([]mass.Mass, len(m.p.Blend.Candidates))
	for _, c := range a.Components {
		masses[c.Candidate] = c.Mass
	}
	o := m.p.Predict(masses)
	o.Kind, o.Answer = k, a
	return o
}

// Predict works out how a mixture of masses (one per candidate of Blend) will look:
// an Offer without kind and answer. It uses package colour alone and shares nothing
// with the search, which is checked by it. p must be valid.
func (p *Problem) Predict(masses []mass.Mass) Offer {
	var o Offer
	var used []colour.Optics
	var units [][]float64
	var shares []float64
	stays := 0.0
	materials := map[string]bool{}
	for j, m := range masses {
		c := &p.Blend.Candidates[j]
		stays += m.Kilograms() * c.Properties.Retained()
	}
	for j, m := range masses {
		c, of := &p.Blend.Candidates[j], &p.Colourants[j]
		if m == 0 || of.K == nil {
			continue
		}
		if of.coloured() {
			materials[group(c)] = true
		}
		used, units = append(used, colour.Optics{K: of.K, S: of.S}), append(units, of.K)
		shares = append(shares, m.Kilograms()/stays*strength(c))
	}
	o.Bases = len(materials)
	if p.Mode == Opaque {
		o.Curve = colour.Opaque(p.Substrate, used, shares, p.Surface)
	} else {
		o.Curve = colour.Film(p.Substrate, units, shares, p.Surface)
	}
	o.Lab, o.SecondLab = o.Curve.Seen(p.Viewing), o.Curve.Seen(p.SecondViewing())
	target, _ := p.target(p.Viewing)
	o.DE00, o.DE76 = colour.Difference2000(target, o.Lab), colour.Difference(target, o.Lab)
	o.Second00, o.Metamerism = math.NaN(), math.NaN()
	if c := p.Target.Curve; c != nil {
		o.Second00 = colour.Difference2000(c.Seen(p.SecondViewing()), o.SecondLab)
		o.Metamerism = colour.Metamerism(*c, o.Curve, p.Viewing, p.SecondViewing())
	}
	return o
}

// group is what counts as one base: lots of one material do.
func group(c *formulation.Candidate) string {
	if c.Material != "" {
		return "material " + c.Material
	}
	return "candidate " + c.ID
}
