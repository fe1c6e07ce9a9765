package app

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"millbase/inventory/mass"
	"millbase/solver/formulation"
)

// Weighing is how a formula is to be weighed.
type Weighing struct {
	// Scales in place of the plant's; none: the plant's.
	Scales []Scale
	// Rules without Balances; TimeLimit and Gap of 0 are the usual ones, a
	// Tolerance of 0 half a division of the scale that would weigh it all at once.
	formulation.Weighing
}

// How long a proof is looked for, and how near it must come, when the request does
// not say.
const (
	usualSearch = 10 * time.Second
	usualGap    = 1e-4
)

// weighing is what the solver is asked for; nil for masses to the milligram.
func (s *setting) weighing() (*formulation.Weighing, error) {
	w := s.req.Weighing
	if w == nil {
		return nil, nil
	}
	out := w.Weighing
	scales, field := w.Scales, "weighing.scales"
	if len(scales) == 0 {
		if scales, field = s.plant.Scales, "weighing"; len(scales) == 0 && s.plant.ScaleDivision > 0 {
			scales = []Scale{{Title: "the plant's scale", Division: s.plant.ScaleDivision}}
		}
		if len(scales) == 0 {
			return nil, InvalidField("weighing.scales", "say what is weighed on: the plant has no scales entered")
		}
	}
	var err error
	if out.Balances, err = balances(scales, field); err != nil {
		return nil, err
	}
	if out.Tolerance == 0 {
		out.Tolerance = coarsest(out.Balances, s.req.Quantity) / 2
	}
	if out.Gap == 0 {
		out.Gap = usualGap
	}
	if out.TimeLimit == 0 {
		out.TimeLimit = usualSearch
	}
	return &out, nil
}

// balances gives each scale what lies below the next coarser one.
func balances(scales []Scale, field string) ([]formulation.Balance, error) {
	scales = slices.Clone(scales)
	slices.SortStableFunc(scales, func(a, b Scale) int { return cmp.Compare(a.From, b.From) })
	out := make([]formulation.Balance, len(scales))
	for i, s := range scales {
		out[i] = formulation.Balance{Name: s.Title, Division: s.Division, From: s.From}
		if i == 0 {
			continue
		}
		if s.From == scales[i-1].From {
			return nil, InvalidField(field, "%s and %s weigh from the same amount, %s: say from where on the coarser one is used", scales[i-1].name(), s.name(), s.From)
		}
		out[i-1].Capacity = s.From - mass.Milligram
	}
	return out, nil
}

func (s Scale) name() string {
	if s.Title != "" {
		return s.Title
	}
	return fmt.Sprintf("the scale in %s", s.Division)
}

// coarsest is the division of the balance that weighs q; of is in the order of
// what they weigh.
func coarsest(of []formulation.Balance, q mass.Mass) mass.Mass {
	division := of[0].Division
	for _, b := range of {
		if b.From <= q {
			division = b.Division
		}
	}
	return division
}

// weighable makes the answer weighable at the prices that were settled without the
// rules. Where rounding brings an offer down to a dearer price, it is asked once
// more.
func (b *Book) weighable(ctx context.Context, p *formulation.Problem, pool *pool, w *formulation.Weighing) (*formulation.Answer, error) {
	free := *p
	if a, err := b.withBreaks(ctx, &free, pool); err != nil || a.Outcome != formulation.Optimal {
		return a, err
	}
	p.Weighing = w
	a, err := formulation.Optimise(ctx, b.engine, p)
	if err != nil || len(a.Components) == 0 || !pool.reprice(p, a, false) {
		return a, err
	}
	return formulation.Optimise(ctx, b.engine, p)
}

// made is the finished mass of the answer.
func (o *Optimised) made() mass.Mass {
	if w := o.Answer.Weighed; w != nil {
		return w.Made
	}
	return o.Problem.Quantity
}

// InTheWay says which rules of weighing leave no formula, and what would help.
func (o *Optimised) InTheWay() (out []string) {
	if o.Answer.Clash == nil || o.Answer.Clash.Rules == nil {
		return nil
	}
	for _, r := range o.Answer.Clash.Rules.Rules {
		out = append(out, "In the way: "+r.Text+".")
	}
	for _, way := range o.Answer.Clash.Rules.Ways {
		out = append(out, fmt.Sprintf("It can be weighed with %s, at %.4f %s per kg.", way.Instead, way.CostPerKg, o.Currency))
	}
	return out
}
