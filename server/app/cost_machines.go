package app

import (
	"fmt"
	"slices"
	"sort"

	"github.com/shopspring/decimal"

	"millbase/costing/rollup"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
)

// picked is the machine that a step of a route is put on.
type picked struct {
	machine Machine
	charges int64
}

// maxCharges is the largest number of charges that a cost is worked out for.
const maxCharges = 10_000

// picks puts each step of the route on the first machine that does it in one
// charge, or, when none does, on the one that holds most, in several charges. It is
// worked out backwards: what a machine loses goes through all steps before it.
func (s *supply) picks(f formula.Formula, quantity mass.Mass) ([]picked, error) {
	out := make([]picked, len(f.Route))
	left := chargeOf(f, quantity)
	for k := len(f.Route) - 1; k >= 0; k-- {
		machines := s.plant.machinesFor(f.Route[k].Step)
		if len(machines) == 0 {
			return nil, noMachine(f.Route[k].Step)
		}
		m, in, charges, err := choose(machines, left)
		if err != nil {
			return nil, costFault(err, f)
		}
		out[k], left = picked{m, charges}, in
	}
	return out, nil
}

// choose is the machine for a mass that is to come out of a step, and what goes in.
func choose(machines []Machine, out mass.Mass) (m Machine, in mass.Mass, charges int64, err error) {
	m = machines[0]
	for _, other := range machines {
		if in, charges, err = other.back(out); err == nil && charges == 1 {
			return other, in, charges, nil
		}
		if other.Capacity > m.Capacity {
			m = other
		}
	}
	if m.Capacity > 0 && out/m.Capacity > maxCharges {
		return m, 0, 0, InvalidField("quantity_kg", "the quantity is too large: %s holds %s, and it would take more than %d charges.", m.named(), m.Capacity, maxCharges)
	}
	in, charges, err = m.back(out)
	return m, in, charges, err
}

// loses reports whether the machine keeps anything back.
func (m Machine) loses() bool { return m.LossPercent.Sign() > 0 || m.LossPerCharge > 0 }

// back is what goes into the machine, in how many charges, for a mass to come out.
func (m Machine) back(out mass.Mass) (in mass.Mass, charges int64, err error) {
	if !m.loses() && (m.Capacity == 0 || out <= m.Capacity) {
		return out, 1, nil
	}
	return rollup.Step{Name: m.named(), Capacity: m.Capacity, LossPercent: m.LossPercent, LossPerRun: m.LossPerCharge}.Back(out)
}

// through is what comes out of the machine of one charge, less a gram for the
// milligrams that are rounded up on the way back.
func (m Machine) through(in mass.Mass) mass.Mass {
	if !m.loses() {
		return in
	}
	lost := mass.Mass(m.LossPercent.Shift(-2).Mul(decimal.NewFromInt(int64(in))).Ceil().IntPart()) + m.LossPerCharge
	return max(0, in-lost-mass.Gram)
}

// standardBatch is the quantity in which the plant makes an ink to stock: the
// largest charge that goes through all machines of its route at once, less the
// losses; 0 when they have no limit. Of the machines that hold it the one that
// loses most is counted on.
func (s *supply) standardBatch(f formula.Formula) mass.Mass {
	var charge mass.Mass
	for _, step := range f.Route {
		machines := s.plant.machinesFor(step.Step)
		if limit := largest(machines); limit > 0 && (charge == 0 || limit < charge) {
			charge = limit
		}
		if charge == 0 {
			continue
		}
		least := charge
		for _, m := range holding(machines, charge) {
			least = min(least, m.through(charge))
		}
		charge = least
	}
	return mass.MulDiv(charge, yieldOf(f), partsOf(f), mass.RoundDown)
}

// mostFullBatches is how many full batches are quoted beside what was asked for.
const mostFullBatches = 5

// withFullBatches adds the quantities between the smallest and the largest asked
// for that just fill the mixers they are made in: a kilogram more takes a larger
// mixer or one more charge.
func (s *supply) withFullBatches(f formula.Formula, asked []mass.Mass) []mass.Mass {
	out, last := slices.Clone(asked), asked[len(asked)-1]
	from := asked[0].RoundTo(mass.Kilogram, mass.RoundCeil)
	for full := 0; full < mostFullBatches && from < last; full++ {
		way, more := s.mixing(f, from), int((last-from)/mass.Kilogram)
		same := sort.Search(more, func(i int) bool { return s.mixing(f, from+mass.Mass(i+1)*mass.Kilogram) != way })
		if same == more {
			break
		}
		from += mass.Mass(same) * mass.Kilogram
		out = append(out, from)
		from += mass.Kilogram
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// mixing tells the ways apart in which a quantity is mixed: which mixers, in how
// many charges. It is empty where the quantity can't be made.
func (s *supply) mixing(f formula.Formula, quantity mass.Mass) (way string) {
	picks, err := s.picks(f, quantity)
	if err != nil {
		return ""
	}
	for k, r := range f.Route {
		if r.Step == formula.Premix || r.Step == formula.LetDown {
			way += fmt.Sprintf("%s x %d, ", picks[k].machine.ID, picks[k].charges)
		}
	}
	return way
}
