package relax

import (
	"context"
	"slices"

	"millbase/solver"
)

// Ways lists sets of limits without which m can be met, each of them minimal: with
// any one of its members back in force it can't. Those with the fewest members
// come first, among equals those whose members stand first in limits. The search
// ends at most sets, or at members per set, or at a number of solves; all is true
// when it did not have to, so that there are no others of so many members.
//
// There is none when m can be met as it is (the one way is to do nothing, an empty
// set), and none at all when what is taken as given contradicts itself.
//
// A set meets every clash (hitting sets, Reiter 1987, from memory): the search
// branches on the members of a clash that the set at hand has not met, and where
// there is none known it solves, which ends in a way out or in one more clash.
func Ways(ctx context.Context, e solver.Engine, m *solver.Model, limits []Limit, most, members int) (ways [][]Limit, all bool, err error) {
	if err := m.Validate(); err != nil {
		return nil, false, err
	}
	if err := check(m, limits); err != nil {
		return nil, false, err
	}
	w := &waysFinder{finder: finder{ctx: ctx, engine: e, model: free(m), limits: limits}, most: most, tried: map[string]int{}}
	all = true
	for size := 0; size <= members && !w.full(); size++ {
		if err := w.extend(nil, size); err != nil {
			return nil, false, err
		}
	}
	for _, set := range w.found {
		way := make([]Limit, len(set))
		for i, k := range set {
			way[i] = limits[k]
		}
		ways = append(ways, way)
	}
	return ways, all && !w.full(), nil
}

type waysFinder struct {
	finder
	most    int
	clashes [][]int
	found   [][]int
	// tried are the sets that were solved without: a clash that the set has not met,
	// or -1 for a way out.
	tried map[string]int
}

func (w *waysFinder) full() bool { return len(w.found) >= w.most || w.solves >= maxSolves }

// extend finds the ways out that contain the chosen limits and at most room more.
func (w *waysFinder) extend(chosen []int, room int) error {
	if w.full() {
		return nil
	}
	for _, way := range w.found {
		if contains(chosen, way) {
			return nil
		}
	}
	open := slices.IndexFunc(w.clashes, func(c []int) bool { return !meets(c, chosen) })
	if open < 0 {
		var err error
		if open, err = w.try(chosen); err != nil || open < 0 {
			return err
		}
	}
	if room == 0 {
		return nil
	}
	for _, k := range w.clashes[open] {
		next := append(slices.Clone(chosen), k)
		slices.Sort(next)
		if err := w.extend(next, room-1); err != nil {
			return err
		}
	}
	return nil
}

// try solves without the chosen limits. It notes a way out, or returns a clash
// among the others.
func (w *waysFinder) try(chosen []int) (clash int, err error) {
	key := string(bytesOf(chosen))
	if c, known := w.tried[key]; known {
		return c, nil
	}
	in := make([]bool, len(w.limits))
	for k := range in {
		in[k] = !slices.Contains(chosen, k)
	}
	core, x, err := w.core(in)
	switch {
	case err != nil:
		return 0, err
	case x != nil:
		w.found = append(w.found, chosen)
		w.tried[key] = -1
		return -1, nil
	}
	if core, err = w.reduce(core); err != nil {
		return 0, err
	}
	slices.Sort(core)
	w.clashes = append(w.clashes, core)
	w.tried[key] = len(w.clashes) - 1
	return w.tried[key], nil
}

func bytesOf(set []int) []byte {
	out := make([]byte, 0, 4*len(set))
	for _, k := range set {
		out = append(out, byte(k), byte(k>>8), byte(k>>16), ',')
	}
	return out
}

// contains reports whether every member of part is in set.
func contains(set, part []int) bool {
	for _, k := range part {
		if !slices.Contains(set, k) {
			return false
		}
	}
	return true
}
