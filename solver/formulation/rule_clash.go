package formulation

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"millbase/inventory/mass"
)

// RuleClash says which rules of weighing are in the way of a formula that meets
// every limit.
type RuleClash struct {
	// FreeCostPerKg is the cost of the cheapest formula without rules.
	FreeCostPerKg float64
	// Rules are a clashing set: without any one of them there is a weighable
	// formula, when Smallest; otherwise there was no time to leave out what plays
	// no part.
	Rules    []RuleRef
	Smallest bool
	// Ways are what helps by itself, each proved by a weighable formula: one way
	// for each rule that can do it alone.
	Ways []RuleWay
}

// RuleRef names a rule of weighing.
type RuleRef struct {
	Part  RulePart
	Index int // into Weighing.Handling or Weighing.Rules; 0 otherwise
	Text  string
}

// RulePart is a part of Weighing.
type RulePart string

// The parts of Weighing that can be in the way.
const (
	PartAtMost    RulePart = "at_most"
	PartLeast     RulePart = "least"
	PartLots      RulePart = "lots_per_material"
	PartTolerance RulePart = "tolerance"
	PartBalances  RulePart = "balances"
	PartHandling  RulePart = "handling"
	PartRule      RulePart = "rule"
)

// RuleWay is a rule loosened as far as it takes, or left out.
type RuleWay struct {
	RuleRef
	// Instead says it in words: "10 components instead of 9".
	Instead   string
	CostPerKg float64
}

// maxLoosened is the largest number of rules of which each is looked at.
const maxLoosened = 40

// explainRules says which rules are in the way. The clashing set is found by
// leaving out one rule after the other for as long as there is still no formula.
func (h *whole) explainRules(a *Answer) error {
	c := &RuleClash{FreeCostPerKg: h.realCost(h.free.X)}
	a.Clash = &Clash{Rules: c}
	parts := h.w.parts(h.p)
	if len(parts) > maxLoosened {
		c.Rules = parts
		return nil
	}
	if err := h.clashing(c, parts); err != nil {
		return err
	}
	for _, r := range c.Rules {
		if err := h.way(c, r); err != nil {
			return err
		}
	}
	slices.SortStableFunc(c.Ways, func(x, y RuleWay) int {
		switch {
		case x.CostPerKg < y.CostPerKg:
			return -1
		case x.CostPerKg > y.CostPerKg:
			return 1
		}
		return 0
	})
	return nil
}

// clashing reduces parts to a set of which each takes part.
func (h *whole) clashing(c *RuleClash, parts []RuleRef) error {
	c.Smallest = true
	w := h.w
	for _, r := range parts {
		without := w.loosened(r, h.p, 0)
		if without == nil {
			continue // it gives as much as it can already
		}
		f, err := h.try(without, 1)
		switch {
		case err != nil:
			return err
		case f == nil || f.masses == nil && !f.none:
			c.Smallest = false
			c.Rules = append(c.Rules, r)
		case f.masses != nil:
			c.Rules = append(c.Rules, r)
		default:
			w = without
		}
	}
	return nil
}

// way finds how little of the rule r has to give, others as they are.
func (h *whole) way(c *RuleClash, r RuleRef) error {
	for _, step := range []int{1, 2, 3, 0} {
		w := h.w.loosened(r, h.p, step)
		if w == nil {
			continue
		}
		f, err := h.try(w, max(h.w.Gap, 1e-3))
		if err != nil {
			return err
		}
		if f != nil && f.masses != nil {
			cost, made := 0.0, 0.0
			for k, m := range f.masses {
				cost += m.Kilograms() * h.p.Candidates[h.active[k]].CostPerKg
				made += m.Kilograms() * h.stays[k]
			}
			c.Ways = append(c.Ways, RuleWay{r, h.w.instead(r, w, h.p), cost / made})
			return nil
		}
	}
	return nil
}

// tries is the part of the time limit that each attempt gets; without a limit it
// gets a second.
const tries = 20

// try searches by other rules; nil where the solver gives no answer that can be
// trusted.
func (h *whole) try(w *Weighing, gap float64) (*found, error) {
	v := *w
	v.Gap = gap
	if v.TimeLimit /= tries; v.TimeLimit == 0 {
		v.TimeLimit = time.Second
	}
	p := *h.asked
	p.Weighing = &v
	other := newWhole(h.ctx, h.engine, &p, h.withWeighing(&v), &v, h.free)
	f, err := other.search()
	if err != nil && (isNumerical(err) || errors.Is(err, ErrNumerical)) {
		return nil, nil
	}
	return f, err
}

// withWeighing is the built problem with other rules.
func (b *built) withWeighing(w *Weighing) *built {
	p, out := *b.p, *b
	p.Weighing = w
	out.p = &p
	return &out
}

// parts lists the rules that w has.
func (w *Weighing) parts(p *Problem) []RuleRef {
	var out []RuleRef
	put := func(part RulePart, i int, format string, args ...any) {
		out = append(out, RuleRef{part, i, fmt.Sprintf(format, args...)})
	}
	for i := range w.Rules {
		put(PartRule, i, "the rule %s", w.Rules[i].describe())
	}
	for i := range w.Handling {
		put(PartHandling, i, "%s", w.Handling[i].describe())
	}
	if w.LotsPerMaterial > 0 {
		put(PartLots, 0, "at most %d lots of one material", w.LotsPerMaterial)
	}
	if len(w.Balances) > 0 {
		put(PartBalances, 0, "whole divisions of the balances")
	}
	if w.Least > 0 {
		put(PartLeast, 0, "at least %s of a component", w.Least)
	}
	put(PartTolerance, 0, "%s", w.quantity(p))
	if w.AtMost > 0 {
		put(PartAtMost, 0, "at most %d components", w.AtMost)
	}
	return out
}

func (w *Weighing) quantity(p *Problem) string {
	if w.Tolerance == 0 {
		return fmt.Sprintf("a quantity of %s exactly", p.Quantity)
	}
	return fmt.Sprintf("a quantity of %s within %s", p.Quantity, w.Tolerance)
}

// loosened is a copy of w in which r gives a little (step 1), more (2, 3) or
// altogether (0); nil where there is no such step.
func (w *Weighing) loosened(r RuleRef, p *Problem, step int) *Weighing {
	out := *w
	switch r.Part {
	case PartAtMost:
		out.AtMost = more(w.AtMost, step)
	case PartLots:
		out.LotsPerMaterial = more(w.LotsPerMaterial, step)
	case PartLeast:
		out.Least = w.Least * mass.Mass([]int64{0, 5, 2, 1}[step]) / 10
		if step > 0 && out.Least == 0 {
			return nil
		}
	case PartTolerance:
		if out.Tolerance = w.wider(p, step); out.Tolerance <= w.Tolerance || out.Tolerance >= p.Quantity {
			return nil
		}
	case PartBalances:
		return w.finer(step)
	case PartHandling, PartRule:
		if step > 0 {
			return nil
		}
		out.Handling, out.Rules = slices.Clone(w.Handling), slices.Clone(w.Rules)
		if r.Part == PartHandling {
			out.Handling[r.Index].Division, out.Handling[r.Index].Container, out.Handling[r.Index].Least = 0, 0, 0
		} else {
			out.Rules[r.Index] = Rule{Title: r.Text, Kind: AtMostOf, Groups: w.Rules[r.Index].Groups[:1], Count: len(p.Candidates)}
		}
	}
	return &out
}

func more(n, step int) int {
	if step == 0 {
		return 0
	}
	return n + step
}

// wider is a tolerance of one division of the coarsest balance, ten, 1 % or 5 %
// of the quantity.
func (w *Weighing) wider(p *Problem, step int) mass.Mass {
	coarsest := mass.Milligram
	for _, b := range w.Balances {
		coarsest = max(coarsest, b.Division)
	}
	switch step {
	case 1:
		return coarsest
	case 2:
		return 10 * coarsest
	case 3:
		return max(1, p.Quantity/100)
	}
	return max(1, p.Quantity/20)
}

// finer divides the divisions by ten, a hundred; or weighs to the milligram.
func (w *Weighing) finer(step int) *Weighing {
	out := *w
	if step == 0 {
		out.Balances = nil
		return &out
	}
	by := []mass.Mass{1, 10, 100, 0}[step]
	if by == 0 {
		return nil
	}
	out.Balances = slices.Clone(w.Balances)
	for i := range out.Balances {
		if out.Balances[i].Division%by != 0 {
			return nil
		}
		out.Balances[i].Division /= by
	}
	return &out
}

// instead says how r gives from w to the loosened v.
func (w *Weighing) instead(r RuleRef, v *Weighing, p *Problem) string {
	switch {
	case r.Part == PartAtMost && v.AtMost > 0:
		return fmt.Sprintf("%d components instead of %d", v.AtMost, w.AtMost)
	case r.Part == PartLots && v.LotsPerMaterial > 0:
		return fmt.Sprintf("%d lots of one material instead of %d", v.LotsPerMaterial, w.LotsPerMaterial)
	case r.Part == PartLeast && v.Least > 0:
		return fmt.Sprintf("at least %s of a component instead of %s", v.Least, w.Least)
	case r.Part == PartTolerance:
		return fmt.Sprintf("%s instead of %s", v.quantity(p), w.quantity(p))
	case r.Part == PartBalances && len(v.Balances) > 0:
		return fmt.Sprintf("divisions of %s instead of %s", divisions(v.Balances), divisions(w.Balances))
	case r.Part == PartBalances:
		return "weighing to the milligram instead of in divisions of " + divisions(w.Balances)
	}
	return "without " + r.Text
}

func divisions(of []Balance) string {
	var names []string
	for _, b := range of {
		if s := b.Division.String(); !slices.Contains(names, s) {
			names = append(names, s)
		}
	}
	return list(names)
}

// describe says a rule in words.
func (r *Rule) describe() string {
	if n := r.Name(); n != "" {
		return n
	}
	groups := make([]string, len(r.Groups))
	for i := range r.Groups {
		groups[i] = r.Groups[i].describe()
	}
	switch r.Kind {
	case IfThen:
		return fmt.Sprintf("that %s needs %s", groups[0], groups[1])
	case NeverBoth:
		return fmt.Sprintf("that only one of %s is used", list(groups))
	case AtLeastOf:
		return fmt.Sprintf("that at least %d of %s are used", r.Count, groups[0])
	}
	return fmt.Sprintf("that at most %d of %s are used", r.Count, groups[0])
}

// describe names what is in the group.
func (g *Group) describe() string {
	names := slices.Concat(g.Candidates, g.Materials)
	for _, c := range g.Classes {
		names = append(names, string(c))
	}
	if len(names) > 4 {
		names = append(names[:3:3], fmt.Sprintf("%d more", len(names)-3))
	}
	return list(names)
}

func (h *Handling) describe() string {
	switch {
	case h.Container > 0:
		return fmt.Sprintf("whole containers of %s of %s", h.Container, h.Of.describe())
	case h.Division > 0:
		return fmt.Sprintf("divisions of %s for %s", h.Division, h.Of.describe())
	}
	return fmt.Sprintf("at least %s of %s", h.Least, h.Of.describe())
}
