package rollup

import (
	"errors"
	"fmt"

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

// Pack fills a quantity into cans of one size, the last of them perhaps in
// part. Of several sizes the cheapest for the quantity is taken, then the one
// with the fewest cans, then the first by id.
func Pack(cans []Can, quantity mass.Mass) (PackLine, error) {
	if quantity <= 0 {
		return PackLine{}, fmt.Errorf("%w: %s to pack", ErrQuantity, quantity)
	}
	if len(cans) == 0 {
		return PackLine{}, fmt.Errorf("%w: no size given", ErrCan)
	}
	var best PackLine
	for i, c := range cans {
		if c.Holds <= 0 || c.Cost.Sign() < 0 || c.Cost.Currency != cans[0].Cost.Currency {
			return PackLine{}, fmt.Errorf("%w: %q holds %s and costs %s", ErrCan, c.ID, c.Holds, c.Cost)
		}
		count := int64(quantity.RoundTo(c.Holds, mass.RoundCeil) / c.Holds)
		line := PackLine{c.ID, count, c.Cost.Mul(decimal.NewFromInt(count))}
		cheaper := line.Cost.Amount.Cmp(best.Cost.Amount)
		if i == 0 || cheaper < 0 || (cheaper == 0 && (count < best.Count || (count == best.Count && c.ID < best.Can))) {
			best = line
		}
	}
	return best, nil
}
