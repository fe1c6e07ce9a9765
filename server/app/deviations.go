package app

import (
	"context"
	"fmt"
	"maps"
	"slices"

	"millbase/inventory/property"
)

// checkDeviations lists what can't be right in standard deviations of values.
func checkDeviations(ctx context.Context, tx Tx, field string, s property.Set) (Invalid, error) {
	if len(s) == 0 {
		return nil, nil
	}
	catalogue, err := propertyCatalogue(ctx, tx)
	if err != nil {
		return nil, err
	}
	var bad Invalid
	for _, key := range slices.Sorted(maps.Keys(s)) {
		name, qualifier := property.SplitKey(key)
		d, known := catalogue.Property(name)
		why := ""
		switch sigma := s[key]; {
		case !known:
			why = fmt.Sprintf("property %q is not known", name)
		case !(sigma >= 0 && sigma <= d.Max-d.Min):
			why = fmt.Sprintf("a standard deviation of %s lies between 0 and %g %s", name, d.Max-d.Min, d.Unit)
		case name == property.PigmentFraction && qualifier == "": // of the material's own pigment
		default: // the key alone
			why = d.CheckValue(qualifier, d.Max)
		}
		if why != "" {
			bad = append(bad, FieldError{field + `["` + key + `"]`, why})
		}
	}
	return bad, nil
}

// deviationsOf are those of a candidate with the values s: of what has a value.
func deviationsOf(s property.Set, c *property.Catalogue, deviations ...property.Set) property.Set {
	var out property.Set
	for _, set := range deviations { // the later ones win
		for key, sigma := range set {
			name, _ := property.SplitKey(key)
			_, has := s[key]
			if d, known := c.Property(name); !known || !has && d.Default == nil {
				continue
			}
			if out == nil {
				out = property.Set{}
			}
			out[key] = sigma
		}
	}
	return out
}
