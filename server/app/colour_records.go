package app

import "millbase/solver/colour"

// Substrate is a paper or board as measured.
type Substrate struct {
	ID         string
	Title      string
	Curve      colour.Curve
	Surface    colour.Surface
	FilmGPerM2 float64 // ink in a usual print
	Measured   string  // how, in words
}

// Characterisation is what a base ink does on a substrate: the drawdowns, and the
// fit to them.
type Characterisation struct {
	ID        string
	Material  string
	Substrate string
	Opaque    bool   // two constants; else a film with one
	White     string // opaque: of the white in the drawdowns; empty for that white itself
	Note      string
	Drawdowns []Drawdown

	// K is the absorption at share 1 per wavelength of the substrate; of a film its
	// K/S. S is the scattering of an opaque ink.
	K, S       []float64
	Residual   float64 // root mean square difference of reflectance
	Superseded bool
}

// Drawdown is a print of a base ink.
type Drawdown struct {
	Concentration float64 // kg of the base per kg
	FilmGPerM2    float64 // 0: as usual on the substrate
	Curve         colour.Curve
	DE00          float64 // between it and the fit, D50/2
}
