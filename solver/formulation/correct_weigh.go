package formulation

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"millbase/inventory/mass"
	"millbase/solver"
)

// errNotWeighable is the inner sign that no additions on the scale's divisions
// were found near the exact ones.
var errNotWeighable = errors.New("no weighable additions")

// mostTried is the largest number of components of which both the division below
// and the one above are tried, in every combination.
const mostTried = 12

// weighed turns the exact additions into what can be weighed and meets every limit
// by Evaluate's arithmetic, and fills in the answer. Of the combinations of the
// amounts next below and above it takes the best that meets all; where there is
// none, the limits are drawn in by what a division can do, and it is tried again.
func (c *corrector) weighed(a *Correction, s *solver.Solution, part float64) error {
	for _, draw := range []float64{0, 0.5, 1, 2, 4} {
		if err := c.ctx.Err(); err != nil {
			return err
		}
		x := s.X
		if draw > 0 {
			tight, _, err := solve(c.ctx, c.engine, c.drawnIn(s.X, part, draw), solver.Options{})
			if err = unlessNumerical(err); err != nil {
				return err
			}
			if tight == nil || tight.Stop != solver.StopOptimal {
				continue
			}
			x = tight.X
		}
		if portions, reports := c.onScale(x, part); portions != nil {
			c.fill(a, portions, reports, part)
			c.priceOfWeighing(a, portions, c.model(fixed, part).Cost(s.X)*c.pot.kgStays)
			return nil
		}
	}
	return errNotWeighable
}

// priceOfWeighing says how far what is weighed can be from the best there is: no
// additions undercut those to the milligram.
func (c *corrector) priceOfWeighing(a *Correction, portions []portion, exact float64) {
	if c.p.Weighing == nil {
		return
	}
	of, unit := "cost", c.p.Currency
	if c.p.LeastMass {
		of, unit = "weigh", "kg"
	}
	a.Assumed = append(a.Assumed, fmt.Sprintf("To the milligram the additions would %s %.4g %s; so these, near them on the scale, are at most %.2g %s above the least.",
		of, exact, unit, max(0, c.objective(portions)-exact), unit))
}

// choice is an addition that can be weighed only below and above its exact
// amount.
type choice struct {
	column   int
	down, up mass.Mass // up is -1 where no more can be weighed
}

// bandsOf are the ways in which the candidate of column k can be weighed.
func (c *corrector) bandsOf(k int) []band {
	w := c.p.Weighing
	if w == nil {
		w = &Weighing{}
	}
	return w.bands(&c.p.Candidates[c.active[k]])
}

// around is what can be weighed nearest below and above an exact amount.
func (c *corrector) around(k int, mg float64) choice {
	o := choice{column: k, up: -1}
	for _, b := range c.bandsOf(k) {
		d := float64(b.division)
		down, up := mass.Mass(math.Floor(mg/d+1e-6))*b.division, mass.Mass(math.Ceil(mg/d-1e-6))*b.division
		if b.high >= 0 {
			down = min(down, b.high)
		}
		if down >= b.low {
			o.down = max(o.down, down)
		}
		if up = max(up, b.low); (b.high < 0 || up <= b.high) && (o.up < 0 || up < o.up) {
			o.up = up
		}
	}
	return o
}

// onScale is the best combination around x that meets every limit; nil when there
// is none.
func (c *corrector) onScale(x []float64, part float64) ([]portion, []LimitReport) {
	var near []choice
	for k := range c.active {
		if mg := x[k] * c.pot.kgStays * 1e6; mg >= 1e-3 {
			near = append(near, c.around(k, mg))
		}
	}
	sort.SliceStable(near, func(i, j int) bool { return c.effect(&near[i]) > c.effect(&near[j]) })
	free := min(len(near), mostTried)
	var best []portion
	var found []LimitReport
	cost := math.Inf(1)
	tried := make([]portion, len(near))
	for up := range 1 << free {
		possible := true
		for i, o := range near {
			m := o.down
			if high := i < free && up>>i&1 == 1 || i >= free && float64(o.up+o.down) < 2*x[o.column]*c.pot.kgStays*1e6; high {
				m = o.up
			}
			tried[i] = portion{column: o.column, mass: m}
			possible = possible && m >= 0
		}
		if !possible || !c.fits(tried, part) {
			continue
		}
		if v := c.objective(tried); v < cost {
			if reports := c.evaluate(part, tried); allMet(reports) {
				best, found, cost = append([]portion{}, tried...), reports, v
			}
		}
	}
	return best, found
}

// effect is how much the choice can do: those that do most are tried both ways.
func (c *corrector) effect(o *choice) float64 {
	sum, gap := 0.0, math.Max(0, (o.up-o.down).Kilograms())
	for r := range c.rows {
		row := &c.rows[r]
		at := row.term*c.width() + o.column
		sum += math.Abs(c.num[at]-row.bound*c.den[at]) * row.scale * gap
	}
	return sum
}

func (c *corrector) objective(portions []portion) float64 {
	sum := 0.0
	for _, o := range portions {
		sum += o.mass.Kilograms() * c.cost(o.column)
	}
	return sum
}

// fits reports whether portions are there and go into the pot.
func (c *corrector) fits(portions []portion, part float64) bool {
	room := c.p.Capacity.Kilograms()*(1+1e-12) - part*c.pot.kgStays
	for _, o := range portions {
		of := &c.p.Candidates[c.active[o.column]]
		if o.mass < of.AtLeast || of.Available >= 0 && o.mass > of.Available {
			return false
		}
		room -= o.mass.Kilograms()
	}
	return room >= -1e-9
}

func allMet(reports []LimitReport) bool {
	for i := range reports {
		if !reports[i].Met {
			return false
		}
	}
	return true
}

// drawnIn is the model with its limits drawn in by so many times what half a
// division of each of the additions x can do.
func (c *corrector) drawnIn(x []float64, part, times float64) *solver.Model {
	m := c.model(fixed, part)
	for k := range c.active {
		if x[k] <= 0 {
			continue
		}
		o := c.around(k, x[k]*c.pot.kgStays*1e6)
		half := times * math.Max(0, (o.up-o.down).Kilograms()) / c.pot.kgStays / 2
		rows, values := m.Column(k)
		for e, i := range rows {
			d := math.Abs(values[e]) * half
			if i > 0 && c.rows[i-1].low {
				m.Rows[i].Lower += d
			} else {
				m.Rows[i].Upper -= d
			}
		}
	}
	return m
}

// evaluate works out every limit of the part of the pot that is kept with
// additions, by Evaluate's arithmetic.
func (c *corrector) evaluate(part float64, portions []portion) []LimitReport {
	n := len(c.pot.components)
	kg := make(map[int]float64, n+1+len(portions))
	parts, one := make([]int, 0, n+len(portions)), []int{n}
	kg[n] = part * c.pot.kgStays
	for j, m := range c.pot.kg {
		parts, kg[j] = append(parts, j), part*m
	}
	for _, o := range portions {
		if o.mass > 0 {
			j := n + 1 + int(c.active[o.column])
			parts, one, kg[j] = append(parts, j), append(one, j), o.mass.Kilograms()
		}
	}
	of := func(j int) float64 { return kg[j] }
	byComponents, asOne := newBlend(&c.whole, parts, of), newBlend(&c.whole, one, of)
	out := make([]LimitReport, len(c.terms))
	for i := range c.terms {
		b := byComponents
		if c.pot.readsMeasured(&c.terms[i]) {
			b = asOne
		}
		out[i] = b.report(&c.whole, i, &c.terms[i].def)
	}
	return out
}

// fill puts additions into the answer, in weighing order.
func (c *corrector) fill(a *Correction, portions []portion, reports []LimitReport, part float64) {
	a.After = reports
	a.Kept = mass.RoundKilograms(part*c.pot.kgStays, mass.RoundHalfEven)
	for _, o := range portions {
		if o.mass == 0 {
			continue
		}
		j := int(c.active[o.column])
		of := &c.p.Candidates[j]
		a.Additions = append(a.Additions, Addition{Candidate: j, Mass: o.mass, CostPerKg: of.CostPerKg, AtLimit: o.mass == of.Available})
		a.Added += o.mass
		a.Cost += o.mass.Kilograms() * of.CostPerKg
	}
	sort.SliceStable(a.Additions, func(x, y int) bool {
		p, q := &a.Additions[x], &a.Additions[y]
		i, j := weighingRank(c.p.Candidates[p.Candidate].Class), weighingRank(c.p.Candidates[q.Candidate].Class)
		if i != j {
			return i < j
		}
		return p.Mass > q.Mass
	})
	a.Assumed = append(a.Assumed, c.built.assumed(portions)...)
}
