package plan

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"millbase/inventory/mass"
	"millbase/solver"
	"millbase/solver/formulation"
)

// mostExplained bounds for how many kinds of batch the plan says why they can't be
// made.
const mostExplained = 200

// explain says of each batch that is not made whole why.
func (b *built) explain(ctx context.Context, lp solver.Engine, out *Plan) {
	worth := map[int]float64{} // by material
	for _, w := range out.Worth {
		m := b.p.Supplies[w.Supply].Material
		worth[m] = max(worth[m], w.PerKg)
	}
	told := 0
	for g := range b.groups {
		why := ""
		for _, i := range b.groups[g].batches {
			if out.Batches[i].Unmade <= 0 {
				continue
			}
			if why == "" {
				if told++; told > mostExplained {
					return
				}
				why = b.why(ctx, lp, i, worth)
			}
			out.Batches[i].Why = why
		}
	}
}

// why asks for the batch alone: with anything there may ever be, and with all that
// is there by its last period.
func (b *built) why(ctx context.Context, lp solver.Engine, i int, worth map[int]float64) string {
	of := &b.p.Batches[i]
	ever := b.ever[b.limitsKey(of)]
	if ever == nil || of.Supplies != nil || of.Offers != nil {
		var err error
		if ever, err = b.alone(ctx, lp, of, b.periods-1, true); err != nil {
			return "It was not found out why."
		}
		b.ever[b.limitsKey(of)] = ever
	}
	if ever.Outcome != formulation.Optimal {
		return "Its limits can't be met with anything that is in store or on offer" + b.clashing(of, ever) + "."
	}
	last := min(of.Due+of.MostLate, b.periods-1)
	by := "by " + b.p.Periods[last].Name
	then, err := b.alone(ctx, lp, of, last, false)
	if err != nil || then.Outcome != formulation.Optimal {
		return fmt.Sprintf("Not enough of what it takes can be there %s, even if all of it were for this batch%s.", by, b.lacking(ever, last))
	}
	var scarce []string
	for _, c := range then.Components {
		m := b.materialOf(c.Candidate)
		if worth[m] > 0 && !slices.Contains(scarce, b.title(m)) {
			scarce = append(scarce, b.title(m))
		}
	}
	if len(scarce) == 0 {
		return fmt.Sprintf("What it takes can be there %s, but is kept for other batches or would cost more than leaving it unmade.", by)
	}
	return fmt.Sprintf("What it takes goes to other batches: %s.", strings.Join(scarce, ", "))
}

// alone is the cheapest formula of a batch if nothing else were made; without a
// limit of stock, or with what can be there by a period.
func (b *built) alone(ctx context.Context, lp solver.Engine, of *Batch, by int, ever bool) (*formulation.Answer, error) {
	p := b.blend(of)
	p.Quantity, p.Candidates = mass.RoundKilograms(of.Kg, mass.RoundHalfEven), slices.Clone(b.ofBook)
	r, err := b.ratiosOf(of)
	if err != nil {
		return nil, err
	}
	allowed := map[int]bool{}
	for _, j := range b.sources(of, r) {
		allowed[j] = true
	}
	for j := range p.Candidates {
		c := &p.Candidates[j]
		c.ID = fmt.Sprintf("%d", j)
		o := j - len(b.pools)
		switch {
		case !allowed[j]:
			c.Available = 0
		case o >= 0:
			c.CostPerKg = b.p.Offers[o].cheapest()
			if !ever && !b.arrives(o, by) {
				c.Available = 0
			}
		case !ever && max(0, b.pools[j].like.From) > by:
			c.Available = 0
		case !ever:
			c.Available = mass.RoundKilograms(b.pools[j].kg, mass.RoundFloor)
		}
	}
	return formulation.Optimise(ctx, lp, p)
}

// clashing names limits that clash.
func (b *built) clashing(of *Batch, a *formulation.Answer) string {
	if a.Clash == nil {
		return ""
	}
	var names []string
	for _, m := range a.Clash.Limits {
		names = append(names, of.Limits[m].Name())
	}
	if len(names) == 0 {
		return ""
	}
	return ": " + strings.Join(names, ", ")
}

// lacking names the materials of the formula that it would take of which too little
// can be there by a period.
func (b *built) lacking(a *formulation.Answer, by int) string {
	var names []string
	for _, c := range a.Components {
		j := c.Candidate
		m := b.materialOf(j)
		there := 0.0
		for k := range b.pools {
			if b.pools[k].like.Material == m && max(0, b.pools[k].like.From) <= by {
				there += b.pools[k].kg
			}
		}
		bought := false
		for o := range b.p.Offers {
			bought = bought || b.p.Offers[o].Material == m && b.arrives(o, by)
		}
		if !bought && there < c.Mass.Kilograms() && !slices.Contains(names, b.title(m)) {
			names = append(names, b.title(m))
		}
	}
	if len(names) == 0 {
		return ""
	}
	return "; it would take more " + strings.Join(names, ", ")
}

func (b *built) title(material int) string {
	m := &b.p.Materials[material]
	if m.Title != "" {
		return m.Title
	}
	return m.ID
}

// cheapest is the lowest price of any period.
func (o *Offer) cheapest() float64 {
	out := -1.0
	for t, price := range o.Price {
		if price == price && (out < 0 || o.lowest(t) < out) {
			out = o.lowest(t)
		}
	}
	return max(0, out)
}
