package relax

import (
	"context"
	"math"
	"slices"

	"millbase/solver"
)

// Clash is the answer of Find.
type Clash struct {
	// Feasible is true when there is no clash: the model can be met.
	Feasible bool
	// Limits clash: together with what is taken as given they can't be met,
	// and any one fewer can. Empty if Feasible, or if what is taken as given
	// contradicts itself.
	Limits []Limit
	// Smallest is true when no set with fewer members clashes. It is false
	// when the search ended at its number of solves.
	Smallest bool
	Solves   int
}

// maxSolves ends the search for a smaller clash. The deletion filter before it
// always runs to its end.
const maxSolves = 400

// Find names a smallest set of clashing limits among those given. The rest of
// the model is taken as given. It returns an error for limits that do not
// exist (ErrLimit), what the engine returns, or ErrStopped when ctx was done.
func Find(ctx context.Context, e solver.Engine, m *solver.Model, limits []Limit) (*Clash, error) {
	if err := m.Validate(); err != nil {
		return nil, err
	}
	if err := check(m, limits); err != nil {
		return nil, err
	}
	f := &finder{ctx: ctx, engine: e, model: free(m), limits: limits}
	all := make([]bool, len(limits))
	for k := range all {
		all[k] = true
	}
	core, x, err := f.core(all)
	if err != nil {
		return nil, err
	}
	if x != nil {
		return &Clash{Feasible: true, Solves: f.solves}, nil
	}
	if core, err = f.reduce(core); err != nil {
		return nil, err
	}
	core, smallest, err := f.smaller(core)
	if err != nil {
		return nil, err
	}
	out := &Clash{Smallest: smallest, Solves: f.solves}
	for _, k := range core {
		out.Limits = append(out.Limits, limits[k])
	}
	return out, nil
}

type finder struct {
	ctx    context.Context
	engine solver.Engine
	model  *solver.Model // without costs and whole-number demands
	limits []Limit
	solves int
}

// core solves with only the limits in force that are set. It returns a point
// that meets them or else the members of a subset that can't be met, those
// that the Farkas ray leans on.
func (f *finder) core(in []bool) (core []int, x []float64, err error) {
	m := f.model.Variant()
	for k, l := range f.limits {
		if !in[k] {
			l.open(m)
		}
	}
	f.solves++
	s, err := ask(f.ctx, f.engine, m)
	if err != nil {
		return nil, nil, err
	}
	if s.Stop == solver.StopOptimal {
		return nil, s.X, nil
	}
	var g []float64
	if len(s.Farkas) == len(m.Rows) {
		g = m.Combine(s.Farkas)
	}
	for k, l := range f.limits {
		if in[k] && (g == nil || leans(l, s.Farkas, g)) {
			core = append(core, k)
		}
	}
	return core, nil, nil
}

// leans reports whether the proof uses the limit. It leans on the lower bound
// of a row with a positive weight, and on the upper bound of a variable whose
// weighted coefficients are positive.
func leans(l Limit, y, g []float64) bool {
	if l.OnVariable {
		return g[l.Number]*l.outward() > 0
	}
	return y[l.Number]*l.outward() < 0
}

// reduce is the deletion filter: it leaves out one limit after the other and
// keeps those without which the rest can be met.
func (f *finder) reduce(core []int) ([]int, error) {
	needed := make(map[int]bool)
	for {
		next := slices.IndexFunc(core, func(k int) bool { return !needed[k] })
		if next < 0 {
			return core, nil
		}
		in := f.set(core)
		in[core[next]] = false
		less, x, err := f.core(in)
		switch {
		case err != nil:
			return nil, err
		case x != nil:
			needed[core[next]] = true
		default:
			core = less
		}
	}
}

func (f *finder) set(members []int) []bool {
	in := make([]bool, len(f.limits))
	for _, k := range members {
		in[k] = true
	}
	return in
}

// smaller looks for a clash with fewer members. Every set of limits whose
// removal makes the model feasible has a member in every clash; a smallest set
// that meets all those found so far either clashes, and is then a smallest
// clash, or it can be met and shows one more such set.
func (f *finder) smaller(best []int) (clash []int, smallest bool, err error) {
	var sets [][]int
	size := 0 // no clash is smaller than this
	for {
		hit, sure := hitting(sets, size, len(best)-1)
		if hit == nil {
			return best, sure, nil
		}
		size = len(hit)
		if f.solves >= maxSolves {
			return best, false, nil
		}
		in := f.set(hit)
		core, x, err := f.core(in)
		if err != nil {
			return nil, false, err
		}
		if x == nil {
			core, err = f.reduce(core)
			return core, err == nil, err
		}
		removed, err := f.grow(in, x)
		if err != nil {
			return nil, false, err
		}
		sets = append(sets, removed)
	}
}

// grow adds limits to a set that can be met as long as it still can, and
// returns those left out. It first adds all that the point at hand meets.
func (f *finder) grow(in []bool, x []float64) ([]int, error) {
	out := make([]bool, len(in))
	for {
		f.admit(in, x)
		next := -1
		for k := range in {
			if !in[k] && !out[k] {
				next = k
				break
			}
		}
		if next < 0 {
			break
		}
		if f.solves >= maxSolves {
			break
		}
		in[next] = true
		_, better, err := f.core(in)
		switch {
		case err != nil:
			return nil, err
		case better == nil:
			in[next], out[next] = false, true
		default:
			x = better
		}
	}
	var left []int
	for k := range in {
		if !in[k] {
			left = append(left, k)
		}
	}
	return left, nil
}

// admit sets every limit that x meets exactly.
func (f *finder) admit(in []bool, x []float64) {
	act := f.model.Activities(x)
	for k, l := range f.limits {
		if in[k] {
			continue
		}
		value := x
		if !l.OnVariable {
			value = act
		}
		over := l.outward() * (value[l.Number] - *l.bound(f.model))
		in[k] = over <= 0 && !math.IsNaN(over)
	}
}
