package formulation

import (
	"fmt"
	"math"

	"millbase/inventory/mass"
	"millbase/inventory/property"
)

// The sizes and magnitudes that a Problem may have: far above any plant, and far
// below what an engine can't handle.
const (
	MaxCandidates = 20_000
	MaxLimits     = 1_000
	MaxCost       = 1e9 // money per kg
	MaxBound      = 1e9 // in the unit of the limit
)

// Validate reports every fault of p that its caller can correct, as FieldErrors:
// numbers that are not finite or not plausible, bounds out of order, unknown
// properties, ids that repeat. It is part of Optimise.
func (p *Problem) Validate() error {
	v := validator{p: p}
	v.problem()
	if len(v.errs) > 0 {
		return v.errs
	}
	return nil
}

type validator struct {
	p    *Problem
	errs FieldErrors
	// known remembers what a property key stands for.
	known map[string]keyed
}

// keyed is a property key, looked up once per problem.
type keyed struct {
	def       property.Definition
	qualifier string
	problem   string
}

// add notes a fault; args are those of Sprintf for field.
func (v *validator) add(problem, field string, args ...any) {
	if len(v.errs) < 100 {
		v.errs = append(v.errs, FieldError{fmt.Sprintf(field, args...), problem})
	}
}

func (v *validator) problem() {
	p := v.p
	switch {
	case p.Catalogue == nil:
		v.add("give the catalogue of properties", "catalogue")
		return
	case len(p.Candidates) > MaxCandidates:
		v.add(fmt.Sprintf("%d are too many: give at most %d", len(p.Candidates), MaxCandidates), "candidates")
		return
	case len(p.Limits) > MaxLimits:
		v.add(fmt.Sprintf("%d are too many: give at most %d", len(p.Limits), MaxLimits), "limits")
		return
	case len(p.Candidates) == 0:
		v.add("give at least one thing that may go into the ink", "candidates")
	}
	if p.Quantity <= 0 {
		v.add("must be above 0", "quantity_kg")
	} else if p.Quantity > mass.Max {
		v.add("must be at most 1,000,000 t", "quantity_kg")
	}
	if w := p.Settings.WaterDensityKgPerL; w != 0 && !(w >= 0.9 && w <= 1.1) {
		v.add("must lie between 0.9 and 1.1, or be 0 for 0.997", "settings.water_density_kg_per_l")
	}
	v.limits()
	v.goals()
	v.candidates()
	v.weighing()
	v.rows()
}

func (v *validator) limits() {
	seen := make(map[string]struct{}, len(v.p.Limits))
	for i := range v.p.Limits {
		l := &v.p.Limits[i]
		if l.ID == "" {
			v.add("give the limit an id", "limits[%d].id", i)
		} else if _, twice := seen[l.ID]; twice {
			v.add(fmt.Sprintf("%q is used twice: give each limit its own id", l.ID), "limits[%d].id", i)
		}
		seen[l.ID] = struct{}{}
		v.limit("limits", i, l)
		v.safety(i, l)
	}
}

// limit checks one limit of a list of the Problem: "limits", "goals".
func (v *validator) limit(list string, i int, l *Limit) {
	least := 0.0 // no kind but Blended can be negative
	switch l.Kind {
	case PigmentLoading, VOCMass, VOCContent, WaxSolids, WettingDemand:
	case MetalOnBinder:
		if l.Metal == "" {
			v.add("name the metal", "%s[%d].metal", list, i)
		}
	case Share:
		if len(l.Materials)+len(l.Classes) == 0 {
			v.add("name the materials or classes that count", "%s[%d].materials", list, i)
		}
		for k, c := range l.Classes {
			if !c.Valid() {
				v.add(fmt.Sprintf("class %q is not known", c), "%s[%d].classes[%d]", list, i, k)
			}
		}
	case Blended:
		d, _, why := l.blended(v.p.Catalogue)
		if why != "" {
			v.add(why, "%s[%d].property", list, i)
			return
		}
		least = d.Domain()
	default:
		v.add(fmt.Sprintf("kind %q is not known", l.Kind), "%s[%d].kind", list, i)
		return
	}
	v.bounds(list, i, l, least)
	if w := l.MoveWeight; !(w >= 0 && w <= MaxBound) {
		v.add("must be a number from 0 to 1e9", "%s[%d].move_weight", list, i)
	}
}

func (v *validator) bounds(list string, i int, l *Limit, least float64) {
	ok := true
	for _, b := range [...]struct {
		name string
		at   *float64
	}{{"lower", l.Lower}, {"upper", l.Upper}} {
		if b.at != nil && !(math.Abs(*b.at) <= MaxBound) {
			v.add("must be a finite number of at most 1e9 in size", "%s[%d].%s", list, i, b.name)
			ok = false
		}
	}
	switch {
	case l.Lower == nil && l.Upper == nil:
		v.add("give a lower bound, an upper bound or both", "%s[%d].lower", list, i)
	case !ok:
	case l.Lower != nil && l.Upper != nil && *l.Lower > *l.Upper:
		v.add(fmt.Sprintf("the lower bound %g is above the upper bound %g", *l.Lower, *l.Upper), "%s[%d].lower", list, i)
	case l.Upper != nil && (*l.Upper < least || *l.Upper == least && l.Kind == Blended):
		v.add(fmt.Sprintf("the upper bound %g can't be met: it must be above %g", *l.Upper, least), "%s[%d].upper", list, i)
	}
}

// blended is the property that a Blended limit is on; why is set when there is
// none that can be limited.
func (l *Limit) blended(c Catalogue) (d property.Definition, qualifier, why string) {
	name, qualifier := property.SplitKey(l.Property)
	d, ok := c.Property(name)
	switch {
	case name == "":
		return d, "", "name the property that is limited"
	case !ok:
		return d, "", fmt.Sprintf("property %q is not known", name)
	case qualifier != "" && !d.Qualified:
		return d, "", fmt.Sprintf("%s is one value per material: drop %q", name, "/"+qualifier)
	}
	if l.Index != "" && l.Index != d.Index {
		d.Index = l.Index
		if d.Index == property.Power && d.Exponent == 0 {
			return d, "", fmt.Sprintf("%s has no exponent for a power index", name)
		}
	}
	if !d.BuiltIn || l.Index != "" {
		if err := d.Check(c); err != nil {
			return d, "", err.Error()
		}
	}
	return d, qualifier, ""
}
