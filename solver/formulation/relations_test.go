package formulation_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"millbase/inventory/mass"
	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
	"millbase/solver/solvertest"
)

func clone(p *formulation.Problem) *formulation.Problem {
	out := *p
	out.Limits, out.Candidates = slices.Clone(p.Limits), slices.Clone(p.Candidates)
	return &out
}

// What must hold whatever the figures: more limits never make an ink cheaper, more
// candidates never dearer; order, names and the size of the batch (with its stock)
// do not matter; prices in cents give a cost in cents.
func TestRelations(t *testing.T) {
	for seed := range uint64(40) {
		p := formulationtest.Problem(seed, 14+int(seed), 6+int(seed%11))
		base := optimal(t, p)
		tol := 1e-6 * base.CostPerKg

		fewer := clone(p)
		fewer.Limits = fewer.Limits[:len(fewer.Limits)-1]
		if c := optimal(t, fewer).CostPerKg; c > base.CostPerKg+tol {
			t.Errorf("seed %d: a limit less costs more: %g, %g", seed, c, base.CostPerKg)
		}
		without := clone(p)
		without.Candidates = without.Candidates[:len(without.Candidates)-1]
		if a := optimise(t, without); a.Outcome == formulation.Optimal && a.CostPerKg < base.CostPerKg-tol {
			t.Errorf("seed %d: a candidate less costs less: %g, %g", seed, a.CostPerKg, base.CostPerKg)
		}
		shuffled := clone(p)
		r := rand.New(rand.NewPCG(seed, 1))
		r.Shuffle(len(shuffled.Candidates), func(i, j int) {
			c := shuffled.Candidates
			c[i], c[j] = c[j], c[i]
		})
		slices.Reverse(shuffled.Limits)
		for i := range shuffled.Limits {
			shuffled.Limits[i].ID += " renamed"
		}
		near(t, "in another order", optimal(t, shuffled).CostPerKg, base.CostPerKg, tol)

		scaled := clone(p)
		scaled.Quantity *= 7
		for j := range scaled.Candidates {
			c := &scaled.Candidates[j]
			c.CostPerKg *= 100
			if c.Available > 0 {
				c.Available *= 7
			}
		}
		near(t, "seven times as much, in cents", optimal(t, scaled).CostPerKg, 100*base.CostPerKg, 100*tol)
	}
}

// The masses are weighable: they add up to the quantity, stay within stock, meet
// every limit by Evaluate, and cost what is said.
func TestMassesAddUp(t *testing.T) {
	for seed := range uint64(60) {
		p := formulationtest.Problem(seed, 14+int(seed), 4+int(seed%13))
		p.Quantity = []mass.Mass{250 * mass.Kilogram, 250*mass.Kilogram - 1, 33_333_333, 1_000_003, 90_001}[seed%5]
		a := optimal(t, p)
		kg := make([]float64, len(p.Candidates))
		var sum mass.Mass
		cost := 0.0
		for _, c := range a.Components {
			sum += c.Mass
			of := p.Candidates[c.Candidate]
			if c.Mass <= 0 || of.Available >= 0 && c.Mass > of.Available {
				t.Errorf("seed %d: %s of %s, available %s", seed, c.Mass, of.ID, of.Available)
			}
			kg[c.Candidate] = c.Mass.Kilograms()
			cost += c.Mass.Kilograms() * of.CostPerKg
		}
		if sum != p.Quantity {
			t.Errorf("seed %d: %s of %s", seed, sum, p.Quantity)
		}
		// A hundred milligrams here or there: small batches are drawn in.
		near(t, "cost", cost, a.TotalCost, a.TotalCost*(1e-6+100/float64(p.Quantity)))
		reports, err := formulation.Evaluate(p, kg)
		if err != nil {
			t.Fatal(err)
		}
		for i, r := range reports {
			if !r.Met {
				t.Errorf("seed %d: %s is %g (%g to missing)", seed, p.Limits[i].ID, r.Value, r.Slack)
			}
			near(t, p.Limits[i].ID, a.Limits[i].Value, r.Value, 1e-12*math.Abs(r.Value))
		}
		if len(a.Components)+len(a.Unused)+len(a.LeftOut) != len(p.Candidates) {
			t.Errorf("seed %d: %d used, %d unused and %d left out of %d", seed, len(a.Components), len(a.Unused), len(a.LeftOut), len(p.Candidates))
		}
	}
}

// An unused candidate comes in just below its entry price and not just above; what
// is used stays as it is within its cost range.
func TestEntryPricesAndCostRanges(t *testing.T) {
	checked := 0
	for seed := range uint64(15) {
		p := formulationtest.Problem(seed, 20, 8)
		a := optimal(t, p)
		for _, u := range a.Unused {
			if p.Candidates[u.Candidate].CostPerKg-u.EntryPricePerKg < 1e-6 {
				continue
			}
			checked++
			for _, step := range []float64{0.999, 1.001} {
				q := clone(p)
				q.Candidates[u.Candidate].CostPerKg = u.EntryPricePerKg - (1-step)*math.Abs(u.EntryPricePerKg)
				b := optimal(t, q)
				cheaper := b.CostPerKg < a.CostPerKg-1e-9
				if step > 1 && cheaper || step < 1 && b.CostPerKg > a.CostPerKg+1e-9 {
					t.Errorf("seed %d: candidate %d at %g x its entry price: %g, was %g", seed, u.Candidate, step, b.CostPerKg, a.CostPerKg)
				}
			}
		}
		for _, c := range a.Components {
			if !(c.CostRange.Lower <= c.CostPerKg+1e-9 && c.CostPerKg <= c.CostRange.Upper+1e-9) {
				t.Errorf("seed %d: cost %g is outside its own range %+v", seed, c.CostPerKg, c.CostRange)
			}
			if to := c.CostRange.Upper*(1-1e-6) - 1e-9; !math.IsInf(to, 0) && to > c.CostPerKg {
				q := clone(p)
				q.Candidates[c.Candidate].CostPerKg = to
				near(t, "cost at the end of the range", optimal(t, q).CostPerKg, a.CostPerKg+c.Share*(to-c.CostPerKg), 1e-6*a.CostPerKg)
			}
			if c.StockWorth > 0 {
				more := clone(p)
				more.Candidates[c.Candidate].Available += 10 * mass.Gram
				near(t, "worth of stock", (a.TotalCost-optimal(t, more).TotalCost)/0.01, c.StockWorth, 0.05*c.StockWorth+1e-4)
			}
		}
	}
	if checked < 20 {
		t.Errorf("only %d entry prices were checked", checked)
	}
}

// The same inks by gonum's simplex, in shares, with rows made here from limits that
// need no index: an independent model and an independent solver.
func TestAgainstGonum(t *testing.T) {
	for seed := range uint64(25) {
		p := formulationtest.Problem(seed, 12+int(seed%10), 9)
		p.Limits = slices.DeleteFunc(p.Limits, func(l formulation.Limit) bool { return l.Kind == formulation.Blended })
		a := optimal(t, p)
		near(t, "cost by gonum", gonumCost(t, p), a.CostPerKg, 1e-6*a.CostPerKg)
	}
}

// gonumCost solves p in standard form: shares, then a slack per inequality. The
// coefficient of a limit at bound v is num-v*den, which by Evaluate on the pure
// candidate is (value-v)*den.
func gonumCost(t *testing.T, p *formulation.Problem) float64 {
	t.Helper()
	n := len(p.Candidates)
	var rows [][]float64
	var rhs []float64
	add := func(row []float64, b float64, slack float64) {
		rows, rhs = append(rows, row), append(rhs, b)
		row[n] = slack // its own column later
	}
	one := make([]float64, n+1)
	for j := range n {
		one[j] = 1
	}
	add(one, 1, 0)
	for _, l := range p.Limits {
		for _, side := range []struct {
			at    *float64
			slack float64
		}{{l.Lower, -1}, {l.Upper, 1}} {
			if side.at == nil {
				continue
			}
			row := make([]float64, n+1)
			for j, c := range p.Candidates {
				num, den := perKg(l, c)
				row[j] = num - *side.at*den
			}
			add(row, 0, side.slack)
		}
	}
	for j, c := range p.Candidates {
		if c.Available >= 0 {
			row := make([]float64, n+1)
			row[j] = 1
			add(row, float64(c.Available)/float64(p.Quantity), 1)
		}
	}
	a := mat.NewDense(len(rows), n+len(rows)-1, nil)
	for i, row := range rows {
		for j := range n {
			a.Set(i, j, row[j])
		}
		if i > 0 {
			a.Set(i, n+i-1, row[n])
		}
	}
	cost := make([]float64, n+len(rows)-1)
	for j, c := range p.Candidates {
		cost[j] = c.CostPerKg
	}
	best, err := solvertest.Gonum(cost, a, rhs)
	if err != nil {
		t.Fatalf("gonum: %v", err)
	}
	return best
}

// perKg is the table of limits in the design, for materials that hold neither
// water nor exempt solvent and lose nothing.
func perKg(l formulation.Limit, c formulation.Candidate) (num, den float64) {
	s := c.Properties
	pigment := 0.0
	for key, v := range s {
		if len(key) > 17 && key[:17] == "pigment_fraction/" && (l.ColourIndex == "" || key[17:] == l.ColourIndex) {
			pigment += v
		}
	}
	switch l.Kind {
	case formulation.PigmentLoading:
		if strength, ok := s["tint_strength_fraction"]; ok && l.ByStrength {
			pigment *= strength
		}
		return pigment, 1
	case formulation.VOCMass:
		return s["volatile_fraction"], 1
	case formulation.VOCContent:
		return 1000 * s["volatile_fraction"], 1 / s["density_kg_per_l"]
	case formulation.MetalOnBinder:
		return 100 * s["metal_fraction/"+l.Metal], s["binder_solids_fraction"]
	case formulation.Share:
		if slices.Contains(l.Classes, c.Class) || slices.Contains(l.Materials, c.Material) {
			return 1, 1
		}
		return 0, 1
	case formulation.WaxSolids:
		return s["wax_solids_fraction"], 1
	case formulation.WettingDemand:
		return pigment * s["oil_absorption_g_per_100g"] / 100, s["wetting_vehicle_fraction"]
	}
	panic("a limit that this table does not have")
}
