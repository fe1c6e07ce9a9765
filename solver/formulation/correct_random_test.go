package formulation_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
	"pgregory.net/rapid"

	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
	"millbase/solver/solvertest"
)

// spoiled is a random pot with tests, the limits that it would meet with hidden
// additions (kg, per candidate), and the coefficients num - v den of the pot, kg.
type spoiled struct {
	*formulation.CorrectionProblem
	hidden []float64
	pot    func(l formulation.Limit) (num, den float64)
	potKg  float64
}

// spoil weighs a formula of an ink problem into a pot, measures it to be something
// else, and sets the limits around what comes of hidden additions. All by the
// table of limits in relations_test.go, which shares nothing with the package.
func spoil(r *rapid.T) *spoiled {
	seed := rapid.Uint64Range(0, 1<<32).Draw(r, "seed")
	rnd := rand.New(rand.NewPCG(seed, 31))
	p, kg := formulationtest.Hidden(seed, rapid.IntRange(12, 36).Draw(r, "candidates"), rapid.IntRange(2, 16).Draw(r, "limits"))
	s := &spoiled{CorrectionProblem: &formulation.CorrectionProblem{Candidates: p.Candidates, Catalogue: p.Catalogue, Currency: "EUR"}}
	for j, m := range kg {
		if m > 0 {
			s.Pot.Components = append(s.Pot.Components, p.Candidates[j])
			s.Pot.Masses = append(s.Pot.Masses, mass.RoundKilograms(m, mass.RoundHalfEven))
		}
	}
	for _, l := range p.Limits { // a double log has no place in the table
		if l.Index == "" {
			s.Limits = append(s.Limits, l)
		}
	}
	strength := s.measure(rnd)
	s.pot = func(l formulation.Limit) (num, den float64) { return s.inPot(l, strength) }
	s.hidden = make([]float64, len(p.Candidates))
	added := 0.0
	for range 1 + rnd.IntN(4) {
		j := rnd.IntN(len(s.hidden))
		s.hidden[j] += s.potKg * (0.01 + 0.08*rnd.Float64())
		s.Candidates[j].Available = max(s.Candidates[j].Available, mass.RoundKilograms(s.hidden[j]*(1+0.2*rnd.Float64()), mass.RoundCeil))
		if rnd.IntN(3) == 0 {
			s.Candidates[j].Available = -1
		}
	}
	for _, m := range s.hidden {
		added += m
	}
	s.Capacity = mass.RoundKilograms((s.potKg+added)*(1+0.1*rnd.Float64()), mass.RoundCeil)
	s.LeastMass = rnd.IntN(2) == 0
	for i := range s.Limits {
		s.around(&s.Limits[i], rnd)
	}
	return s
}

// measure makes up tests that are off what was weighed in; it returns the factor on
// the strength of pigment.
func (s *spoiled) measure(rnd *rand.Rand) (strength float64) {
	s.Pot.Tests = map[string]float64{}
	dry, strong := 0.0, 0.0
	sum := map[string]float64{}
	for i, c := range s.Pot.Components {
		m := s.Pot.Masses[i].Kilograms()
		s.potKg += m
		d, _ := perKg(formulation.Limit{Kind: formulation.PigmentLoading}, c)
		by, _ := perKg(formulation.Limit{Kind: formulation.PigmentLoading, ByStrength: true}, c)
		dry, strong = dry+m*d, strong+m*by
		sum["tack"] += m * c.Properties[property.TackUnits]
		sum["viscosity"] += m * math.Log(c.Properties[property.ViscosityPaS])
		sum["cobalt"] += m * c.Properties["metal_fraction/cobalt"]
	}
	strength = 1
	if rnd.IntN(2) == 0 {
		strength = 0.9 + 0.2*rnd.Float64()
		s.Pot.Tests[property.TintStrengthFraction] = strength * strong / dry
	}
	if rnd.IntN(2) == 0 {
		s.Pot.Tests[property.TackUnits] = sum["tack"] / s.potKg * (0.9 + 0.2*rnd.Float64())
	}
	if rnd.IntN(2) == 0 {
		s.Pot.Tests[property.ViscosityPaS] = math.Exp(sum["viscosity"]/s.potKg) * (0.8 + 0.4*rnd.Float64())
	}
	if rnd.IntN(2) == 0 {
		s.Pot.Tests["metal_fraction/cobalt"] = sum["cobalt"] / s.potKg * (0.7 + 0.6*rnd.Float64())
	}
	return strength
}

// index is the blending index of a blended limit, by its property.
func index(name string, v float64) float64 {
	switch name {
	case property.DensityKgPerL:
		return 1 / v
	case property.ViscosityPaS:
		return math.Log(v)
	}
	return v
}

func coefficients(l formulation.Limit, c formulation.Candidate) (num, den float64) {
	if l.Kind == formulation.Blended {
		return index(l.Property, c.Properties[l.Property]), 1
	}
	return perKg(l, c)
}

// inPot is num and den of the whole pot, kg.
func (s *spoiled) inPot(l formulation.Limit, strength float64) (num, den float64) {
	for i, c := range s.Pot.Components {
		n, d := coefficients(l, c)
		m := s.Pot.Masses[i].Kilograms()
		num, den = num+m*n, den+m*d
	}
	test, tested := s.Pot.Tests[l.Property]
	cobalt, metal := s.Pot.Tests["metal_fraction/cobalt"]
	switch {
	case l.Kind == formulation.Blended && tested:
		num = den * index(l.Property, test)
	case l.Kind == formulation.PigmentLoading && l.ByStrength:
		num *= strength
	case l.Kind == formulation.MetalOnBinder && l.Metal == "cobalt" && metal:
		num = 100 * s.potKg * cobalt
	}
	return num, den
}

// around sets the bounds of a limit near what the hidden additions give.
func (s *spoiled) around(l *formulation.Limit, rnd *rand.Rand) {
	num, den := s.pot(*l)
	for j, m := range s.hidden {
		n, d := coefficients(*l, s.Candidates[j])
		num, den = num+m*n, den+m*d
	}
	v := num / den
	switch l.Property {
	case property.DensityKgPerL:
		v = 1 / v
	case property.ViscosityPaS:
		v = math.Exp(v)
	}
	lower, upper := v*(1-0.02*rnd.Float64()-1e-4), v*(1+0.02*rnd.Float64()+1e-4)
	if l.Lower != nil {
		l.Lower = &lower
	}
	if l.Upper != nil {
		l.Upper = &upper
	}
}

// Pots whose correction is known to exist are corrected, never dearer (or by more
// mass) than by the hidden additions, at the cost that gonum's simplex finds with
// rows made here; the result meets every limit by the table.
func TestHiddenCorrectionsAreFound(t *testing.T) {
	outcomes := map[formulation.CorrectionOutcome]int{}
	rapid.Check(t, func(r *rapid.T) {
		s := spoil(r)
		a := correct(r, s.CorrectionProblem)
		outcomes[a.Outcome]++
		if a.Outcome != formulation.Corrected && a.Outcome != formulation.InLimits || !a.Proof.OK {
			r.Fatalf("got %s, clash %+v, proof %+v", a.Outcome, a.Clash, a.Proof)
		}
		kg := make([]float64, len(s.Candidates))
		for _, x := range a.Additions {
			kg[x.Candidate] = x.Mass.Kilograms()
			if c := s.Candidates[x.Candidate]; c.Available >= 0 && x.Mass > c.Available {
				r.Errorf("%s of %s, %s available", x.Mass, c.ID, c.Available)
			}
		}
		if a.Pot+a.Added > s.Capacity+mass.Milligram || a.Kept != a.Pot {
			r.Errorf("%s and %s in a pot of %s", a.Pot, a.Added, s.Capacity)
		}
		s.check(r, 1, kg, a)
		got, hidden := s.objective(kg), s.objective(s.hidden)
		if got > hidden+1e-6*(1+hidden) {
			r.Errorf("dearer than the hidden additions: %g, %g", got, hidden)
		}
		if a.Outcome == formulation.Corrected {
			best, feasible := s.gonum(r)
			if !feasible {
				r.Fatal("gonum finds no additions")
			}
			near(r, "by gonum", got, best, 1e-4*(1+math.Abs(best)))
		}
	})
	if outcomes[formulation.Corrected] < 50 {
		t.Errorf("too few were out of limits: %v", outcomes)
	}
}

func (s *spoiled) objective(kg []float64) (sum float64) {
	for j, m := range kg {
		if s.LeastMass {
			sum += m
		} else {
			sum += m * s.Candidates[j].CostPerKg
		}
	}
	return sum
}

// check works every limit out by the table.
func (s *spoiled) check(r tester, part float64, kg []float64, a *formulation.Correction) {
	r.Helper()
	for i, l := range s.Limits {
		num, den := s.pot(l)
		num, den = num*part, den*part
		for j, m := range kg {
			n, d := coefficients(l, s.Candidates[j])
			num, den = num+m*n, den+m*d
		}
		for _, bound := range []struct {
			at   *float64
			sign float64
		}{{l.Lower, 1}, {l.Upper, -1}} {
			if bound.at == nil || den == 0 && num == 0 {
				continue
			}
			v := index(l.Property, *bound.at)
			if l.Property == property.DensityKgPerL {
				bound.sign = -bound.sign
			}
			if short := bound.sign * (v - num/den); short > 3e-5*math.Max(math.Abs(v), 1e-3) {
				r.Errorf("%s: %g, bound %g, reported %+v", l.ID, num/den, v, a.After[i])
			}
		}
	}
}

// gonum is the least objective of additions by gonum's simplex: masses, then a
// slack per row.
func (s *spoiled) gonum(r tester) (best float64, feasible bool) {
	n := len(s.Candidates)
	var rows [][]float64
	var rhs []float64
	add := func(row []float64, b float64) { // row x <= b
		rows, rhs = append(rows, row), append(rhs, b)
	}
	one := make([]float64, n)
	for j := range one {
		one[j] = 1
	}
	add(one, s.Capacity.Kilograms()/s.potKg-1)
	for _, l := range s.Limits {
		for _, side := range []struct {
			at   *float64
			sign float64
		}{{l.Lower, -1}, {l.Upper, 1}} {
			if side.at == nil {
				continue
			}
			v, sign := index(l.Property, *side.at), side.sign
			if l.Property == property.DensityKgPerL {
				sign = -sign
			}
			num, den := s.pot(l)
			scale := 1 / math.Max(math.Abs(v)*den/s.potKg, 1e-3)
			row := make([]float64, n)
			for j, c := range s.Candidates {
				cn, cd := coefficients(l, c)
				row[j] = scale * sign * (cn - v*cd)
			}
			add(row, -scale*sign*(num-v*den)/s.potKg)
		}
	}
	for j, c := range s.Candidates {
		if c.Available >= 0 {
			row := make([]float64, n)
			row[j] = 1
			add(row, c.Available.Kilograms()/s.potKg)
		}
	}
	a := mat.NewDense(len(rows), n+len(rows), nil)
	cost := make([]float64, n+len(rows))
	for i, row := range rows {
		a.SetRow(i, append(slices.Clone(row), make([]float64, len(rows))...))
		a.Set(i, n+i, 1)
	}
	for j, c := range s.Candidates {
		if cost[j] = 1; !s.LeastMass {
			cost[j] = c.CostPerKg
		}
	}
	best, err := solvertest.Gonum(cost, a, rhs)
	if err == lp.ErrInfeasible {
		return 0, false
	}
	if err != nil {
		r.Fatalf("gonum: %v", err)
	}
	return best * s.potKg, true
}
