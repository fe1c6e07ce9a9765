package property

import "fmt"

func number(v float64) *float64 { return &v }

// fraction is a built-in amount per kg of material, 0 where nothing is known.
func fraction(name, title string, qualified bool) Definition {
	return Definition{Name: name, Title: title, Unit: "kg/kg", Qualified: qualified,
		Index: Linear, Basis: BasisMass, Default: number(0), Min: 0, Max: 1, BuiltIn: true}
}

// builtin lists the properties that every plant has. The plausible values are
// wide (common practice): they catch a slipped decimal point or a wrong unit, not
// a bad lot.
var builtin = []Definition{
	{Name: DensityKgPerL, Title: "Density", Unit: "kg/L",
		Index: Reciprocal, Basis: BasisMass, Min: 0.3, Max: 12, BuiltIn: true},
	fraction(PigmentFraction, "Dry pigment", true),
	{Name: TintStrengthFraction, Title: "Tint strength", Unit: "standard = 1",
		Index: Linear, Basis: PigmentFraction, Default: number(1), Min: 0.05, Max: 5, BuiltIn: true},
	fraction(BinderSolidsFraction, "Binder solids", false),
	fraction(VolatileFraction, "Volatile", false),
	fraction(WaterFraction, "Water", false),
	fraction(ExemptFraction, "Exempt solvent", false),
	{Name: ExemptDensityKgPerL, Title: "Density of the exempt solvent", Unit: "kg/L",
		Index: Reciprocal, Basis: ExemptFraction, Min: 0.3, Max: 3, BuiltIn: true},
	fraction(MetalFraction, "Drier metal", true),
	fraction(WaxSolidsFraction, "Wax solids", false),
	{Name: TackUnits, Title: "Tack", Unit: "tack units",
		Index: Linear, Basis: BasisMass, Min: 0, Max: 100, BuiltIn: true},
	// Scale and Offset serve a limit that asks for the double-log index instead:
	// mPa s, and the offset of Refutas.
	{Name: ViscosityPaS, Title: "Viscosity", Unit: "Pa s",
		Index: Logarithm, Basis: BasisMass, Scale: 1000, Offset: 0.8, Min: 2.5e-4, Max: 1e6, BuiltIn: true},
	{Name: KinematicViscosityMm2PerS, Title: "Kinematic viscosity", Unit: "mm2/s",
		Index: DoubleLog, Basis: BasisMass, Scale: 1, Offset: 0.7, Min: 0.31, Max: 1e8, BuiltIn: true},
	{Name: OilAbsorptionGPer100G, Title: "Oil absorption", Unit: "g/100 g",
		Index: Linear, Basis: PigmentFraction, Min: 0, Max: 2000, BuiltIn: true},
	fraction(WettingVehicleFraction, "Wetting vehicle", false),
	{Name: RetainedFraction, Title: "Retained", Unit: "kg/kg",
		Index: Linear, Basis: BasisMass, Default: number(1), Min: 0, Max: 1, BuiltIn: true},
}

// Catalogue is the built-in properties and the plant's own. The nil Catalogue is
// the built-in ones alone. It does not change, so it can be shared.
type Catalogue struct {
	all    []Definition
	byName map[string]int
}

var standard = mustBuild()

func mustBuild() *Catalogue {
	c := &Catalogue{byName: map[string]int{}}
	for i := range builtin {
		c.byName[builtin[i].Name] = i
	}
	c.all = builtin
	return c
}

// BuiltIn is the catalogue of the built-in properties alone.
func BuiltIn() *Catalogue { return standard }

// NewCatalogue is the built-in properties and own. The error says which
// definition can't be used and why: a bad one (see Definition.Check), a name
// that is taken, a basis that is not known.
func NewCatalogue(own ...Definition) (*Catalogue, error) {
	c := &Catalogue{
		all:    make([]Definition, len(builtin), len(builtin)+len(own)),
		byName: make(map[string]int, len(builtin)+len(own)),
	}
	copy(c.all, builtin)
	for i := range c.all {
		c.byName[c.all[i].Name] = i
	}
	for _, d := range own {
		if _, taken := c.byName[d.Name]; taken {
			return nil, fmt.Errorf("property %s: the name is taken", d.Name)
		}
		d.BuiltIn = false
		c.byName[d.Name] = len(c.all)
		c.all = append(c.all, d)
	}
	for i := len(builtin); i < len(c.all); i++ {
		if err := c.all[i].Check(c); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// Property looks a definition up by name, without qualifier.
func (c *Catalogue) Property(name string) (Definition, bool) {
	if c == nil {
		c = standard
	}
	i, ok := c.byName[name]
	if !ok {
		return Definition{}, false
	}
	return c.all[i], true
}

// All lists every definition, the built-in ones first. The slice must not be
// changed.
func (c *Catalogue) All() []Definition {
	if c == nil {
		c = standard
	}
	return c.all
}
