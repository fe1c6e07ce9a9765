package match_test

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"millbase/solver/colour"
	"millbase/solver/formulation"
	"millbase/solver/match"
	"millbase/solver/match/matchtest"
)

// plain is a problem that can be matched.
func plain() *match.Problem {
	r := rand.New(rand.NewPCG(1, 1))
	target, _ := matchtest.Target(r, matchtest.Bases, matchtest.Paper())
	return matchtest.Problem(matchtest.Bases, matchtest.Paper(), target)
}

func TestBadProblemsAreRefusedByField(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		spoil func(p *match.Problem)
		field string
	}{
		"no blend":            {func(p *match.Problem) { p.Blend = nil }, "blend"},
		"bad candidate":       {func(p *match.Problem) { p.Blend.Candidates[1].CostPerKg = nan }, "candidates[1].cost_per_kg"},
		"no tolerance":        {func(p *match.Problem) { p.Tolerance = 0 }, "tolerance_de00"},
		"negative tolerance":  {func(p *match.Problem) { p.Tolerance = -1 }, "tolerance_de00"},
		"unknown tolerance":   {func(p *match.Problem) { p.Tolerance = nan }, "tolerance_de00"},
		"wide tolerance":      {func(p *match.Problem) { p.Tolerance = 101 }, "tolerance_de00"},
		"negative bases":      {func(p *match.Problem) { p.MaxBases = -1 }, "max_bases"},
		"unknown mode":        {func(p *match.Problem) { p.Mode = 7 }, "mode"},
		"unknown light":       {func(p *match.Problem) { p.Viewing.Illuminant = 99 }, "viewing"},
		"unknown second":      {func(p *match.Problem) { p.Second = &colour.Viewing{Illuminant: 99} }, "viewing"},
		"mirror":              {func(p *match.Problem) { p.Surface.K1 = 1 }, "surface"},
		"unknown surface":     {func(p *match.Problem) { p.Surface.K2 = nan }, "surface"},
		"no substrate":        {func(p *match.Problem) { p.Substrate = colour.Curve{} }, "substrate"},
		"dark substrate":      {func(p *match.Problem) { p.Substrate.Values[3] = -0.2 }, "substrate"},
		"target elsewhere":    {func(p *match.Problem) { p.Target.Curve.First = 390 }, "target.curve"},
		"broken target":       {func(p *match.Problem) { p.Target.Curve.Values[0] = nan }, "target.curve"},
		"target lighter":      {func(p *match.Problem) { p.Target = match.Target{Lab: colour.Lab{L: 101}} }, "target.lab"},
		"target of no colour": {func(p *match.Problem) { p.Target = match.Target{Lab: colour.Lab{L: 50, A: nan}} }, "target.lab"},
		"too few colourants":  {func(p *match.Problem) { p.Colourants = p.Colourants[1:] }, "colourants"},
		"no colour":           {func(p *match.Problem) { clear(p.Colourants) }, "colourants"},
		"short curve":         {func(p *match.Problem) { p.Colourants[2].K = p.Colourants[2].K[1:] }, "colourants[2].k"},
		"negative absorption": {func(p *match.Problem) { p.Colourants[3].K = slices.Repeat([]float64{-1}, 36) }, "colourants[3].k"},
		"no absorption":       {func(p *match.Problem) { p.Colourants[3].K = slices.Repeat([]float64{nan}, 36) }, "colourants[3].k"},
		"endless absorption":  {func(p *match.Problem) { p.Colourants[3].K = slices.Repeat([]float64{math.Inf(1)}, 36) }, "colourants[3].k"},
		"opaque, no scatter":  {func(p *match.Problem) { p.Mode = match.Opaque }, "colourants[0]"},
	} {
		p := plain()
		c.spoil(p)
		_, err := match.Match(t.Context(), engine, p, match.Want{Kinds: match.Kinds})
		var faults formulation.FieldErrors
		if !errors.As(err, &faults) {
			t.Errorf("%s: got %v", name, err)
			continue
		}
		if !slices.ContainsFunc(faults, func(f formulation.FieldError) bool { return f.Field == c.field && f.Problem != "" }) {
			t.Errorf("%s: got %v, want %s", name, faults, c.field)
		}
	}
	for _, w := range []match.Want{{Kinds: []match.Kind{9}}, {Kinds: []match.Kind{match.Closest, match.Closest}}, {FrontierPoints: -1}, {FrontierPoints: 1}, {FrontierPoints: 1 << 20}} {
		var faults formulation.FieldErrors
		if _, err := match.Match(t.Context(), engine, plain(), w); !errors.As(err, &faults) {
			t.Errorf("%+v: got %v", w, err)
		}
	}
}

func TestClashOfTheOtherLimits(t *testing.T) {
	p := plain()
	high := 12.0 // tack: no base comes to it
	p.Blend.Limits[0].Lower, p.Blend.Limits[0].Upper = &high, nil
	got, err := match.Match(t.Context(), engine, p, match.Want{Kinds: match.Kinds})
	if err != nil {
		t.Fatal(err)
	}
	if got.Outcome != match.Clash || got.Clash == nil || got.Clash.Clash == nil || len(got.Offers) > 0 {
		t.Fatalf("got %+v", got)
	}
}

// TestOutOfReach: targets that no mixture can have, and what is said of them.
func TestOutOfReach(t *testing.T) {
	for _, c := range []struct {
		lab  colour.Lab
		of   []int
		want string
		sign func(r *match.Reach) float64 // is positive
	}{
		{colour.Lab{L: 55, A: 85, B: 10}, []int{3, 4, 9, 11}, "too dull", func(r *match.Reach) float64 { return -r.DeltaC }},
		{colour.Lab{L: 99}, []int{9, 11}, "too dark", func(r *match.Reach) float64 { return -r.DeltaL }},
		{colour.Lab{L: 3}, []int{10, 11}, "too light", func(r *match.Reach) float64 { return r.DeltaL }},
		{colour.Lab{L: 82, A: -18, B: 60}, []int{1, 3, 11}, "hue", func(r *match.Reach) float64 { return math.Abs(r.DeltaH) }},
	} {
		p := matchtest.Problem(matchtest.Pick(c.of...), matchtest.Paper(), matchtest.Paper())
		p.Target = match.Target{Lab: c.lab}
		got, err := match.Match(t.Context(), engine, p, match.Want{Kinds: []match.Kind{match.Cheapest}, FrontierPoints: 3})
		if err != nil {
			t.Fatalf("%v: %v", c.lab, err)
		}
		if got.Outcome != match.OutOfReach || got.Reach == nil || len(got.Offers) != 1 || got.Offers[0].Kind != match.Closest {
			t.Errorf("%v: got %+v", c.lab, got)
			continue
		}
		r := got.Reach
		if !strings.Contains(r.Why, c.want) || !(c.sign(r) > 0) {
			t.Errorf("%v: got %+v, want %q", c.lab, r, c.want)
		}
		if math.Abs(got.Offers[0].DE00-r.Nearest) > 0.03 || r.Nearest <= p.Tolerance || r.Without > r.Nearest {
			t.Errorf("%v: nearest %v, the offer %v, without limits %v", c.lab, r.Nearest, got.Offers[0].DE00, r.Without)
		}
	}
}

// TestALimitInTheWay: the bases could, but the limit on pigment does not let them.
func TestALimitInTheWay(t *testing.T) {
	bases := matchtest.Pick(7, 4, 0, 11)
	p := matchtest.Problem(bases, matchtest.Paper(), matchtest.Print(bases, matchtest.Paper(), []float64{0.4, 0.2, 0.1, 0.3}))
	low := 0.10
	p.Blend.Limits[2].Upper = &low
	got, err := match.Match(t.Context(), engine, p, match.Want{Kinds: []match.Kind{match.Cheapest}})
	if err != nil {
		t.Fatal(err)
	}
	r := got.Reach
	if got.Outcome != match.OutOfReach || !slices.Equal(r.InTheWay, []int{2}) || r.Without > p.Tolerance || r.Nearest <= p.Tolerance {
		t.Fatalf("outcome %d, %+v", got.Outcome, r)
	}
	if s := r.Sentence(p); !strings.Contains(s, "within the limits") {
		t.Errorf("said: %s", s)
	}
	p.Blend.Limits = nil
	p.Blend.Candidates[0].Available = 5e6 // 5 kg of the blue
	if got, err = match.Match(t.Context(), engine, p, match.Want{Kinds: []match.Kind{match.Cheapest}}); err != nil {
		t.Fatal(err)
	}
	if r := got.Reach; got.Outcome != match.OutOfReach || !slices.Equal(r.Short, []int{0}) || r.Without > p.Tolerance {
		t.Errorf("of too little blue: outcome %d, %+v", got.Outcome, r)
	}
}

// TestLeastMetamericIsLeast: mixtures near it that keep to the tolerance are no
// better under the second light.
func TestLeastMetamericIsLeast(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	for range 6 {
		bases := matchtest.Pick(0, 2, 4, 7, 9, 11)
		target := matchtest.Print(matchtest.Bases, matchtest.Paper(), []float64{0, 0.1 * r.Float64(), 0, 0.2 * r.Float64(), 0, 0, 0.1 * r.Float64(), 0, 0.1 * r.Float64(), 0, 0, 0})
		p := matchtest.Problem(bases, matchtest.Paper(), target)
		p.Tolerance = 2
		got, err := match.Match(t.Context(), engine, p, match.Want{Kinds: match.Kinds})
		if err != nil {
			t.Fatal(err)
		}
		if got.Outcome != match.Matched {
			t.Logf("%s", got.Reach.Sentence(p))
			continue
		}
		low := got.Offers[3]
		at := masses(p, low)
		for range 3000 {
			near := slices.Clone(at)
			from, to := r.IntN(6), r.IntN(6)
			move := min(near[from], 1+near[from]*1/20)
			near[from] -= move
			near[to] += move
			if o := p.Predict(near); o.DE00 <= 0.96*p.Tolerance && o.Second00 < low.Second00-0.03 {
				t.Errorf("least metameric %.3f (%.3f away), but there is %.3f (%.3f away)", low.Second00, low.DE00, o.Second00, o.DE00)
				break
			}
		}
	}
}

func TestWithoutACurveNothingIsSaidOfOtherLights(t *testing.T) {
	p := plain()
	p.Target = match.Target{Lab: p.Target.Curve.Seen(p.Viewing)}
	got, err := match.Match(t.Context(), engine, p, match.Want{Kinds: match.Kinds})
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Offers) != 3 || len(got.Assumed) == 0 {
		t.Fatalf("%d offers, assumed %q", len(got.Offers), got.Assumed)
	}
	for _, o := range got.Offers {
		if o.Kind == match.LeastMetameric || !math.IsNaN(o.Second00) || !math.IsNaN(o.Metamerism) {
			t.Errorf("%s: %v under the second light, index %v", o.Kind, o.Second00, o.Metamerism)
		}
	}
}

func TestAStoppedMatchSaysSo(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := match.Match(ctx, engine, plain(), match.Want{Kinds: match.Kinds}); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}
