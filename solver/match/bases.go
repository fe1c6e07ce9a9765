package match

import (
	"context"
	"math"
	"slices"
)

// bases is the number of coloured materials in a mixture.
func (s *program) bases(x []float64) int { return len(s.used(x)) }

// trace is the share below which a base counts as absent.
const trace = 1e-9

// used are the coloured materials of a mixture, sorted.
func (s *program) used(x []float64) []string {
	var out []string
	for k, j := range s.prog.Columns {
		if x[k] > trace && s.p.Colourants[j].coloured() {
			out = append(out, group(&s.p.Blend.Candidates[j]))
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// groups are the coloured materials that may take part, those that must first.
func (s *program) groups() (must, may []string) {
	for k, j := range s.prog.Columns {
		v := s.prog.Model.Variables[k]
		switch name := group(&s.p.Blend.Candidates[j]); {
		case !s.p.Colourants[j].coloured():
		case v.Lower > 0:
			must = append(must, name)
		case v.Upper > 0:
			may = append(may, name)
		}
	}
	slices.Sort(must)
	slices.Sort(may)
	must = slices.Compact(must)
	may = slices.DeleteFunc(slices.Compact(may), func(name string) bool { return slices.Contains(must, name) })
	return must, may
}

// keep shuts out every base but those of the named materials.
func (s *program) keep(names []string) {
	s.shut(func(k int) bool {
		j := s.prog.Columns[k]
		return s.p.Colourants[j].coloured() && !slices.Contains(names, group(&s.p.Blend.Candidates[j]))
	})
}

// only shuts out every base that is not in a mixture.
func (s *program) only(at point) { s.keep(s.used(at.x)) }

// MaxSubsets is the largest number of sets of bases that are tried.
const MaxSubsets = 20_000

// subsets calls f with every set of n materials that has all that must be in it,
// until f returns false or an error; complete is false when there were too many.
func (s *program) subsets(n int, f func(names []string) (bool, error)) (complete bool, err error) {
	must, may := s.groups()
	pick := n - len(must)
	if pick < 0 || pick > len(may) {
		return true, nil
	}
	index := make([]int, pick)
	for i := range index {
		index[i] = i
	}
	for count := 0; ; count++ {
		if count == MaxSubsets {
			return false, nil
		}
		names := slices.Clone(must)
		for _, i := range index {
			names = append(names, may[i])
		}
		if more, err := f(names); err != nil || !more {
			return true, err
		}
		i := pick - 1
		for i >= 0 && index[i] == len(may)-pick+i {
			i--
		}
		if i < 0 {
			return true, nil
		}
		index[i]++
		for j := i + 1; j < pick; j++ {
			index[j] = index[j-1] + 1
		}
	}
}

// nearestOf is the nearest mixture of the named materials alone; no x: none meets
// the limits.
func (s *program) nearestOf(names []string, until float64) (point, error) {
	s.keep(names)
	from, err := s.starts()
	if err != nil || len(from) == 0 {
		return point{de: math.Inf(1)}, err
	}
	best := point{de: math.Inf(1)}
	for i := range min(2, len(from)) {
		p, err := s.nearest(from[i])
		if err != nil {
			return best, err
		}
		if p.de < best.de {
			best = p
		}
		if best.de <= until {
			break
		}
	}
	return best, context.Cause(s.ctx)
}

// fewer is the nearest mixture of at most n bases. at is the nearest of any number.
func (m *matcher) fewer(at point, n int) (point, error) {
	if m.bases(at.x) <= n {
		return at, nil
	}
	defer m.shut(nil)
	best := point{de: math.Inf(1)}
	complete, err := m.subsets(n, func(names []string) (bool, error) {
		p, err := m.nearestOf(names, enough)
		if err == nil && p.de < best.de {
			best = p
		}
		return true, err
	})
	m.partly(complete)
	return best, err
}

// partly says that not every set of bases was tried.
func (m *matcher) partly(complete bool) {
	if !complete {
		m.result.Assumed = append(m.result.Assumed, "There are too many sets of bases to try each: name the ones to choose from for a choice that is sure.")
	}
}

// cheapestOfFewer is the cheapest mixture of at most n bases within a difference;
// at most the tolerance, within which the nearest such mixture lies.
func (m *matcher) cheapestOfFewer(difference float64, n int) (point, error) {
	defer m.shut(nil)
	best, complete, err := m.cheapestSet(difference, n)
	m.partly(complete)
	if err == nil && best.x == nil {
		best = m.near
	}
	return best, err
}

// cheapestSet is the cheapest mixture within a difference of all sets of n bases;
// no x: none comes within it.
func (m *matcher) cheapestSet(difference float64, n int) (best point, complete bool, err error) {
	best.cost = math.Inf(1)
	complete, err = m.subsets(n, func(names []string) (bool, error) {
		p, err := m.nearestOf(names, 0.5*difference)
		if err != nil || !(p.de <= difference) {
			return err == nil, err
		}
		p, err = m.cheaper(p, p, difference, best.cost)
		if err == nil && p.x != nil && p.cost < best.cost {
			best = p
		}
		return true, err
	})
	return best, complete, err
}

// fewest is the cheapest mixture within the tolerance of the smallest number of
// bases with which there is one.
func (m *matcher) fewest() (point, error) {
	defer m.shut(nil)
	most := m.bases(m.near.x)
	for n := range most {
		best, complete, err := m.cheapestSet(m.p.Tolerance, n)
		if err != nil {
			return best, err
		}
		m.partly(complete)
		if best.x != nil {
			return best, nil
		}
	}
	// None with fewer than the nearest mixture has.
	best, _, err := m.cheapestSet(m.p.Tolerance, most)
	if err == nil && best.x == nil {
		best = m.near
	}
	return best, err
}
