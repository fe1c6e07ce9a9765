package formulation

import (
	"fmt"

	"millbase/inventory/mass"
)

// CheckWeighing says, in sentences, which rules of p.Weighing masses do not obey;
// none when all is well. masses[j] is that of p.Candidates[j]. Optimise checks its
// weighable answers with it: it counts in whole milligrams and shares no code with
// the model that is solved.
func CheckWeighing(p *Problem, masses []mass.Mass) []string {
	w := p.Weighing
	if w == nil {
		return nil
	}
	c := weighed{p: p, w: w, masses: masses}
	c.amounts()
	c.counts()
	for i := range w.Rules {
		c.rule(&w.Rules[i])
	}
	return c.broken
}

type weighed struct {
	p      *Problem
	w      *Weighing
	masses []mass.Mass
	broken []string
}

func (c *weighed) say(format string, args ...any) {
	c.broken = append(c.broken, fmt.Sprintf(format, args...))
}

func (c *weighed) amounts() {
	for j, m := range c.masses {
		of := &c.p.Candidates[j]
		switch {
		case m < 0:
			c.say("%s of %s is less than nothing", m, of.Name())
		case of.Available >= 0 && m > of.Available:
			c.say("%s of %s, but only %s is available", m, of.Name(), of.Available)
		case m < of.AtLeast:
			c.say("%s of %s, but at least %s must be used", m, of.Name(), of.AtLeast)
		case m > 0:
			c.amount(of, m)
		}
	}
}

// amount checks one component against containers, divisions and least amounts.
func (c *weighed) amount(of *Candidate, m mass.Mass) {
	var division, container mass.Mass
	least := c.w.Least
	for i := range c.w.Handling {
		if h := &c.w.Handling[i]; h.Of.Has(of) {
			division, container, least = h.Division, h.Container, c.w.Least
			if h.Least > 0 {
				least = h.Least
			}
		}
	}
	if m < least {
		c.say("%s of %s is less than the %s that are worth weighing", m, of.Name(), least)
	}
	switch {
	case container > 0:
		if m%container != 0 {
			c.say("%s of %s are not whole containers of %s", m, of.Name(), container)
		}
		return
	case division > 0:
		if m%division != 0 {
			c.say("%s of %s are not whole divisions of %s", m, of.Name(), division)
		}
		return
	}
	for _, b := range c.w.Balances {
		if m%b.Division == 0 && m >= b.From && (b.Capacity == 0 || m <= b.Capacity) {
			return
		}
	}
	if len(c.w.Balances) > 0 {
		c.say("no balance weighs %s of %s", m, of.Name())
	}
}

func (c *weighed) counts() {
	total, of := 0, map[string]int{}
	for j, m := range c.masses {
		if m <= 0 {
			continue
		}
		total++
		if id := c.p.Candidates[j].Material; id != "" {
			of[id]++
			if n := c.w.LotsPerMaterial; n > 0 && of[id] == n+1 {
				c.say("more than %d lots of %s", n, id)
			}
		}
	}
	if c.w.AtMost > 0 && total > c.w.AtMost {
		c.say("%d components instead of at most %d", total, c.w.AtMost)
	}
}

func (c *weighed) rule(r *Rule) {
	used := make([]map[string]bool, len(r.Groups))
	groups := 0
	for g := range r.Groups {
		used[g] = map[string]bool{}
		for j, m := range c.masses {
			if of := &c.p.Candidates[j]; m > 0 && r.Groups[g].Has(of) {
				used[g][r.Groups[g].unit(of)] = true
			}
		}
		if len(used[g]) > 0 {
			groups++
		}
	}
	broken := false
	switch r.Kind {
	case IfThen:
		broken = len(used[0]) > 0 && len(used[1]) == 0
	case NeverBoth:
		broken = groups > 1
	case AtLeastOf:
		broken = len(used[0]) < r.Count
	case AtMostOf:
		broken = len(used[0]) > r.Count
	}
	if broken {
		c.say("the rule %s is broken", r.Name())
	}
}
