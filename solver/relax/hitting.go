package relax

// maxBranches ends the search for a hitting set.
const maxBranches = 200_000

// hitting returns a smallest collection of members that has at least one in
// each of the sets, of no fewer than least and no more than most members. It
// returns nil when there is none that small; sure is then false if the search
// was cut short. least must be a known lower bound.
func hitting(sets [][]int, least, most int) (members []int, sure bool) {
	h := hitter{sets: sets, left: maxBranches}
	for size := least; size <= most; size++ {
		if found, ok := h.extend(make([]int, 0, size), size); ok {
			return found, true
		}
		if h.left <= 0 {
			return nil, false
		}
	}
	return nil, true
}

type hitter struct {
	sets [][]int
	left int
}

// extend adds at most room members to chosen so that it meets every set. It
// branches on the members of a smallest set not met yet.
func (h *hitter) extend(chosen []int, room int) ([]int, bool) {
	var open []int
	for _, s := range h.sets {
		if (open == nil || len(s) < len(open)) && !meets(s, chosen) {
			open = s
		}
	}
	if open == nil {
		return append(make([]int, 0, len(chosen)), chosen...), true
	}
	if room == 0 || h.left <= 0 {
		return nil, false
	}
	for _, k := range open {
		h.left--
		if found, ok := h.extend(append(chosen, k), room-1); ok {
			return found, true
		}
	}
	return nil, false
}

func meets(set, chosen []int) bool {
	for _, k := range set {
		for _, c := range chosen {
			if k == c {
				return true
			}
		}
	}
	return false
}
