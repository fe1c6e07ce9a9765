package formulation

import (
	"fmt"
	"math"
	"slices"
)

// defaultSpread is how many standard deviations a value may be off under a
// budget: the natural tolerance limits of quality control (common practice).
const defaultSpread = 3

// quantile is the standard normal quantile.
func quantile(probability float64) float64 {
	return math.Sqrt2 * math.Erfinv(2*probability-1)
}

// normal is the standard normal distribution function.
func normal(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// BudgetBound is the largest probability with which a limit that is protected by
// a budget of gamma is broken, when n components deviate independently and
// symmetrically within their spread, whatever their distributions:
//
//	B(n,gamma) = 2^-n ( (1-mu) C(n,floor nu) + sum_{l > floor nu} C(n,l) )
//
// with nu = (gamma+n)/2 and mu = nu - floor nu (Bertsimas and Sim, The Price of
// Robustness, Operations Research 52(1), 2004, theorem 3). It is 0 for gamma >= n,
// where nothing is left to deviate.
func BudgetBound(n int, gamma float64) float64 {
	if n <= 0 || gamma >= float64(n) {
		return 0
	}
	nu := (gamma + float64(n)) / 2
	whole := math.Floor(nu)
	sum := (1 - (nu - whole)) * binomial(n, int(whole))
	for l := int(whole) + 1; l <= n; l++ {
		sum += binomial(n, l)
	}
	return min(1, sum)
}

// binomial is C(n,k)/2^n.
func binomial(n, k int) float64 {
	if k < 0 || k > n {
		return 0
	}
	of := func(m int) float64 {
		v, _ := math.Lgamma(float64(m) + 1)
		return v
	}
	return math.Exp(of(n) - of(k) - of(n-k) - float64(n)*math.Ln2)
}

// guarded reports whether the limit is to hold although values deviate.
func (l *Limit) guarded() bool { return l.Confidence > 0 || l.Budget > 0 }

// nominal is p by nominal values alone and without goals.
func (p *Problem) nominal() *Problem {
	out := *p
	out.Goals, out.Limits = nil, slices.Clone(p.Limits)
	for i := range out.Limits {
		out.Limits[i].Confidence, out.Limits[i].Budget, out.Limits[i].Spread = 0, 0, 0
	}
	return &out
}

// factor is how many deviations the limit stays away from a bound. When both
// bounds can be broken, each gets half of the risk: the limit then holds with at
// least the confidence asked for (Bonferroni).
func (l *Limit) factor() float64 {
	switch {
	case l.Budget > 0 && l.Spread > 0:
		return l.Spread
	case l.Budget > 0:
		return defaultSpread
	case l.Lower != nil && l.Upper != nil && (l.Kind == Blended || *l.Lower > 0):
		return quantile((1 + l.Confidence) / 2)
	}
	return quantile(l.Confidence)
}

// MaxConfidence is the largest confidence that can be asked for: what lies beyond
// is not in the tails that anyone knows.
const MaxConfidence = 0.999999

// safety checks what a limit asks about deviations.
func (v *validator) safety(i int, l *Limit) {
	if c := l.Confidence; c != 0 && !(c > 0.5 && c <= MaxConfidence) {
		v.add("must lie above 0.5 (as likely as not) and at most at 0.999999, or be 0 for nominal values", "limits[%d].confidence", i)
	}
	if !(l.Budget >= 0 && l.Budget <= MaxCandidates) {
		v.add(fmt.Sprintf("must be a number of components from 0 to %d", MaxCandidates), "limits[%d].budget", i)
	}
	if !(l.Spread >= 0 && l.Spread <= 10) {
		v.add("must be from 0 to 10 standard deviations; 0 stands for 3", "limits[%d].spread", i)
	} else if l.Spread > 0 && l.Budget == 0 {
		v.add("a spread belongs to a budget: give one, or leave the spread out", "limits[%d].spread", i)
	}
	switch {
	case l.Confidence > 0 && l.Budget > 0:
		v.add("ask for a confidence or for a budget, not for both", "limits[%d].budget", i)
	case l.guarded() && l.Lower != nil && l.Upper != nil && *l.Lower == *l.Upper:
		v.add("a value that deviates can't be held at one figure: give the limit some room", "limits[%d].confidence", i)
	}
}

// deviations checks the standard deviations of a candidate.
func (v *validator) deviations(j int, c *Candidate) {
	for key, sigma := range c.Deviation {
		k, ok := v.known[key]
		if !ok {
			k = v.lookUp(key)
			v.known[key] = k
		}
		_, known := c.Properties[key]
		switch {
		case k.problem != "":
			v.add(k.problem, "candidates[%d].deviations[%s]", j, key)
		case !(sigma >= 0 && sigma <= k.def.Max-k.def.Min):
			v.add(fmt.Sprintf("a standard deviation of %s must be from 0 to %g", key, k.def.Max-k.def.Min), "candidates[%d].deviations[%s]", j, key)
		case !known && k.def.Default == nil:
			v.add(fmt.Sprintf("it has no %s that could deviate", key), "candidates[%d].deviations[%s]", j, key)
		}
	}
}
