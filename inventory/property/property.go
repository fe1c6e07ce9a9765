package property

import "strings"

// The built-in properties. Fractions are kg per kg of material.
const (
	DensityKgPerL             = "density_kg_per_l"
	PigmentFraction           = "pigment_fraction"       // dry pigment, per Colour Index name
	TintStrengthFraction      = "tint_strength_fraction" // 1 is standard strength
	BinderSolidsFraction      = "binder_solids_fraction"
	VolatileFraction          = "volatile_fraction" // oven test, water and exempt included
	WaterFraction             = "water_fraction"
	ExemptFraction            = "exempt_fraction"
	ExemptDensityKgPerL       = "exempt_density_kg_per_l"
	MetalFraction             = "metal_fraction" // per metal
	WaxSolidsFraction         = "wax_solids_fraction"
	TackUnits                 = "tack_units"
	ViscosityPaS              = "viscosity_pa_s"
	KinematicViscosityMm2PerS = "kinematic_viscosity_mm2_per_s"
	OilAbsorptionGPer100G     = "oil_absorption_g_per_100g" // ISO 787-5
	WettingVehicleFraction    = "wetting_vehicle_fraction"
	// RetainedFraction is the part of the material's mass that stays in the
	// ink: below 1 for a pigment presscake whose water is flushed out.
	RetainedFraction = "retained_fraction"
)

// Index is the monotone function f by which a property blends.
type Index string

// The blending indices.
const (
	Linear     Index = "linear"     // f(p) = p
	Reciprocal Index = "reciprocal" // f(p) = 1/p
	Logarithm  Index = "logarithm"  // f(p) = ln p (Arrhenius)
	DoubleLog  Index = "double_log" // f(p) = ln ln(scale p + offset)
	Power      Index = "power"      // f(p) = p^exponent
)

// The built-in bases; any other basis is the name of a property.
const (
	BasisMass   = "mass"
	BasisVolume = "volume"
)

// Definition describes one property.
type Definition struct {
	Name  string // its unit comes last: "gloss_units"
	Title string
	Unit  string // as printed: "kg/L"
	// Qualified properties are kept per qualifier: per pigment, per metal.
	Qualified bool
	Index     Index
	Basis     string
	Scale     float64 // DoubleLog; 0 means 1
	Offset    float64 // DoubleLog; 0.7 (ASTM D341) or 0.8 (Refutas)
	Exponent  float64 // Power
	// Default is used for a material without a value; nil means that such a
	// material can't take part where the property is limited.
	Default  *float64
	Min, Max float64 // plausible values, ends included
	BuiltIn  bool
}

// Set holds values by key.
type Set map[string]float64

// Key joins a property name and its qualifier.
func Key(name, qualifier string) string {
	if qualifier == "" {
		return name
	}
	return name + "/" + qualifier
}

// SplitKey is the inverse of Key.
func SplitKey(key string) (name, qualifier string) {
	name, qualifier, _ = strings.Cut(key, "/")
	return name, qualifier
}

// Merge lays over on s: the values of over win. Neither is changed.
func (s Set) Merge(over Set) Set {
	out := make(Set, len(s)+len(over))
	for k, v := range s {
		out[k] = v
	}
	for k, v := range over {
		out[k] = v
	}
	return out
}
