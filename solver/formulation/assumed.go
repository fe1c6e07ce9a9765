package formulation

import (
	"fmt"
	"strings"

	"millbase/inventory"
	"millbase/inventory/property"
)

// assumed says which values of the used candidates were taken for granted, one
// sentence per property. A value of 0 that goes without saying (a varnish without
// pigment) is not mentioned; one that could hide something is.
func (b *built) assumed(portions []portion) []string {
	var out []string
	said := map[string]bool{}
	say := func(key, taken string, counts func(*Candidate) bool) {
		if said[key] {
			return
		}
		said[key] = true
		var names []string
		for _, o := range portions {
			c := &b.p.Candidates[b.active[o.column]]
			if _, known := c.Properties[key]; !known && counts(c) {
				names = append(names, c.Name())
			}
		}
		if len(names) > 0 {
			out = append(out, fmt.Sprintf("%s of %s taken as %s: no certificate value.", b.title(key), list(names), taken))
		}
	}
	if s := b.certain(portions); s != "" {
		out = append(out, s)
	}
	for i := range b.terms {
		l := b.terms[i].limit
		switch l.Kind {
		case PigmentLoading:
			if l.ByStrength {
				say(property.TintStrengthFraction, "100 %", func(c *Candidate) bool { return c.Properties.Sum(property.PigmentFraction) > 0 })
			}
		case VOCMass, VOCContent:
			say(property.VolatileFraction, "0", mayBeVolatile)
		case MetalOnBinder:
			say(property.BinderSolidsFraction, "0", bindsUsually)
		case WettingDemand:
			say(property.WettingVehicleFraction, "0", bindsUsually)
		case Blended:
			if d := b.terms[i].def; d.Default != nil && !d.Qualified && !d.BuiltIn {
				say(d.Name, fmt.Sprintf("%g %s", *d.Default, d.Unit), func(*Candidate) bool { return true })
			}
		}
	}
	return out
}

// certain names the used candidates of which no deviation is known, where it
// matters.
func (b *built) certain(portions []portion) string {
	if len(b.guards) == 0 {
		return ""
	}
	var names []string
	for _, o := range portions {
		if c := &b.p.Candidates[b.active[o.column]]; len(c.uncertain()) == 0 {
			names = append(names, c.Name())
		}
	}
	independent := "Values of different lots, and the properties of one, are taken to deviate independently."
	if len(names) == 0 {
		return independent
	}
	return independent + " No deviation is known of " + list(names) + ": their values count as certain."
}

func (b *built) title(key string) string {
	name, _ := property.SplitKey(key)
	if d, ok := b.p.Catalogue.Property(name); ok {
		return d.Title
	}
	return key
}

func mayBeVolatile(c *Candidate) bool {
	switch c.Class {
	case inventory.Pigment, inventory.Wax:
		return false
	}
	return true
}

func bindsUsually(c *Candidate) bool {
	switch c.Class {
	case inventory.Varnish, inventory.BaseInk, inventory.WorkOff, inventory.Ink:
		return true
	}
	return false
}

// list joins names: "a, b and c".
func list(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " and " + names[last]
}
