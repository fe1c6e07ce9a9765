package formulation_test

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
	"pgregory.net/rapid"

	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
	"millbase/solver/solvertest"
)

// Against the linear program of Bertsimas and Sim (2004, theorem 1), written out
// with its dual variables and solved by gonum's simplex: volatile at most and binder
// solids at least, each under a budget.
func TestBudgetAgainstItsLinearProgram(t *testing.T) {
	solved := 0
	rapid.Check(t, func(r *rapid.T) {
		f := func(name string, lo, hi float64) float64 { return math.Round(figure(r, name, lo, hi)*1e3) / 1e3 }
		n := rapid.IntRange(3, 7).Draw(r, "n")
		p := &formulation.Problem{Quantity: 100 * mass.Kilogram, Catalogue: property.BuiltIn()}
		keys := [2]string{property.VolatileFraction, property.BinderSolidsFraction}
		for j := range n {
			id := string(rune('a' + j))
			volatile := f(id+"volatile", 0.05, 0.6)
			p.Candidates = append(p.Candidates, formulation.Candidate{ID: id, Available: -1, CostPerKg: f(id+"cost", 1, 5),
				Properties: property.Set{keys[0]: volatile, keys[1]: f(id+"binder", 0.1, 0.4)},
				Deviation:  property.Set{keys[0]: f(id+"sigma", 0, 0.02), keys[1]: f(id+"tau", 0, 0.01)}})
		}
		bounds := [2]float64{f("upper", 0.2, 0.4), f("lower", 0.15, 0.3)}
		budgets := [2]float64{f("gamma", 0.1, float64(n)), f("delta", 0.1, float64(n))}
		p.Limits = []formulation.Limit{
			{ID: "volatile", Kind: formulation.VOCMass, Upper: &bounds[0], Budget: budgets[0], Spread: 2},
			{ID: "binder", Kind: formulation.Blended, Property: keys[1], Lower: &bounds[1], Budget: budgets[1]},
		}
		spreads := [2]float64{2, 3}
		// x, then per limit: z, p, slack of the limit, slacks of z + p >= spread s x.
		cols := n + 2*(2*n+2)
		a := mat.NewDense(1+2*(n+1), cols, nil)
		b, c := make([]float64, 1+2*(n+1)), make([]float64, cols)
		b[0] = 1
		for j, of := range p.Candidates {
			a.Set(0, j, 1)
			c[j] = of.CostPerKg
		}
		for i, key := range keys {
			row, first := 1+i*(n+1), n+i*(2*n+2)
			sign := [2]float64{1, -1}[i]
			b[row] = sign * bounds[i]
			a.Set(row, first, budgets[i])
			a.Set(row, first+n+1, 1)
			for j, of := range p.Candidates {
				a.Set(row, j, sign*of.Properties[key])
				a.Set(row, first+1+j, 1)
				a.Set(row+1+j, j, -spreads[i]*of.Deviation[key])
				a.Set(row+1+j, first, 1)
				a.Set(row+1+j, first+1+j, 1)
				a.Set(row+1+j, first+n+2+j, -1)
			}
		}
		want, err := solvertest.Gonum(c, a, b)
		got := optimise(r, p)
		switch {
		case errors.Is(err, lp.ErrInfeasible):
			if got.Outcome != formulation.Infeasible {
				r.Errorf("infeasible by the linear program, cost %g", got.CostPerKg)
			}
		case err != nil: // gonum's simplex gives up on some degenerate ones
		case got.Outcome != formulation.Optimal:
			r.Errorf("%s, the linear program costs %g", got.Outcome, want)
		default:
			solved++
			near(r, "cost", got.CostPerKg, want, 2e-6*want)
		}
	})
	if solved < 20 {
		t.Errorf("%d solved", solved)
	}
}
