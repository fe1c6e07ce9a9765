package formulation_test

import (
	"context"
	"encoding/binary"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/checked"
	"millbase/solver/formulation"
)

// FuzzOptimise feeds any figures, NaN and infinities included, into a problem of
// every kind of limit: no panic, no hang, no answer that its own check would
// refuse; the errors are those of bad fields or of figures that can't be solved.
func FuzzOptimise(f *testing.F) {
	f.Add(int64(100e6), []byte("a believable ink is made of bytes like these, more or less"), uint8(3), uint8(5))
	f.Add(int64(1), []byte{0xff, 0xf8, 0, 0, 0, 0, 0, 0}, uint8(1), uint8(8))
	f.Add(int64(-5), []byte{0x7f, 0xf0, 0, 0, 0, 0, 0, 0, 0x54, 0xb2, 0x49, 0xad, 0x25, 0x94, 0xc3, 0x7d}, uint8(9), uint8(12))
	f.Add(int64(math.MaxInt64), []byte{}, uint8(0), uint8(0))
	kinds := []formulation.LimitKind{formulation.PigmentLoading, formulation.VOCMass, formulation.VOCContent,
		formulation.MetalOnBinder, formulation.Share, formulation.WaxSolids, formulation.WettingDemand, formulation.Blended, "nonsense"}
	keys := []string{property.DensityKgPerL, property.VolatileFraction, property.WaterFraction, property.BinderSolidsFraction,
		"metal_fraction/cobalt", "pigment_fraction/PB15:3", property.PigmentFraction, property.TackUnits, property.ViscosityPaS,
		property.WaxSolidsFraction, property.WettingVehicleFraction, property.OilAbsorptionGPer100G, property.RetainedFraction, "no_such_units"}
	f.Fuzz(func(t *testing.T, quantity int64, data []byte, candidates, limits uint8) {
		at := 0
		next := func() float64 {
			var b [8]byte
			at += copy(b[:], data[min(at, len(data)):])
			v := math.Float64frombits(binary.BigEndian.Uint64(b[:]))
			if at%3 == 0 { // bring most figures to where they mean something
				v = math.Mod(v, 2)
			} else if at%3 == 1 && len(data) > 0 {
				v = float64(data[at%len(data)]) / 200
			}
			return v
		}
		p := &formulation.Problem{Quantity: mass.Mass(quantity), Catalogue: property.BuiltIn()}
		for j := range int(candidates % 8) {
			c := formulation.Candidate{ID: string(rune('a' + j)), Material: string(rune('a' + j%3)), CostPerKg: next(),
				Class: inventory.Classes[j%len(inventory.Classes)], Available: mass.Mass(next() * 1e8), Properties: property.Set{}}
			for k := range 5 {
				c.Properties[keys[(k*3+j+len(data))%len(keys)]] = next()
			}
			p.Candidates = append(p.Candidates, c)
		}
		for i := range int(limits % 12) {
			lower, upper := next(), next()
			l := formulation.Limit{ID: string(rune('A' + i)), Kind: kinds[(i+len(data))%len(kinds)], Metal: "cobalt",
				Materials: []string{"a"}, Property: keys[(i+at)%len(keys)], MoveWeight: math.Abs(next())}
			if i%3 != 0 {
				l.Lower = &lower
			}
			if i%3 != 1 {
				l.Upper = &upper
			}
			p.Limits = append(p.Limits, l)
		}
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		a, err := formulation.Optimise(ctx, engine, p)
		var fields formulation.FieldErrors
		var untrusted *checked.Error
		switch {
		case errors.As(err, &fields):
			for _, e := range fields {
				if e.Field == "" || strings.TrimSpace(e.Problem) == "" {
					t.Fatalf("an error that says nothing: %+v", fields)
				}
			}
		case errors.Is(err, formulation.ErrNumerical), errors.As(err, &untrusted):
		case err != nil:
			t.Fatal(err)
		case a.Outcome == formulation.Optimal:
			for _, r := range a.Limits {
				if !r.Met {
					t.Fatalf("optimal, but %+v", r)
				}
			}
		case a.Outcome == formulation.Infeasible && a.Clash == nil:
			t.Fatal("infeasible without a clash")
		}
	})
}
