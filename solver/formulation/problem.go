package formulation

import (
	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
)

// Candidate is something that may go into the pot: a lot with stock left, an
// offer that can arrive in time, or an inline component.
type Candidate struct {
	ID       string // "lots/l-1042", "suppliers/ostrova/offers/o-7", or the caller's own
	Title    string
	Material string // id of the material
	Class    inventory.Class
	// ColourIndex of a pigment; with it the plain "pigment_fraction" counts
	// under that name.
	ColourIndex string
	Properties  property.Set
	CostPerKg   float64 // in the currency of the problem
	// Available is the most that can be used; a negative value means no limit.
	Available mass.Mass
	// AtLeast is the least that must be used, usually 0.
	AtLeast mass.Mass
	// FromStock is false for what would have to be bought.
	FromStock bool
	// Deviation are the standard deviations of values in Properties (or of their
	// defaults), by key; what has none is certain.
	Deviation property.Set
	// UsePremium is what it is worth, per kg and in the currency of the problem,
	// that this one is used up: the scrap that it would otherwise become, say. It
	// makes the candidate more welcome by that much and changes no cost: see
	// Answer.UseUp.
	UsePremium float64
	// MadeOf is what leftover ink was made of, where that is known: a limit on a set
	// of materials counts them.
	MadeOf []Content
}

// Content is a material in leftover ink, kg per kg.
type Content struct {
	Material string
	Class    inventory.Class
	Fraction float64
}

// Catalogue looks a property up by name (without qualifier).
type Catalogue interface {
	Property(name string) (property.Definition, bool)
}

// Name is the title of the candidate, or its id.
func (c *Candidate) Name() string {
	if c.Title != "" {
		return c.Title
	}
	return c.ID
}

// Settings are the plant's own figures that enter the limits.
type Settings struct {
	// WaterDensityKgPerL is used in VOC less water; rules differ (0.995 to
	// 0.998), 0 means 0.997.
	WaterDensityKgPerL float64
}

// Problem asks for the cheapest blend.
type Problem struct {
	Quantity mass.Mass // of ink, after what is not retained
	Limits   []Limit
	// Goals are aims beside the cost; see Goal.
	Goals []Goal
	// GoalTolerance is the part of its target by which the deviation of a goal of
	// an earlier rank may grow for the sake of later ones and of the cost; 0: none.
	GoalTolerance float64
	// CostRank is the place of the cost among the ranks of the goals; 0: after all
	// of them, where it is weighed against goals of rank 0.
	CostRank int
	// CostTolerance is the part of the least cost that may be spent on goals of a
	// later rank.
	CostTolerance float64
	Candidates    []Candidate
	Catalogue     Catalogue
	Settings      Settings
	Currency      string
	// Weighing says how the formula is weighed; nil: to the milligram.
	Weighing *Weighing
	// Rows are further linear rows that the shares must meet.
	Rows []Row
}

// Row is a linear row on the shares from outside, such as a shade's: the sum of
// Coefficients[j], per candidate, times its share (kg per kg of ink) lies between
// Lower and Upper, in the unit of the caller. A row holds to 1 in 1,000,000 of
// what its terms add up to in size. It is no limit: no clash asks it to move.
type Row struct {
	Title        string
	Coefficients []float64
	Lower, Upper float64 // -Inf and +Inf do not bind
}
