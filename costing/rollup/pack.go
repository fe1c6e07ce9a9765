package rollup

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/inventory/mass"
)

// ErrCan is the answer to cans that nothing can be packed in.
var ErrCan = errors.New("rollup: a can must hold more than zero and cost zero or more, all cans in one currency")

// Can is a size of can with all that belongs to it: lid, skin paper, label.
type Can struct {
	ID    string
	Holds mass.Mass
	Cost  money.Money // of one
}

// mostUnits bounds the work of Pack: where more than this many of the largest common
// part of the sizes have to be looked at, the quantity is packed in one size.
const mostUnits = 200_000

// Pack fills a quantity into cans of the sizes given, the last of them perhaps in
// part: the mix that costs least, of those the one with the fewest cans, and of
// those the one with the larger cans. The lines are of one size each, the larger
// first.
func Pack(cans []Can, quantity mass.Mass) ([]PackLine, error) {
	if quantity <= 0 {
		return nil, fmt.Errorf("%w: %s to pack", ErrQuantity, quantity)
	}
	if len(cans) == 0 {
		return nil, fmt.Errorf("%w: no size given", ErrCan)
	}
	for _, c := range cans {
		if c.Holds <= 0 || c.Cost.Sign() < 0 || c.Cost.Currency != cans[0].Cost.Currency {
			return nil, fmt.Errorf("%w: %q holds %s and costs %s", ErrCan, c.ID, c.Holds, c.Cost)
		}
	}
	p := newPacking(cans)
	counts := p.mix(quantity)
	var out []PackLine
	for i, n := range counts {
		if n > 0 {
			out = append(out, PackLine{p.cans[i].ID, n, p.cans[i].Cost.Mul(decimal.NewFromInt(n))})
		}
	}
	return out, nil
}

// packing is cans by falling size, with sizes and costs in whole units.
type packing struct {
	cans  []Can
	unit  mass.Mass // the largest that all sizes are multiples of
	sizes []int64
	costs []int64 // 0 where they do not fit: see whole
	whole bool
}

func newPacking(cans []Can) *packing {
	p := &packing{cans: slices.Clone(cans), whole: true}
	slices.SortStableFunc(p.cans, func(a, b Can) int {
		return cmp.Or(cmp.Compare(b.Holds, a.Holds), a.Cost.Amount.Cmp(b.Cost.Amount), cmp.Compare(a.ID, b.ID))
	})
	places := int32(0)
	for _, c := range p.cans {
		p.unit = mass.Mass(gcd(int64(p.unit), int64(c.Holds)))
		places = max(places, -c.Cost.Amount.Exponent())
	}
	for _, c := range p.cans {
		p.sizes = append(p.sizes, int64(c.Holds/p.unit))
		cost := c.Cost.Amount.Shift(places)
		p.whole = p.whole && cost.IsInteger() && cost.LessThan(decimal.NewFromInt(math.MaxInt64/(4*mostUnits)))
		p.costs = append(p.costs, cost.IntPart())
	}
	return p
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// mix is how many of each size. Of the size that is cheapest per unit as many are
// taken as surely belong to a cheapest mix: the others make up less than their
// common multiple, for as many of them could be exchanged for it (pigeonhole). The
// rest is found by dynamic programming.
func (p *packing) mix(quantity mass.Mass) []int64 {
	need := int64(quantity.RoundTo(p.unit, mass.RoundCeil) / p.unit)
	if !p.whole {
		return p.oneSize(need)
	}
	if need <= mostUnits {
		return p.fill(need)
	}
	if p.sizes[0] > mostUnits { // so that no product below is too large
		return p.oneSize(need)
	}
	best := 0
	for i := range p.cans {
		if p.costs[i]*p.sizes[best] < p.costs[best]*p.sizes[i] {
			best = i
		}
	}
	others := p.sizes[best] * p.sizes[0]
	if others > mostUnits {
		return p.oneSize(need)
	}
	counts := make([]int64, len(p.cans))
	if bulk := (need - others) / p.sizes[best]; bulk > 0 {
		counts[best] = bulk
		need -= bulk * p.sizes[best]
	}
	for i, n := range p.fill(need) {
		counts[i] += n
	}
	return counts
}

// fill is the cheapest mix for a need in units.
func (p *packing) fill(need int64) []int64 {
	type best struct {
		cost, count int64
		last        int
	}
	at := make([]best, need+1)
	for n := int64(1); n <= need; n++ {
		at[n].cost = math.MaxInt64
		for i, size := range p.sizes {
			before := at[max(0, n-size)]
			cost, count := before.cost+p.costs[i], before.count+1
			if cost < at[n].cost || cost == at[n].cost && count < at[n].count {
				at[n] = best{cost, count, i}
			}
		}
	}
	counts := make([]int64, len(p.cans))
	for n := need; n > 0; {
		i := at[n].last
		counts[i]++
		n = max(0, n-p.sizes[i])
	}
	return counts
}

// oneSize is the cheapest size alone, then the one with the fewest cans.
func (p *packing) oneSize(need int64) []int64 {
	counts := make([]int64, len(p.cans))
	best, bestCost := -1, decimal.Zero
	for i, size := range p.sizes {
		n := (need + size - 1) / size
		cost := p.cans[i].Cost.Amount.Mul(decimal.NewFromInt(n))
		if best < 0 || cost.LessThan(bestCost) {
			clear(counts)
			best, bestCost, counts[i] = i, cost, n
		}
	}
	return counts
}
