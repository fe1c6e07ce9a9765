package formulationtest

import (
	"fmt"
	"math"
	"math/rand/v2"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
)

var (
	pigments = []string{"PB15:3", "PY13", "PR57:1", "PBk7", "PY12", "PG7", "PV23", "PO34"}
	metals   = []string{"cobalt", "manganese", "calcium", "zirconium"}
	// classes in the proportions of an ink plant's stock.
	classes = []inventory.Class{
		inventory.Varnish, inventory.Pigment, inventory.Oil, inventory.Varnish, inventory.Drier,
		inventory.Pigment, inventory.Varnish, inventory.Wax, inventory.Oil, inventory.Drier,
		inventory.Varnish, inventory.Pigment, inventory.WorkOff, inventory.Additive, inventory.Varnish,
		inventory.Oil, inventory.Drier, inventory.Pigment, inventory.Wax, inventory.Varnish,
	}
)

type maker struct{ *rand.Rand }

func (m maker) between(lo, hi float64) float64 {
	v := lo + (hi-lo)*m.Float64()
	// Certificates give four figures.
	scale := math.Pow(10, 3-math.Floor(math.Log10(math.Abs(v)+1e-9)))
	return math.Round(v*scale) / scale
}

// candidate makes the j-th lot.
func (m maker) candidate(j int) formulation.Candidate {
	class := classes[j%len(classes)]
	c := formulation.Candidate{
		ID: fmt.Sprintf("lots/l-%d", 1000+j), Title: fmt.Sprintf("%s lot %d", class, 1000+j),
		Material: fmt.Sprintf("%s-%d", class, j/2), Class: class, FromStock: true,
	}
	switch class {
	case inventory.Pigment:
		m.pigment(&c, j)
	case inventory.Varnish:
		volatile := m.between(0.15, 0.35)
		c.CostPerKg = m.between(2.2, 5.5)
		c.Properties = property.Set{property.DensityKgPerL: m.between(0.94, 1.06), property.VolatileFraction: volatile,
			property.BinderSolidsFraction: 1 - volatile, property.WettingVehicleFraction: m.between(0.85, 1),
			property.TackUnits: m.between(7, 22), property.ViscosityPaS: m.between(8, 160)}
	case inventory.Oil:
		m.oil(&c)
	case inventory.Drier:
		c.CostPerKg = m.between(6, 13)
		c.Properties = property.Set{property.DensityKgPerL: m.between(0.9, 1.15), property.VolatileFraction: m.between(0.3, 0.5),
			property.BinderSolidsFraction: 0.4, property.TackUnits: m.between(1, 3), property.ViscosityPaS: m.between(0.3, 4),
			property.Key(property.MetalFraction, metals[(j/5)%len(metals)]): m.between(0.04, 0.18)}
	case inventory.Wax:
		c.CostPerKg = m.between(4, 9)
		c.Properties = property.Set{property.DensityKgPerL: m.between(0.93, 1.1), property.WaxSolidsFraction: m.between(0.3, 0.6),
			property.BinderSolidsFraction: 0.2, property.VolatileFraction: m.between(0.05, 0.2),
			property.TackUnits: m.between(3, 7), property.ViscosityPaS: m.between(20, 120)}
	case inventory.WorkOff:
		ink := pigments[j/3%len(pigments)]
		c.CostPerKg = m.between(0.4, 1.2)
		c.Properties = property.Set{property.DensityKgPerL: m.between(1.02, 1.15), property.VolatileFraction: m.between(0.18, 0.3),
			property.BinderSolidsFraction: 0.5, property.WettingVehicleFraction: 0.3, property.OilAbsorptionGPer100G: m.between(40, 60),
			property.Key(property.PigmentFraction, ink): m.between(0.13, 0.18), property.TintStrengthFraction: m.between(0.8, 1),
			property.TackUnits: m.between(8, 14), property.ViscosityPaS: m.between(20, 60)}
	default:
		c.CostPerKg = m.between(5, 15)
		c.Properties = property.Set{property.DensityKgPerL: m.between(0.9, 1.2), property.BinderSolidsFraction: m.between(0.1, 0.6),
			property.VolatileFraction: m.between(0, 0.3), property.TackUnits: m.between(1, 6), property.ViscosityPaS: m.between(0.5, 20)}
	}
	c.Available = mass.RoundKilograms(m.between(4, 400), mass.RoundHalfEven).RoundTo(mass.Gram, mass.RoundHalfEven)
	if m.IntN(5) == 0 { // an offer
		c.ID, c.Available, c.FromStock = fmt.Sprintf("suppliers/s-%d/offers/o-%d", j%7, j), -1, false
		c.CostPerKg *= 1.1
	}
	return c
}

// pigment has the tack and viscosity that it lends to an ink at its usual
// loading, as plants keep them for blending.
func (m maker) pigment(c *formulation.Candidate, j int) {
	c.ColourIndex = pigments[(j/4)%len(pigments)]
	c.CostPerKg = m.between(7, 26)
	c.Properties = property.Set{property.DensityKgPerL: m.between(1.4, 1.9), property.OilAbsorptionGPer100G: m.between(35, 80),
		property.Key(property.PigmentFraction, c.ColourIndex): m.between(0.95, 0.999),
		property.TackUnits: m.between(25, 45), property.ViscosityPaS: m.between(800, 9000)}
	if m.IntN(4) > 0 { // a certificate with a bleach test
		c.Properties[property.TintStrengthFraction] = m.between(0.88, 1.12)
	}
}

// oil is a drying oil or a distillate.
func (m maker) oil(c *formulation.Candidate) {
	c.CostPerKg = m.between(1.2, 3.4)
	if m.IntN(2) == 0 {
		c.Properties = property.Set{property.DensityKgPerL: m.between(0.91, 0.94), property.BinderSolidsFraction: 0.98,
			property.VolatileFraction: 0, property.WettingVehicleFraction: 1, property.TackUnits: m.between(1, 2), property.ViscosityPaS: m.between(0.03, 0.4)}
		return
	}
	c.Properties = property.Set{property.DensityKgPerL: m.between(0.78, 0.86), property.VolatileFraction: m.between(0.95, 1),
		property.TackUnits: 0.1, property.ViscosityPaS: m.between(0.002, 0.01)}
}
