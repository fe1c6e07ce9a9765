package formulation_test

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

func frontier(t tester, p *formulation.Problem, along formulation.Along) *formulation.Frontier {
	t.Helper()
	f, err := formulation.CostFrontier(context.Background(), engine, p, along)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// moved is the cheapest cost with the bound of a frontier at a place; NaN when
// there is no formula.
func movedTo(t tester, p *formulation.Problem, f *formulation.Frontier, bound float64) float64 {
	t.Helper()
	m := formulation.Movement{Limit: f.Limit, Candidate: f.Candidate, Side: f.Side, To: bound}
	a := optimise(t, apply(p, m, 1))
	if a.Outcome != formulation.Optimal {
		return math.NaN()
	}
	return a.CostPerKg
}

// Frontiers of every limit of random inks, both sides, and of stocks: at every
// breakpoint and at random places between, the cost is that of a fresh solve;
// beyond an infeasible end there is no formula; the cost never rises as the bound
// gives; on the finished mass it is convex.
func TestFrontierAgainstFreshSolves(t *testing.T) {
	segments, kinds, ends := 0, map[formulation.LimitKind]int{}, map[formulation.End]int{}
	for seed := range uint64(12) {
		p := formulationtest.Problem(seed, 12+int(seed), 4+int(seed%13))
		r := rand.New(rand.NewPCG(seed, 5))
		for i := range p.Limits {
			for _, side := range []formulation.Side{formulation.AtLower, formulation.AtUpper} {
				if side == formulation.AtLower && p.Limits[i].Lower == nil || side == formulation.AtUpper && p.Limits[i].Upper == nil {
					continue
				}
				f := frontier(t, p, formulation.Along{Limit: i, Candidate: -1, Side: side})
				checkFrontier(t, r, p, f, p.Limits[i].ID)
				segments += len(f.Segments)
				kinds[p.Limits[i].Kind] += len(f.Segments)
				ends[f.Low]++
				ends[f.High]++
			}
		}
	}
	t.Logf("%d segments %v, ends %v", segments, kinds, ends)
	if segments < 400 || ends[formulation.EndInfeasible] < 50 || ends[formulation.EndFree] < 50 {
		t.Errorf("%d segments, ends %v: too few to mean anything", segments, ends)
	}
}

func checkFrontier(t *testing.T, r *rand.Rand, p *formulation.Problem, f *formulation.Frontier, what string) {
	t.Helper()
	if f.Outcome != formulation.Optimal || len(f.Segments) == 0 {
		t.Fatalf("%s: %s, %d segments", what, f.Outcome, len(f.Segments))
	}
	sign := -1.0 // the cost falls as an upper bound rises
	if f.Side == formulation.AtLower {
		sign = 1
	}
	for k := range f.Segments {
		s := &f.Segments[k]
		if !(s.From.Bound <= s.To.Bound) {
			t.Fatalf("%s: from %g to %g", what, s.From.Bound, s.To.Bound)
		}
		if k > 0 {
			b := &f.Segments[k-1]
			if b.To.Bound != s.From.Bound || math.Abs(b.To.CostPerKg-s.From.CostPerKg) > 1e-6*s.From.CostPerKg {
				t.Errorf("%s: a gap at %g: %+v %+v", what, s.From.Bound, b.To, s.From)
			}
			if !f.Quotient && !f.Curved && b.To.ShadowPrice > s.From.ShadowPrice+1e-7 {
				t.Errorf("%s: not convex at %g: %g then %g", what, s.From.Bound, b.To.ShadowPrice, s.From.ShadowPrice)
			}
		}
		if sign*(s.To.CostPerKg-s.From.CostPerKg) < -1e-9*s.From.CostPerKg {
			t.Errorf("%s: the cost goes the wrong way: %+v", what, s)
		}
		places := []float64{s.From.Bound, s.To.Bound}
		for range 2 {
			places = append(places, s.From.Bound+r.Float64()*(s.To.Bound-s.From.Bound))
		}
		for _, at := range places {
			at = inside(f, at)
			got, ok := f.CostAt(at)
			if want := movedTo(t, p, f, at); !ok || !(math.Abs(got-want) <= 1e-6*want) {
				t.Errorf("%s: at %g (%s, segment %d of %d) %.9g, a fresh solve says %.9g", what, at, f.Side, k, len(f.Segments), got, want)
			}
		}
	}
	low, high := f.Segments[0].From.Bound, f.Segments[len(f.Segments)-1].To.Bound
	if f.Low == formulation.EndInfeasible {
		noneBeyond(t, p, f, what, low*(1-1e-4))
	}
	if f.High == formulation.EndInfeasible {
		noneBeyond(t, p, f, what, high*(1+1e-4))
	}
}

// inside is a place a millionth off an infeasible end: at the very end there is but
// one formula, and a fresh solve may not find it.
func inside(f *formulation.Frontier, at float64) float64 {
	low, high := f.Segments[0].From.Bound, f.Segments[len(f.Segments)-1].To.Bound
	by := 1e-6 * math.Max(math.Abs(low), math.Abs(high))
	if f.Low == formulation.EndInfeasible {
		at = math.Max(at, math.Min(low+by, high))
	}
	if f.High == formulation.EndInfeasible {
		at = math.Min(at, math.Max(high-by, low))
	}
	return at
}

func noneBeyond(t *testing.T, p *formulation.Problem, f *formulation.Frontier, what string, at float64) {
	t.Helper()
	l := p.Limits[f.Limit]
	if at <= 0 || f.Side == formulation.AtLower && l.Upper != nil && at > *l.Upper || f.Side == formulation.AtUpper && l.Lower != nil && at < *l.Lower {
		return
	}
	if !math.IsNaN(movedTo(t, p, f, at)) {
		t.Errorf("%s: a formula beyond the end, at %g", what, at)
	}
}

// The stock of every lot that is used, from none of it to where more of it no
// longer helps.
func TestFrontierOfAStock(t *testing.T) {
	lots, segments := 0, 0
	for seed := range uint64(12) {
		p := formulationtest.Problem(seed, 14+int(seed), 4+int(seed))
		a := optimal(t, p)
		r := rand.New(rand.NewPCG(seed, 6))
		for _, c := range a.Components {
			f := frontier(t, p, formulation.Along{Limit: -1, Candidate: c.Candidate})
			if f.Unit != "kg" || f.Side != formulation.AtUpper || f.Low == formulation.EndFree {
				t.Fatalf("%s, %s, low end %s", f.Unit, f.Side, f.Low)
			}
			checkStock(t, r, p, f)
			lots++
			segments += len(f.Segments)
		}
	}
	if t.Logf("%d lots, %d segments", lots, segments); segments < 2*lots {
		t.Error("too few segments to mean anything")
	}
}

func checkStock(t *testing.T, r *rand.Rand, p *formulation.Problem, f *formulation.Frontier) {
	t.Helper()
	for k := range f.Segments {
		s := &f.Segments[k]
		if k > 0 && f.Segments[k-1].To.ShadowPrice > s.From.ShadowPrice+1e-9 {
			t.Errorf("not convex at %g kg", s.From.Bound)
		}
		for _, w := range []float64{0, 1, r.Float64()} {
			at := mass.RoundKilograms(inside(f, s.From.Bound+w*(s.To.Bound-s.From.Bound)), mass.RoundCeil).Kilograms()
			if at > f.Segments[len(f.Segments)-1].To.Bound {
				continue // rounded beyond
			}
			if got, ok := f.CostAt(at); !ok {
				t.Errorf("no cost at %g kg in %+v", at, s)
			} else if want := movedTo(t, p, f, at); !(math.Abs(got-want) <= 1e-6*want) {
				t.Errorf("at %g kg %.9g, a fresh solve says %.9g", at, got, want)
			}
		}
	}
}

// By hand: a solvent at 1 and a varnish at 3 a kg, 0.8 and 1.25 kg/L; at most 300
// g/L of VOC. With a part s of solvent the ink has 1000 s/(s/0.8 + (1-s)/1.25) g/L
// and costs 3 - 2 s: one segment from 0 to 800 g/L, a quotient.
func TestFrontierByHand(t *testing.T) {
	p := &formulation.Problem{Quantity: 100 * mass.Kilogram, Catalogue: property.BuiltIn(),
		Limits: []formulation.Limit{{ID: "voc", Kind: formulation.VOCContent, Upper: to(300)}},
		Candidates: []formulation.Candidate{
			{ID: "solvent", CostPerKg: 1, Available: -1, Properties: property.Set{property.DensityKgPerL: 0.8, property.VolatileFraction: 1}},
			{ID: "varnish", CostPerKg: 3, Available: -1, Properties: property.Set{property.DensityKgPerL: 1.25}},
		}}
	f := frontier(t, p, formulation.Along{Limit: 0, Candidate: -1})
	if len(f.Segments) != 1 || !f.Quotient || f.Curved || f.Low != formulation.EndInfeasible || f.High != formulation.EndFree {
		t.Fatalf("%+v", f)
	}
	s := f.Segments[0]
	near(t, "from", s.From.Bound, 0, 1e-9)
	near(t, "to", s.To.Bound, 800, 1e-6)
	near(t, "cost at 0 g/L", s.From.CostPerKg, 3, 1e-9)
	near(t, "cost at 800 g/L", s.To.CostPerKg, 1, 1e-9)
	for _, part := range []float64{0.1, 0.5, 0.9} {
		litres := part/0.8 + (1-part)/1.25
		got, _ := f.CostAt(1000 * part / litres)
		near(t, "cost between", got, 3-2*part, 1e-9)
	}
	// d cost/d bound at 0 g/L: -2 d part/d bound, bound = 1000 part/0.8 there.
	near(t, "price at 0 g/L", s.From.ShadowPrice, -2*0.8/1000, 1e-9)

	part := frontier(t, p, formulation.Along{Limit: 0, Candidate: -1, From: to(100), To: to(900)})
	if len(part.Segments) != 2 || part.Low != formulation.EndAsked || part.Segments[0].From.Bound != 100 ||
		part.Segments[1].To.Bound != 900 || part.Segments[1].To.CostPerKg != 1 || part.High != formulation.EndFree {
		t.Errorf("%+v", part)
	}
	for _, bad := range []formulation.Along{{Limit: 1, Candidate: -1}, {Limit: -1, Candidate: 2}, {Limit: -1, Candidate: -1}, {Limit: 0, Candidate: 0},
		{Limit: 0, Candidate: -1, From: to(2), To: to(1)}, {Limit: 0, Candidate: -1, From: to(math.NaN())}, {Limit: -1, Candidate: 0, From: to(-1)}} {
		if _, err := formulation.CostFrontier(context.Background(), engine, p, bad); !errors.As(err, new(formulation.FieldErrors)) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}

// On small problems a fine grid finds no breakpoint that the frontier has not:
// between breakpoints on the finished mass the cost is straight.
func TestFrontierHasEveryBreakpoint(t *testing.T) {
	checked := 0
	for seed := range uint64(12) {
		p := formulationtest.Problem(seed, 10, 5)
		f := frontier(t, p, formulation.Along{Limit: 3, Candidate: -1}) // tack
		if f.Quotient || f.Curved || len(f.Segments) < 2 {
			continue
		}
		low, high := f.Segments[0].From.Bound, f.Segments[len(f.Segments)-1].To.Bound
		const n = 400
		cost := make([]float64, n+1)
		for k := range cost {
			cost[k] = movedTo(t, p, f, inside(f, low+(high-low)*float64(k)/n))
		}
		for k := 2; k < n-1; k++ {
			at := func(k int) float64 { return low + (high-low)*float64(k)/n }
			bent := math.Abs(cost[k-1]-2*cost[k]+cost[k+1]) > 1e-6*cost[k]
			known := false
			for _, s := range f.Segments {
				known = known || s.From.Bound >= at(k-1) && s.From.Bound <= at(k+1)
			}
			if bent && !known {
				t.Errorf("seed %d: the cost bends near %g, the frontier does not", seed, at(k))
			}
			if bent {
				checked++
			}
		}
	}
	if checked < 10 {
		t.Errorf("%d bends seen, want at least 10", checked)
	}
}
