package plan

import (
	"fmt"
	"strings"
	"unsafe"

	"millbase/solver/formulation"
)

// group is batches that are alike but for their quantities: of the same limits,
// candidates and time. What is made of all of them together is one blend: limits are
// ratios, so that each batch can take its part of it, and the optimum is the same.
type group struct {
	batches []int
	like    *Batch
	kg      float64
	most    float64
}

// groupKey tells batches apart that can't be planned as one.
type groupKey struct {
	limits                  string
	supplies, offers        *int
	nSupplies, nOffers      int
	earliest, due, mostLate int
	late, worth             float64
	own                     int
}

// makeGroups puts batches together; apart leaves each by itself.
func (b *built) makeGroups(apart bool) {
	brings := map[int]bool{}
	for i := range b.p.Supplies {
		if s := &b.p.Supplies[i]; s.Batch >= 0 {
			brings[s.Batch] = true
		}
	}
	at := map[groupKey]int{}
	for i := range b.p.Batches {
		of := &b.p.Batches[i]
		key := groupKey{limits: b.limitsKey(of), supplies: unsafe.SliceData(of.Supplies), offers: unsafe.SliceData(of.Offers), nSupplies: count(of.Supplies), nOffers: count(of.Offers),
			earliest: of.Earliest, due: of.Due, mostLate: of.MostLate, late: of.LatePerKg, worth: of.Worth, own: -1}
		if apart || brings[i] || of.Most > of.Kg {
			key.own = i
		}
		g, known := at[key]
		if !known {
			g = len(b.groups)
			at[key] = g
			b.groups = append(b.groups, group{like: of})
		}
		b.groups[g].batches = append(b.groups[g].batches, i)
		b.groups[g].kg += of.Kg
		b.groups[g].most += max(of.Kg, of.Most)
	}
}

// count tells an empty list from none.
func count(list []int) int {
	if list == nil {
		return -1
	}
	return len(list)
}

// limitsKey is the same for limits that say the same.
func (b *built) limitsKey(of *Batch) string {
	if len(of.Limits) == 0 {
		return ""
	}
	first := unsafe.SliceData(of.Limits)
	if key, ok := b.limitKeys[first]; ok && key.n == len(of.Limits) {
		return key.text
	}
	var text strings.Builder
	bound := func(v *float64) string {
		if v == nil {
			return "-"
		}
		return fmt.Sprint(*v)
	}
	for i := range of.Limits {
		l := &of.Limits[i]
		fmt.Fprintf(&text, "%q %q %s %s %q %t %q %q %q %q %v %g %g %g %t\n", l.ID, l.Kind, bound(l.Lower), bound(l.Upper), l.ColourIndex, l.ByStrength,
			l.Metal, l.Materials, l.Classes, l.Property, l.Index, l.Confidence, l.Budget, l.Spread, l.Hard)
	}
	b.limitKeys[first] = limitKey{len(of.Limits), text.String()}
	return text.String()
}

type limitKey struct {
	n    int
	text string
}

// ratiosKey is what ratios hang on.
func (b *built) ratiosOf(of *Batch) (*formulation.Ratios, error) {
	key := b.limitsKey(of)
	if r, ok := b.ratios[key]; ok {
		return r, nil
	}
	r, err := formulation.NewRatios(b.blend(of))
	if err != nil {
		return nil, err
	}
	for i := range of.Limits {
		if of.Limits[i].Confidence > 0 || of.Limits[i].Budget > 0 {
			b.assume["Limits hold at nominal values: confidences play no part in the plan."] = true
		}
	}
	b.ratios[key] = r
	return r, nil
}

// shareOut shares what is made of a group out to its batches: each is made in as
// few periods as can be, in the order of their numbers. kg is what is made per
// period, left what each batch is short of it; the answer is per batch and period.
func (g *group) shareOut(kg []float64, asked []float64) [][]float64 {
	out := table(len(g.batches), len(kg))
	t, left := 0, 0.0
	if len(kg) > 0 {
		left = kg[0]
	}
	for i, need := range asked {
		for need > 0 && t < len(kg) {
			take := min(need, left)
			out[i][t] += take
			need, left = need-take, left-take
			if left <= negligibleKg && need > 0 {
				if t++; t < len(kg) {
					left = kg[t]
				}
			}
		}
	}
	return out
}
