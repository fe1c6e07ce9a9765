package batch

import "millbase/inventory/property"

// Properties is what can be said of the blend of kg[j] of sets[j], by the
// catalogue's blending rules: every property, per qualifier where it is kept so,
// that all components which count have a value of. Amounts of nothing are left
// out. It is what a finished lot's certificate starts from; measured values take
// their place.
func Properties(catalogue *property.Catalogue, sets []property.Set, kg []float64) property.Set {
	out := property.Set{}
	for _, d := range catalogue.All() {
		if d.Name == property.RetainedFraction {
			continue // what was not retained is gone
		}
		for _, q := range qualifiers(d, sets) {
			v, err := property.Blend(&d, q, sets, kg)
			if err != nil || v == 0 && d.Default != nil && *d.Default == 0 || d.CheckValue(q, v) != "" {
				continue
			}
			out[property.Key(d.Name, q)] = v
		}
	}
	return out
}

func qualifiers(d property.Definition, sets []property.Set) []string {
	if !d.Qualified {
		return []string{""}
	}
	seen := map[string]bool{}
	var out []string
	for _, s := range sets {
		for key := range s {
			name, q := property.SplitKey(key)
			if name == d.Name && q != "" && !seen[q] {
				seen[q] = true
				out = append(out, q)
			}
		}
	}
	return out
}
