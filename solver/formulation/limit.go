package formulation

import (
	"millbase/inventory"
	"millbase/inventory/property"
)

// LimitKind says what a limit is on.
type LimitKind string

// The kinds of limit.
const (
	// PigmentLoading limits dry pigment, kg/kg of ink; ColourIndex picks one
	// pigment, empty is all of them. ByStrength counts each kg of pigment times
	// its tint strength.
	PigmentLoading LimitKind = "pigment_loading"
	// VOCMass limits volatile less water and exempt, kg/kg of ink.
	VOCMass LimitKind = "voc_mass"
	// VOCContent limits volatile organic compounds less water and exempt in g/L
	// of ink less water and exempt: (Wv-Ww-Wec)/(V-Vw-Vec), 40 CFR 59.104(a)(1).
	VOCContent LimitKind = "voc_content"
	// MetalOnBinder limits a drier metal on binder solids, %.
	MetalOnBinder LimitKind = "metal_on_binder"
	// Share limits the kg of Members per kg of ink: total drier, work-off, any
	// set of materials.
	Share LimitKind = "share"
	// WaxSolids limits wax solids, kg/kg of ink.
	WaxSolids LimitKind = "wax_solids"
	// WettingDemand limits the oil that the dry pigment takes up (oil
	// absorption, ISO 787-5) over the wetting vehicle, kg/kg.
	WettingDemand LimitKind = "wetting_demand"
	// Blended limits the blended value of a property by its own blending rule:
	// tack, viscosity, density, anything the plant added.
	Blended LimitKind = "blended"
)

// Limit is one limit of a specification. At least one of Lower and Upper is set.
type Limit struct {
	ID    string // unique in its specification: "voc", "pigment-total"
	Title string
	Kind  LimitKind
	Lower *float64
	Upper *float64

	ColourIndex string // PigmentLoading
	ByStrength  bool   // PigmentLoading
	Metal       string // MetalOnBinder: "cobalt"
	// Members of a Share: a candidate counts when its material or its class is
	// named.
	Materials []string
	Classes   []inventory.Class
	Property  string // Blended: name of the property, with qualifier if any
	// Index, for Blended, overrides the property's own blending index: viscosity
	// by double log instead of Arrhenius. Empty keeps the property's.
	Index property.Index

	// MoveWeight says how unwelcome it is to move this limit when nothing meets
	// all of them, per unit of the limit; 0 means 1 per 1 % of the limit.
	MoveWeight float64
	// Confidence asks that the limit holds with at least this probability, above
	// 0.5 and below 1, although values of candidates deviate; 0: at their nominal
	// values. See Safety.
	Confidence float64
	// Budget, in place of Confidence, asks that the limit holds as long as at most
	// so many components are off, each by at most Spread of its standard
	// deviations.
	Budget float64
	Spread float64 // of Budget; 0 means 3

	// Hard limits are never proposed to be moved (a legal limit).
	Hard bool
}

// Unit is the unit in which the limit, its slack and its movement are given.
func (l *Limit) Unit(c Catalogue) string {
	switch l.Kind {
	case VOCContent:
		return "g/L"
	case MetalOnBinder:
		return "%"
	case Blended:
		name, _ := property.SplitKey(l.Property)
		if d, ok := c.Property(name); ok {
			return d.Unit
		}
		return ""
	}
	return "kg/kg"
}

// Name is the title of the limit, or its id.
func (l *Limit) Name() string {
	if l.Title != "" {
		return l.Title
	}
	return l.ID
}

// counted is the part of a kg of the candidate that counts in a Share limit: all of
// a member; of leftover ink what members went into it.
func (l *Limit) counted(c *Candidate) float64 {
	if l.member(c.Material, c.Class) {
		return 1
	}
	sum := 0.0
	for i := range c.MadeOf {
		if l.member(c.MadeOf[i].Material, c.MadeOf[i].Class) {
			sum += c.MadeOf[i].Fraction
		}
	}
	return sum
}

// member reports whether a material or its class is named by a Share limit.
func (l *Limit) member(material string, class inventory.Class) bool {
	for _, m := range l.Materials {
		if m == material {
			return true
		}
	}
	for _, k := range l.Classes {
		if k == class {
			return true
		}
	}
	return false
}
