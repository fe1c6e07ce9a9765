package formulation

import (
	"sort"
	"time"

	"millbase/inventory"
	"millbase/inventory/mass"
)

// Weighing says how the formula is weighed. What it asks for is part of the
// problem: the answer is the cheapest of the formulas that can be weighed so, not
// a cheapest formula rounded afterwards.
type Weighing struct {
	// Balances are those of the plant. A component is weighed in one go on one of
	// them, in whole divisions; none: to the milligram.
	Balances []Balance
	// Handling are exceptions for some of the candidates; of those that name a
	// candidate the last one counts.
	Handling []Handling
	// Tolerance is how far the finished mass may be over or under the quantity.
	// What is over or under counts at what the last kilogram costs without rules,
	// so that short weight is no saving. 0 asks for the quantity itself.
	Tolerance mass.Mass
	// Least is the least amount of a component that is worth weighing.
	Least mass.Mass
	// AtMost is the largest number of components; 0 for any.
	AtMost int
	// LotsPerMaterial is the largest number of components of one material (lots and
	// offers); 0 for any.
	LotsPerMaterial int
	Rules           []Rule
	// Gap is the part of the cost by which the answer may be above what could be
	// proved at the most, 0.0001 for 0.01 %; 0 asks for a full proof.
	Gap float64
	// TimeLimit ends the search with the best formula so far; 0 for none beside the
	// caller's own deadline.
	TimeLimit time.Duration
	// counted asks for a variable for every division, however fine.
	counted bool
}

// Balance is one balance of the plant.
type Balance struct {
	Name     string
	Division mass.Mass // what it reads in: 100 mg, 10 g, 1 kg
	From     mass.Mass // the least that is weighed on it
	Capacity mass.Mass // the most, 0 for no limit
}

// Handling is how some of the candidates are weighed.
type Handling struct {
	Of Group
	// Division takes the place of the balances; 0 leaves them.
	Division mass.Mass
	// Container is the content of a bag or drum that is only used whole; 0 for what
	// can be weighed. It takes the place of balances and Division.
	Container mass.Mass
	// Least takes the place of Weighing.Least; 0 leaves it.
	Least mass.Mass
}

// Group is a set of candidates: those that it names by id, material or class.
type Group struct {
	Candidates []string
	Materials  []string
	Classes    []inventory.Class
}

// RuleKind says what a Rule asks for.
type RuleKind string

// The kinds of rule.
const (
	// IfThen: where anything of Groups[0] is used, so is something of Groups[1].
	IfThen RuleKind = "if_then"
	// NeverBoth: of Groups only one is used.
	NeverBoth RuleKind = "never_both"
	// AtLeastOf: at least Count of Groups[0] are used. What is named by its id counts
	// by itself, all lots of one material count as one.
	AtLeastOf RuleKind = "at_least_of"
	// AtMostOf: at most Count of Groups[0] are used, counted as in AtLeastOf.
	AtMostOf RuleKind = "at_most_of"
)

// Rule is a rule on what goes together.
type Rule struct {
	ID     string // unique among the rules; may be empty
	Title  string
	Kind   RuleKind
	Groups []Group
	Count  int // AtLeastOf, AtMostOf
}

// Name is the title of the rule, or its id.
func (r *Rule) Name() string {
	if r.Title != "" {
		return r.Title
	}
	return r.ID
}

// Has reports whether c is one of the group.
func (g *Group) Has(c *Candidate) bool {
	for _, id := range g.Candidates {
		if id == c.ID {
			return true
		}
	}
	for _, m := range g.Materials {
		if m == c.Material {
			return true
		}
	}
	for _, k := range g.Classes {
		if k == c.Class {
			return true
		}
	}
	return false
}

// unit is what c counts as in AtLeastOf and AtMostOf.
func (g *Group) unit(c *Candidate) string {
	for _, id := range g.Candidates {
		if id == c.ID {
			return "candidate " + id
		}
	}
	if c.Material == "" {
		return "candidate " + c.ID
	}
	return "material " + c.Material
}

// band is a way of weighing a component: from low to high, both whole numbers of
// divisions; high is negative for no limit.
type band struct {
	low, high, division mass.Mass
	balance             int // index into Weighing.Balances, -1 for none of them
	container           bool
}

// bands are the ways in which c can be weighed, the finest first. Amounts above
// what there is of it are not among them, nor is on a coarser balance what a finer
// one can weigh.
func (w *Weighing) bands(c *Candidate) []band {
	h := w.handling(c)
	switch {
	case h != nil && h.Container > 0:
		return w.ways(c, h, []band{{high: -1, division: h.Container, balance: -1, container: true}})
	case h != nil && h.Division > 0:
		return w.ways(c, h, []band{{high: -1, division: h.Division, balance: -1}})
	case len(w.Balances) == 0:
		return w.ways(c, h, []band{{high: -1, division: mass.Milligram, balance: -1}})
	}
	all := make([]band, len(w.Balances))
	for i, b := range w.Balances {
		all[i] = band{b.From, b.Capacity, b.Division, i, false}
		if b.Capacity == 0 {
			all[i].high = -1
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].division < all[j].division })
	return w.ways(c, h, all)
}

// ways cuts bands to what there is of c and to what is worth weighing.
func (w *Weighing) ways(c *Candidate, h *Handling, all []band) []band {
	out := all[:0]
	for _, b := range all {
		if c.Available >= 0 && (b.high < 0 || b.high > c.Available) {
			b.high = c.Available
		}
		b.low = max(b.low, w.least(h), c.AtLeast, 1)
		if n := len(out); n > 0 {
			finer := out[n-1]
			if b.division%finer.division == 0 && finer.low <= b.low {
				if finer.high < 0 {
					continue
				}
				b.low = max(b.low, finer.high+1)
			}
		}
		b.low = b.low.RoundTo(b.division, mass.RoundUp)
		if b.high >= 0 {
			b.high = b.high.RoundTo(b.division, mass.RoundDown)
		}
		if b.high < 0 || b.low <= b.high {
			out = append(out, b)
		}
	}
	return out
}

// least is the least amount worth weighing under h, which may be nil.
func (w *Weighing) least(h *Handling) mass.Mass {
	if h != nil && h.Least > 0 {
		return h.Least
	}
	return w.Least
}

// handling is the exception that counts for c, or nil.
func (w *Weighing) handling(c *Candidate) *Handling {
	for i := len(w.Handling) - 1; i >= 0; i-- {
		if w.Handling[i].Of.Has(c) {
			return &w.Handling[i]
		}
	}
	return nil
}

// on is the band on which m can be weighed, or -1.
func on(bands []band, m mass.Mass) int {
	for i, b := range bands {
		if m >= b.low && (b.high < 0 || m <= b.high) && m%b.division == 0 {
			return i
		}
	}
	return -1
}
