package formulation

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func about(t interface {
	Errorf(string, ...any)
}, what string, got, want, tol float64) {
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.10g, want %.10g", what, got, want)
	}
}

// The protection function against its definition (Bertsimas and Sim 2004, equation
// 6; from memory): the largest sum over a set S of floor(gamma) components and one
// more that counts by the rest, found by trying every choice.
func TestProtectionAgainstItsDefinition(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(r, "n")
		parts := make([]float64, n)
		for k := range parts {
			parts[k] = rapid.Float64Range(0, 10).Draw(r, "part")
		}
		gamma := rapid.Float64Range(0.01, float64(n)).Draw(r, "gamma")
		whole := int(math.Floor(gamma))
		want := 0.0
		for set := range 1 << n {
			size, sum := 0, 0.0
			for k, v := range parts {
				if set>>k&1 == 1 {
					size, sum = size+1, sum+v
				}
			}
			if size != whole {
				continue
			}
			want = max(want, sum)
			for k, v := range parts {
				if set>>k&1 == 0 {
					want = max(want, sum+(gamma-float64(whole))*v)
				}
			}
		}
		u, got, used := worst(parts, gamma), 0.0, 0.0
		for k, v := range parts {
			got, used = got+u[k]*v, used+u[k]
			if u[k] < 0 || u[k] > 1 {
				r.Errorf("u is %v", u)
			}
		}
		about(r, "protection", got, want, 1e-9)
		about(r, "budget used", used, gamma, 1e-9)
		pieces := make([]moments, n)
		for k, v := range parts {
			pieces[k].num = v * v
		}
		about(r, "by the evaluation", spreadOf(pieces, 3, gamma), want, 1e-9)
	})
}

// Table 1 of Bertsimas and Sim (2004): the budget for which a limit is broken with
// a probability below 1 %. By our count 8.2, 24.3, 33.9 and 105 of 10, 100, 200
// and 2000 components (from memory), 5 of 5; and by hand for small n.
func TestBudgetBound(t *testing.T) {
	for n, want := range map[int]float64{5: 5, 10: 8.2, 100: 24.3, 200: 33.9, 2000: 105} {
		low, high := 0.0, float64(n)
		for range 60 {
			if middle := (low + high) / 2; BudgetBound(n, middle) < 0.01 {
				high = middle
			} else {
				low = middle
			}
		}
		about(t, "budget for 1 %", high, want, 0.06+0.003*want)
	}
	about(t, "two components, budget 0", BudgetBound(2, 0), 0.75, 1e-12) // nu = 1: all but one of four
	about(t, "two components, budget 1", BudgetBound(2, 1), 0.5, 1e-12)  // nu = 1.5: half of C(2,1), and C(2,2)
	about(t, "three components, budget 3", BudgetBound(3, 3), 0, 0)
	for n := 1; n < 40; n++ {
		last := 1.0
		for gamma := 0.0; gamma <= float64(n); gamma += 0.1 {
			b := BudgetBound(n, gamma)
			if b > last+1e-12 || b < 0 {
				t.Fatalf("n %d, budget %g: %g after %g", n, gamma, b, last)
			}
			last = b
		}
	}
}

// The bound holds for components that are off by all of their spread one way or the
// other, the worst symmetric distribution: simulated, 200,000 draws.
func TestBudgetBoundAgainstSimulation(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for _, n := range []int{4, 9, 16} {
		parts := make([]float64, n)
		for k := range parts {
			parts[k] = 0.2 + r.Float64()
		}
		for _, gamma := range []float64{1, 2.5, 4, 7} {
			if gamma >= float64(n) {
				continue
			}
			u, safe := worst(parts, gamma), 0.0
			for k, v := range parts {
				safe += u[k] * v
			}
			const draws = 200_000
			broken := 0
			for range draws {
				sum := 0.0
				for _, v := range parts {
					if r.IntN(2) == 0 {
						v = -v
					}
					sum += v
				}
				if sum > safe {
					broken++
				}
			}
			bound := BudgetBound(n, gamma)
			if got := float64(broken) / draws; got > bound+4*math.Sqrt(bound*(1-bound)/draws) {
				t.Errorf("%d components, budget %g: broken in %g, the bound is %g", n, gamma, got, bound)
			}
		}
	}
}

// What quantile and normal say, against tables of the normal distribution.
func TestNormalDistribution(t *testing.T) {
	for p, z := range map[float64]float64{0.9: 1.2815515655, 0.95: 1.6448536270, 0.975: 1.9599639845, 0.99: 2.3263478740, 0.999: 3.0902323062} {
		about(t, "quantile", quantile(p), z, 1e-9)
		about(t, "distribution", normal(z), p, 1e-10)
	}
	lower, upper := 0.0, 1.0
	l := Limit{Kind: VOCMass, Upper: &upper, Confidence: 0.95}
	about(t, "one bound", l.factor(), 1.6448536270, 1e-9)
	l.Lower = &lower
	about(t, "a bound of nothing", l.factor(), 1.6448536270, 1e-9)
	half := 0.5
	l.Lower = &half
	about(t, "two bounds share the risk", l.factor(), 1.9599639845, 1e-9)
}

// A slope at a kink is the larger one; elsewhere it is the derivative.
func TestSlope(t *testing.T) {
	about(t, "smooth", slope(1-2*slopeStep, 1, 1+2*slopeStep), 2, 1e-9)
	about(t, "kink", slope(0, 0, 3*slopeStep), 3, 1e-9)
	about(t, "kink on the other side", slope(-3*slopeStep, 0, 0), 3, 1e-9)
}
