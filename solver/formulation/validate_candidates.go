package formulation

import (
	"fmt"
	"math"

	"millbase/inventory/property"
)

func (v *validator) candidates() {
	seen := make(map[string]struct{}, len(v.p.Candidates))
	v.known = make(map[string]keyed, 24)
	for j := range v.p.Candidates {
		c := &v.p.Candidates[j]
		if c.ID == "" {
			v.add("give the candidate an id", "candidates[%d].id", j)
		} else {
			n := len(seen)
			if seen[c.ID] = struct{}{}; len(seen) == n {
				v.add(fmt.Sprintf("%q is used twice: give each candidate its own id", c.ID), "candidates[%d].id", j)
			}
		}
		if !(math.Abs(c.CostPerKg) <= MaxCost) {
			v.add("must be a finite amount of at most 1e9 per kg", "candidates[%d].cost_per_kg", j)
		}
		if !(c.UsePremium >= 0 && c.UsePremium <= MaxCost) {
			v.add("must be an amount from 0 to 1e9 per kg", "candidates[%d].use_premium_per_kg", j)
		}
		if c.AtLeast < 0 {
			v.add("must not be negative", "candidates[%d].at_least_kg", j)
		} else if c.Available >= 0 && c.AtLeast > c.Available {
			v.add(fmt.Sprintf("at least %s must be used but only %s is available", c.AtLeast, c.Available), "candidates[%d].at_least_kg", j)
		}
		v.properties(j, c)
		v.deviations(j, c)
	}
}

// properties checks the values of a candidate as they stand. What a book keeps
// was checked in depth when it was entered (property.Catalogue.Check).
func (v *validator) properties(j int, c *Candidate) {
	for key, value := range c.Properties {
		k, ok := v.known[key]
		if !ok {
			k = v.lookUp(key)
			v.known[key] = k
		}
		switch {
		case k.problem != "":
			v.add(k.problem, "candidates[%d].properties[%s]", j, key)
		case value >= k.def.Min && value <= k.def.Max: // false for NaN
		default:
			v.add(k.def.CheckValue(k.qualifier, value), "candidates[%d].properties[%s]", j, key)
		}
	}
}

func (v *validator) lookUp(key string) keyed {
	name, qualifier := property.SplitKey(key)
	d, ok := v.p.Catalogue.Property(name)
	k := keyed{def: d, qualifier: qualifier}
	switch {
	case !ok:
		k.problem = fmt.Sprintf("property %q is not known", name)
	case !(d.Min <= d.Max && math.Abs(d.Min) <= property.Largest && math.Abs(d.Max) <= property.Largest):
		k.problem = fmt.Sprintf("the catalogue gives %s no plausible range", name)
	case d.Min <= d.Domain():
		k.problem = fmt.Sprintf("the catalogue gives %s a range in which its index is not defined", name)
	case name == property.PigmentFraction && qualifier == "": // of the candidate's own pigment
	case d.Qualified && qualifier == "" || !d.Qualified && qualifier != "":
		k.problem = d.CheckValue(qualifier, d.Min)
	}
	return k
}
