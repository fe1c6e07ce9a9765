package formulation

import (
	"context"
	"math"

	"millbase/solver"
)

// goalPrices says for each goal what coming nearer costs and what being further
// off saves: the shadow price of its target, held as a limit a millionth to that
// side, so that at a kink of the cost it is that side's.
func (b *built) goalPrices(ctx context.Context, engine solver.Engine, a *Answer) error {
	a.Goals = make([]GoalReport, len(b.aims))
	for i := range b.aims {
		m, r := &b.aims[i], &a.Goals[i]
		r.Goal = m.goal
		for side, k := range m.columns {
			if k < 0 || m.weights[side] == 0 {
				continue
			}
			t := b.aimTerm(m)
			low := (side == 0) == t.def.Increasing()
			was, target := t.bound(low), t.def.Forward(*[...]*float64{t.limit.Lower, t.limit.Upper}[side])
			outward := 1e-6 * max(math.Abs(was), 1e-9)
			if low {
				outward = -outward
			}
			if math.Abs(was-target) > 2*math.Abs(outward) {
				price, possible, err := b.targetPrice(ctx, engine, m, low, was-outward)
				if err != nil {
					return err
				}
				if r.Nearer = max(r.Nearer, price); !possible {
					r.Nearer = math.Inf(1)
				}
			}
			price, _, err := b.targetPrice(ctx, engine, m, low, was+outward)
			if err != nil {
				return err
			}
			r.Further = max(r.Further, price)
			t.setBound(low, was)
		}
	}
	return nil
}

// targetPrice is what one unit of a goal's target costs when it is a limit at a
// given ratio.
func (b *built) targetPrice(ctx context.Context, engine solver.Engine, m *aimed, low bool, at float64) (price float64, possible bool, err error) {
	t, i := b.aimTerm(m), len(b.p.Limits)+m.goal
	t.setBound(low, at)
	b.only(level{aims: b.everyAim()})
	s, _, err := b.optimum(ctx, engine, solver.Options{})
	if err != nil || s.Stop != solver.StopOptimal {
		return 0, false, unlessNumerical(err)
	}
	row, scale, den := b.rows[i].upper, b.rows[i].upperScale, 1.0
	if low {
		row, scale = b.rows[i].lower, b.rows[i].lowerScale
	}
	y := min(0, s.RowDual[row])
	if low {
		y = max(0, s.RowDual[row])
	}
	if !t.ofInk {
		_, den = b.ratio(i, s.X)
	}
	return math.Abs(y * scale * t.def.Slope(t.value(at)) * den), true, nil
}

// payOff makes the pay-off table, and says how near each goal can come.
func (b *built) payOff(ctx context.Context, engine solver.Engine, a *Answer) error {
	for i := -1; i < len(b.aims); i++ {
		b.atTargets()
		b.only(level{})
		s, _, err := b.optimum(ctx, engine, solver.Options{})
		if best := (level{}); i >= 0 && err == nil && s.Stop == solver.StopOptimal {
			best.aims = []*aimed{&b.aims[i]}
			if s, _, err = b.nearest(ctx, engine, best); err == nil && s.Stop == solver.StopOptimal {
				s, _, err = b.cheapest(ctx, engine, best, s.X, solver.Options{})
			}
		}
		if err != nil || s.Stop != solver.StopOptimal {
			return unlessNumerical(err)
		}
		row := PayOff{Goal: i, CostPerKg: b.realCost(s.X)}
		for k := range b.aims {
			r, _ := b.ratio(len(b.p.Limits)+k, s.X)
			row.Values = append(row.Values, b.aimTerm(&b.aims[k]).value(r))
		}
		a.PayOff = append(a.PayOff, row)
		if i >= 0 {
			g := &b.p.Goals[i]
			a.Goals[i].Best, a.Goals[i].CostAtBest = g.distance(row.Values[i]), row.CostPerKg
		}
	}
	return nil
}
