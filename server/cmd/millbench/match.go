package main

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"millbase/clients/demo"
	"millbase/solver"
	"millbase/solver/clp"
	"millbase/solver/colour"
	"millbase/solver/engines"
	"millbase/solver/match"
	"millbase/solver/match/matchtest"
)

// demoBases are the base inks of the demo plant at about what they cost it per kg.
var demoBases = []struct {
	id    string
	price float64
}{
	{"base-yellow", 7.82}, {"base-yellow-fast", 9.09}, {"base-orange", 8.57}, {"base-red", 7.88}, {"base-bluish-red", 7.87}, {"base-magenta", 11.62},
	{"base-violet", 11.76}, {"base-blue", 8.62}, {"base-green", 9.44}, {"base-black", 5.97}, {"base-white", 6.04}, {"base-transparent", 5.54},
}

// demoPalette is the demo plant's base inks on one of its papers.
func demoPalette(on demo.Paper) (bases []matchtest.Base, paper colour.Curve) {
	for _, b := range demoBases {
		base := matchtest.Base{Name: b.id, Price: b.price, K: demo.Unit(b.id, on)}
		if b.id == "base-transparent" {
			base.K = nil
		}
		bases = append(bases, base)
	}
	paper = matchtest.Grid()
	copy(paper.Values, on.Reflectance())
	return bases, paper
}

// targets is the number of shades that are matched.
const targets = 200

// measureMatch matches shades inside the gamut of the demo plant's base inks.
func measureMatch(ctx context.Context, s settings) ([]bar, error) {
	r := rand.New(rand.NewPCG(20, 4))
	var problems []*match.Problem
	for i := range targets {
		bases, paper := demoPalette(demo.Papers[i%len(demo.Papers)])
		target, _ := matchtest.Target(r, bases, paper)
		problems = append(problems, matchtest.Problem(bases, paper, target))
	}
	bars, err := matchShades(ctx, problems)
	if err != nil {
		return nil, err
	}
	ratio, err := matchOverLP(ctx, s, problems[:40])
	if err != nil {
		return nil, err
	}
	grid, err := matchOverGrid(ctx, r)
	return append(bars, bar{name: "match_over_lp", value: ratio, goal: 40}, bar{name: "match_over_grid_cost", value: grid, goal: 1.0005}), err
}

// matchShades matches every shade, the cheapest and the closest way.
func matchShades(ctx context.Context, problems []*match.Problem) ([]bar, error) {
	engine := engines.New()
	var closest, saving []float64
	within, dearer, sum := 0, 0, 0.0
	for k, p := range problems {
		got, err := match.Match(ctx, engine, p, match.Want{Kinds: []match.Kind{match.Cheapest, match.Closest}})
		if err != nil {
			return nil, fmt.Errorf("shade %d: %w", k, err)
		}
		if got.Outcome != match.Matched {
			fmt.Printf("shade %d: %s\n", k, got.Reach.Sentence(p))
			continue
		}
		cheap, near := got.Offers[0], got.Offers[1]
		if cheap.DE00 <= 1 && near.DE00 <= 1 {
			within++
		}
		if cheap.Answer.CostPerKg > near.Answer.CostPerKg {
			dearer++
		}
		saved := 1 - cheap.Answer.CostPerKg/near.Answer.CostPerKg
		sum += saved
		closest, saving = append(closest, near.DE00), append(saving, saved)
	}
	if len(closest) == 0 || dearer > 0 {
		return nil, fmt.Errorf("of %d shades %d were matched, and %d cheapest ones cost more than the closest", len(problems), len(closest), dearer)
	}
	fmt.Printf("match, %d shades of 12 bases within 4 limits: closest %.4f at most; the cheapest within 1.0 saves %.1f %% of the closest in the mean, %.1f %% in the median\n",
		len(problems), quantile(closest, 1), 100*sum/float64(len(saving)), 100*median(saving))
	return []bar{
		{name: "match_share_within_1", value: float64(within) / float64(len(problems)), atLeast: true, goal: 1},
		{name: "match_closest_median_de00", value: median(closest), goal: 0.1},
		{name: "match_saving", value: sum / float64(len(problems)), atLeast: true, goal: 0.03},
	}, nil
}

// matchOverLP compares the whole of a match (the cheapest within 1.0, from the
// request to the checked answer) with plain lanl/clp solving the first linear
// program of that match and no more: the limits, with the rows of the shade that
// do not hold yet left out.
func matchOverLP(ctx context.Context, s settings, problems []*match.Problem) (float64, error) {
	models := make([]*solver.Model, len(problems))
	want := match.Want{Kinds: []match.Kind{match.Cheapest}}
	for k, p := range problems {
		catch := &spy{Engine: clp.New()}
		if _, err := match.Match(ctx, catch, p, want); err != nil {
			return 0, err
		}
		models[k] = inForce(catch.first)
	}
	engine := engines.New()
	programs := 0
	ours := func() (float64, error) {
		programs = 0
		start, n := time.Now(), 0
		for time.Since(start) < s.duration/5 {
			for _, p := range problems {
				got, err := match.Match(ctx, engine, p, want)
				if err != nil {
					return 0, err
				}
				programs += got.Solves
				n++
			}
		}
		programs /= n
		return time.Since(start).Seconds() / float64(n), nil
	}
	theirs := func() (float64, error) {
		start, n := time.Now(), 0
		for time.Since(start) < s.duration/5 {
			for _, m := range models {
				if v := clp.Yardstick(m); math.IsNaN(v) {
					return 0, fmt.Errorf("lanl/clp gives no cost")
				}
				n++
			}
		}
		return time.Since(start).Seconds() / float64(n), nil
	}
	ratio, a, b, err := turns(5*s.rounds, ours, theirs) // many short turns: what else the machine does goes into both
	fmt.Printf("match of 12 bases within 4 limits: %.0f us, %d linear programs; plain lanl/clp on the first of them: %.0f us\n", 1e6*a, programs, 1e6*b)
	return ratio, err
}

// inForce is a model without the rows that bound nothing and the variables that
// are in none.
func inForce(m *solver.Model) *solver.Model {
	out := &solver.Model{}
	row := make([]int, len(m.Rows))
	for i, r := range m.Rows {
		row[i] = -1
		if !math.IsInf(r.Lower, -1) || !math.IsInf(r.Upper, 1) {
			row[i] = out.AddRow(r)
		}
	}
	for j, v := range m.Variables {
		index, values := m.Column(j)
		var entries []solver.Entry
		for k, i := range index {
			if row[i] >= 0 && values[k] != 0 {
				entries = append(entries, solver.Entry{Row: row[i], Value: values[k]})
			}
		}
		if len(entries) > 0 {
			out.AddVariable(v, entries...)
		}
	}
	return out
}

// matchOverGrid is the most that the cheapest match of three bases in the
// transparent one costs over the cheapest of a fine grid of such mixtures.
func matchOverGrid(ctx context.Context, r *rand.Rand) (float64, error) {
	engine := engines.New()
	all, paper := demoPalette(demo.Papers[0])
	worst, sum, n := 0.0, 0.0, 0
	for range 30 {
		r.Shuffle(10, func(i, j int) { all[i], all[j] = all[j], all[i] }) // white and transparent stay
		bases := []matchtest.Base{all[0], all[1], all[2], all[11]}
		target, _ := matchtest.Target(r, bases, paper)
		p := matchtest.Problem(bases, paper, target)
		got, err := match.Match(ctx, engine, p, match.Want{Kinds: []match.Kind{match.Cheapest}})
		if err != nil {
			return 0, err
		}
		cost, _, ok := matchtest.CheapestOnGrid(p)
		if got.Outcome != match.Matched || !ok {
			return 0, fmt.Errorf("a shade of three bases: outcome %d, on the grid %t", got.Outcome, ok)
		}
		over := got.Offers[0].Answer.CostPerKg / cost
		worst, sum, n = max(worst, over), sum+over, n+1
	}
	fmt.Printf("match over the cheapest of a grid, %d shades of 3 bases: %.6f in the mean, %.6f at worst\n", n, sum/float64(n), worst)
	return worst, nil
}
