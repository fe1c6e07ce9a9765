package app

import (
	"testing"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/costing/valuation"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
)

// drawLosses is a plant of two or three machines for each step, all of which keep
// something back, and an ink that goes through them.
func drawLosses(t *rapid.T) (*supply, formula.Formula) {
	s := drawSupply(t)
	s.plant.Machines = nil
	route := []formula.RouteStep{{Step: formula.Premix, Passes: 1}, {Step: formula.ThreeRoll, Passes: 1}, {Step: formula.LetDown, Passes: 1}}
	for _, r := range route {
		for i := range rapid.IntRange(1, 3).Draw(t, "machines") {
			s.plant.Machines = append(s.plant.Machines, Machine{ID: string(r.Step) + string(rune('a'+i)), Steps: []string{string(r.Step)}, MinutesPerBatch: 10,
				Capacity:      drawMass(t, "capacity", 900*mass.Kilogram) + 50*mass.Kilogram,
				LossPercent:   decimal.New(rapid.Int64Range(0, 500).Draw(t, "loss"), -2),
				LossPerCharge: mass.Mass(rapid.Int64Range(0, int64(2*mass.Kilogram)).Draw(t, "loss per charge"))})
		}
	}
	f := s.formulas.byMaterial["ink"]
	f.Route = route
	return s, f
}

// A standard batch goes through every machine in one charge.
func TestStandardBatchIsOneCharge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, f := drawLosses(t)
		r, err := s.costing(valuation.Standard, propertyDay).cost(f, s.standardBatch(f), nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, step := range r.Steps {
			if step.Runs != 1 {
				t.Fatalf("a batch of %s takes %d charges of %s in %s", r.Quantity, step.Runs, step.In, step.Name)
			}
		}
	})
}

// Several charges are taken only where no machine of the plant does it in one; a
// full batch is mixed in what was counted on, and a kilogram more is not.
func TestMachinesHoldWhatTheyLose(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, f := drawLosses(t)
		quantity := drawMass(t, "quantity", 2000*mass.Kilogram)
		r, err := s.costing(valuation.Standard, propertyDay).cost(f, quantity, nil)
		if err != nil {
			t.Fatal(err)
		}
		for k, meaning := range f.Route {
			step := r.Steps[k]
			if m := largest(s.plant.machinesFor(meaning.Step)); step.Runs > 1 && step.In+mass.Gram < m && step.Out+s.most(meaning.Step, m) < m {
				t.Fatalf("%s of %s go into %s in %d charges, the largest machine holds %s", step.In, quantity, step.Name, step.Runs, m)
			}
		}
		for _, full := range s.withFullBatches(f, []mass.Mass{10 * mass.Kilogram, 3000 * mass.Kilogram})[1:] {
			if full == 3000*mass.Kilogram {
				continue
			}
			if s.mixing(f, full) == s.mixing(f, full+mass.Kilogram) {
				t.Fatalf("%s do not fill the mixers: %s, a kilogram more %s", full, s.mixing(f, full), s.mixing(f, full+mass.Kilogram))
			}
		}
	})
}

// most is the most that a machine of the step keeps back of a charge, with a gram
// for rounding.
func (s *supply) most(step formula.Step, charge mass.Mass) (out mass.Mass) {
	for _, m := range s.plant.machinesFor(step) {
		out = max(out, charge-m.through(charge))
	}
	return out
}
