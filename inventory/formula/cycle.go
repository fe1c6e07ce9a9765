package formula

// Cycle looks for a way by which the material would become an ingredient of
// itself. parts gives, for a material that is made here, the materials of its
// formulas. It returns the materials along the way, the first and the last of
// them being the same, or nil when there is none. The shortest way is found, so
// that the answer is easy to follow.
func Cycle(material string, parts func(material string) []string) []string {
	from := map[string]string{} // how each material was first reached
	queue := []string{material}
	for len(queue) > 0 {
		at := queue[0]
		queue = queue[1:]
		for _, part := range parts(at) {
			if part == material {
				return way(material, at, from)
			}
			if _, seen := from[part]; !seen {
				from[part] = at
				queue = append(queue, part)
			}
		}
	}
	return nil
}

func way(material, last string, from map[string]string) []string {
	back := []string{material}
	for at := last; at != material; at = from[at] {
		back = append(back, at)
	}
	back = append(back, material)
	for i, j := 0, len(back)-1; i < j; i, j = i+1, j-1 {
		back[i], back[j] = back[j], back[i]
	}
	return back
}
