package batch

import (
	"sort"

	"millbase/inventory"
)

// WeighingOrder sorts the lines as they are weighed in (common practice): varnish
// and oil into the pot, pigment and base inks wetted into them, and after the
// mills the let-down with wax, driers and additives. Within a class the largest
// material comes first, and the lots of one material stay together.
func WeighingOrder(lines []Line, class func(material string) inventory.Class) []Line {
	out := append([]Line(nil), lines...)
	of := map[string]int64{}
	for _, l := range out {
		of[l.Material] += int64(l.Quantity)
	}
	sort.SliceStable(out, func(i, j int) bool {
		a, b := &out[i], &out[j]
		if ra, rb := rank(class(a.Material)), rank(class(b.Material)); ra != rb {
			return ra < rb
		}
		switch {
		case of[a.Material] != of[b.Material]:
			return of[a.Material] > of[b.Material]
		case a.Material != b.Material:
			return a.Material < b.Material
		}
		return false
	})
	return out
}

func rank(c inventory.Class) int {
	for i, k := range inventory.Classes {
		if k == c {
			return i
		}
	}
	return len(inventory.Classes)
}
