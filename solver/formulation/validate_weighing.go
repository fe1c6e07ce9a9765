package formulation

import (
	"fmt"

	"millbase/inventory/mass"
)

// The sizes that a Weighing may have.
const (
	MaxBalances = 20
	MaxHandling = 1_000
	MaxRules    = 200
)

func (v *validator) weighing() {
	w := v.p.Weighing
	if w == nil {
		return
	}
	switch {
	case len(w.Balances) > MaxBalances:
		v.add(fmt.Sprintf("%d are too many: give at most %d", len(w.Balances), MaxBalances), "weighing.balances")
		return
	case len(w.Handling) > MaxHandling:
		v.add(fmt.Sprintf("%d are too many: give at most %d", len(w.Handling), MaxHandling), "weighing.handling")
		return
	case len(w.Rules) > MaxRules:
		v.add(fmt.Sprintf("%d are too many: give at most %d", len(w.Rules), MaxRules), "weighing.rules")
		return
	}
	v.balances(w)
	v.mass(w.Tolerance, "weighing.tolerance_kg")
	if w.Tolerance > 0 && w.Tolerance >= v.p.Quantity {
		v.add(fmt.Sprintf("must be less than the quantity, %s", v.p.Quantity), "weighing.tolerance_kg")
	}
	v.mass(w.Least, "weighing.least_kg")
	if w.AtMost < 0 {
		v.add("must not be negative; 0 is any number", "weighing.at_most")
	}
	if w.LotsPerMaterial < 0 {
		v.add("must not be negative; 0 is any number", "weighing.lots_per_material")
	}
	if !(w.Gap >= 0 && w.Gap <= 1) {
		v.add("must be a number from 0 (full proof) to 1", "weighing.gap")
	}
	if w.TimeLimit < 0 {
		v.add("must not be negative; 0 is no limit", "weighing.time_limit")
	}
	ids := make(map[string]struct{}, len(v.p.Candidates))
	for j := range v.p.Candidates {
		ids[v.p.Candidates[j].ID] = struct{}{}
	}
	for i := range w.Handling {
		h := &w.Handling[i]
		v.group(&h.Of, ids, fmt.Sprintf("weighing.handling[%d].of", i))
		v.mass(h.Division, "weighing.handling[%d].division_kg", i)
		v.mass(h.Container, "weighing.handling[%d].container_kg", i)
		v.mass(h.Least, "weighing.handling[%d].least_kg", i)
	}
	v.rules(w, ids)
}

// mass checks a mass that may be 0.
func (v *validator) mass(m mass.Mass, field string, args ...any) {
	if m < 0 || m > mass.Max {
		v.add("must be from 0 to 1,000,000 t", field, args...)
	}
}

func (v *validator) balances(w *Weighing) {
	for i, b := range w.Balances {
		if b.Division <= 0 || b.Division > mass.Max {
			v.add("must be above 0: what the balance reads in", "weighing.balances[%d].division_kg", i)
		}
		v.mass(b.From, "weighing.balances[%d].from_kg", i)
		v.mass(b.Capacity, "weighing.balances[%d].capacity_kg", i)
		switch {
		case b.Capacity > 0 && b.From > b.Capacity:
			v.add(fmt.Sprintf("%s is above the capacity, %s", b.From, b.Capacity), "weighing.balances[%d].from_kg", i)
		case b.Capacity > 0 && b.Division > b.Capacity:
			v.add(fmt.Sprintf("%s is above the capacity, %s", b.Division, b.Capacity), "weighing.balances[%d].division_kg", i)
		}
	}
}

func (v *validator) group(g *Group, ids map[string]struct{}, field string) {
	if len(g.Candidates)+len(g.Materials)+len(g.Classes) == 0 {
		v.add("name candidates, materials or classes", "%s", field)
	}
	for k, id := range g.Candidates {
		if _, ok := ids[id]; !ok {
			v.add(fmt.Sprintf("there is no candidate %q", id), "%s.candidates[%d]", field, k)
		}
	}
	for k, c := range g.Classes {
		if !c.Valid() {
			v.add(fmt.Sprintf("class %q is not known", c), "%s.classes[%d]", field, k)
		}
	}
}

func (v *validator) rules(w *Weighing, ids map[string]struct{}) {
	for i := range w.Rules {
		r := &w.Rules[i]
		least, most := 1, 1
		switch r.Kind {
		case IfThen:
			least, most = 2, 2
		case NeverBoth:
			least, most = 2, 50
		case AtLeastOf, AtMostOf:
			if r.Count < 0 || r.Kind == AtLeastOf && r.Count == 0 {
				v.add("say how many", "weighing.rules[%d].count", i)
			}
		default:
			v.add(fmt.Sprintf("kind %q is not known", r.Kind), "weighing.rules[%d].kind", i)
			continue
		}
		switch n := len(r.Groups); {
		case n >= least && n <= most:
		case least == most:
			v.add(fmt.Sprintf("%s takes %d, not %d", r.Kind, least, n), "weighing.rules[%d].groups", i)
		default:
			v.add(fmt.Sprintf("%s takes %d to %d, not %d", r.Kind, least, most, n), "weighing.rules[%d].groups", i)
		}
		for g := range r.Groups {
			v.group(&r.Groups[g], ids, fmt.Sprintf("weighing.rules[%d].groups[%d]", i, g))
		}
		if r.Kind == NeverBoth {
			v.apart(i, r)
		}
	}
}

// apart checks that no candidate stands on both sides of a NeverBoth.
func (v *validator) apart(i int, r *Rule) {
	for j := range v.p.Candidates {
		c, in := &v.p.Candidates[j], 0
		for g := range r.Groups {
			if r.Groups[g].Has(c) {
				in++
			}
		}
		if in > 1 {
			v.add(fmt.Sprintf("%s is in two of its groups: it could never be used", c.Name()), "weighing.rules[%d].groups", i)
			return
		}
	}
}
