package app

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/inventory"
	"millbase/inventory/batch"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/engines"
	"millbase/solver/formulation"
)

// potOf is an invented cyan: what may go in, and its limits.
func potOf(t *rapid.T) *setting {
	bound := func(v float64) *float64 { return &v }
	s := &setting{catalogue: property.BuiltIn(), currency: "EUR", limits: []formulation.Limit{
		{ID: "pigment", Kind: formulation.PigmentLoading, ByStrength: true, Lower: bound(0.18), Upper: bound(0.19)},
		{ID: "cobalt", Kind: formulation.MetalOnBinder, Metal: "cobalt", Lower: bound(0.03), Upper: bound(0.06)},
		{ID: "tack", Kind: formulation.Blended, Property: property.TackUnits, Lower: bound(9), Upper: bound(9.5)},
	}, origin: []int{-1, -1, -1}}
	for _, c := range []formulation.Candidate{
		{ID: "lots/a", Class: inventory.Pigment, Properties: property.Set{"pigment_fraction/PB15:3": 1, "tint_strength_fraction": 0.93, "tack_units": 10}},
		{ID: "lots/b", Class: inventory.Pigment, Properties: property.Set{"pigment_fraction/PB15:3": 1, "tint_strength_fraction": 1.07, "tack_units": 10}},
		{ID: "lots/c", Class: inventory.Varnish, Properties: property.Set{"binder_solids_fraction": 0.7, "tack_units": 13}},
		{ID: "lots/d", Class: inventory.Varnish, Properties: property.Set{"binder_solids_fraction": 0.9, "tack_units": 8}},
		{ID: "lots/e", Class: inventory.Oil, Properties: property.Set{"tack_units": 1}},
		{ID: "lots/f", Class: inventory.Drier, Properties: property.Set{"metal_fraction/cobalt": 0.1, "tack_units": 2}},
	} {
		c.Available = mass.Mass(rapid.Int64Range(1, 300).Draw(t, "stock")) * mass.Kilogram
		s.pool.add(c, decimal.New(rapid.Int64Range(100, 2000).Draw(t, "cents"), -2), nil)
	}
	return s
}

// What is to be weighed stands on the scale, adds up, is in stock, and obeys the
// limits by plain arithmetic.
func TestWeightsOnTheScaleObeyTheLimits(t *testing.T) {
	book := New(nil, engines.New(), time.Now)
	weighed := 0
	rapid.Check(t, func(t *rapid.T) {
		s := potOf(t)
		division := rapid.SampledFrom([]mass.Mass{mass.Gram, 5 * mass.Gram, 10 * mass.Gram, 50 * mass.Gram}).Draw(t, "division")
		s.req.Quantity = mass.Mass(rapid.Int64Range(100, 4000).Draw(t, "divisions")) * 50 * mass.Gram
		masses, err := book.onScale(context.Background(), s, batch.Batch{ID: "b"}, division)
		var fault *Fault
		if errors.As(err, &fault) && (fault.Reason == "BROKEN_BY_ROUNDING" || fault.Reason == "NO_FORMULA_FROM_STOCK") {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		weighed++
		var all mass.Mass
		var strong, cobalt, binder, tack float64
		for j, m := range masses {
			c := s.pool.candidates[j]
			if m%division != 0 || m < 0 || m > c.Available {
				t.Fatalf("%s of %s: scale %s, stock %s", m, c.ID, division, c.Available)
			}
			all += m
			kg, p := m.Kilograms(), c.Properties
			strong += kg * p["pigment_fraction/PB15:3"] * p["tint_strength_fraction"]
			cobalt += 100 * kg * p["metal_fraction/cobalt"]
			binder += kg * p["binder_solids_fraction"]
			tack += kg * p["tack_units"]
		}
		kg := all.Kilograms()
		if all != s.req.Quantity {
			t.Fatalf("%s instead of %s", all, s.req.Quantity)
		}
		for i, v := range []float64{strong / kg, cobalt / binder, tack / kg} {
			l := s.limits[i]
			if slack := 1.001e-5 * *l.Upper; v < *l.Lower-slack || v > *l.Upper+slack {
				t.Fatalf("%s is %g, wanted %g to %g", l.ID, v, *l.Lower, *l.Upper)
			}
		}
	})
	if weighed == 0 {
		t.Error("not one batch could be weighed")
	}
}
