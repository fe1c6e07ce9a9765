package plan

import (
	"fmt"
	"slices"
)

// ids holds supplies and offers to an id each: together they are the candidates of
// the batches.
func (v *validator) ids() {
	seen := map[string]bool{}
	id := func(field, id string) {
		switch {
		case id == "":
			v.add(field, "give it an id")
		case seen[id]:
			v.add(field, "%q is used twice: give each supply and offer its own id", id)
		}
		seen[id] = true
	}
	for i := range v.p.Supplies {
		id(fmt.Sprintf("supplies[%d].id", i), v.p.Supplies[i].ID)
	}
	for i := range v.p.Offers {
		id(fmt.Sprintf("offers[%d].id", i), v.p.Offers[i].ID)
	}
}

// circles refuses batches that could be made from what they bring themselves in the
// same period: that would be ink from nothing.
func (v *validator) circles() {
	into := make([][]int, len(v.p.Batches)) // batches that may take what each brings, in its period
	for i := range v.p.Supplies {
		s := &v.p.Supplies[i]
		if s.Batch < 0 || s.From > 0 || s.Kg == 0 {
			continue
		}
		for k := range v.p.Batches {
			if list := v.p.Batches[k].Supplies; list == nil || slices.Contains(list, i) {
				into[s.Batch] = append(into[s.Batch], k)
			}
		}
	}
	const entered, left = 1, 2
	state := make([]int, len(v.p.Batches))
	var visit func(i int) bool // false: i is in a circle
	visit = func(i int) bool {
		state[i] = entered
		for _, k := range into[i] {
			if state[k] == entered || state[k] == 0 && !visit(k) {
				return false
			}
		}
		state[i] = left
		return true
	}
	for i := range state {
		if state[i] == 0 && !visit(i) {
			v.add(fmt.Sprintf("batches[%d].supplies", i), "a batch could be made from what it brings itself in the same period: leave that out of its list, or let it be used a period later")
			return
		}
	}
}
