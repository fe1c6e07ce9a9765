package valuation

import (
	"errors"
	"fmt"
	"time"

	"millbase/costing/money"
	"millbase/inventory/mass"
)

// Basis names how a material is valued.
type Basis uint8

// The bases. The zero value is no basis, so that it is never chosen by accident.
const (
	Lot Basis = iota + 1
	Average
	FIFO
	Replacement
	Standard
)

var basisNames = [...]string{Lot: "lot", Average: "average", FIFO: "fifo", Replacement: "replacement", Standard: "standard"}

// String is the basis in lower case, "average".
func (b Basis) String() string {
	if b >= Lot && int(b) < len(basisNames) {
		return basisNames[b]
	}
	return fmt.Sprintf("basis %d", uint8(b))
}

// Errors of this package; test with errors.Is.
var (
	ErrBasis      = errors.New("valuation: the cost basis must be lot, average, fifo, replacement or standard")
	ErrQuantity   = errors.New("valuation: the quantity must be above zero")
	ErrShort      = errors.New("valuation: not enough stock to value")
	ErrLayer      = errors.New("valuation: a layer needs a mass of zero or more and a cost of zero or more per kg")
	ErrNoLot      = errors.New("valuation: no such lot among the layers")
	ErrNoOffer    = errors.New("valuation: no offer covers the quantity on that day")
	ErrOffer      = errors.New("valuation: an offer needs price breaks with rising quantities, prices of zero or more, and no negative pack or minimum")
	ErrNoStandard = errors.New("valuation: no standard cost is in force on that day")
)

// ParseBasis reads the name that String writes.
func ParseBasis(s string) (Basis, error) {
	for b := Lot; int(b) < len(basisNames); b++ {
		if s == basisNames[b] {
			return b, nil
		}
	}
	return 0, fmt.Errorf("%w: got %.40q", ErrBasis, s)
}

// Sources is all that is known of the cost of one material, in one currency.
// A basis looks only at its own part.
type Sources struct {
	Currency  string
	On        time.Time       // the day that offers and standards are looked up for
	Layers    []Layer         // average, fifo, lot
	Picks     []Pick          // lot: which lots, how much of each
	Offers    []Offer         // replacement
	Standards []StandardPrice // standard
	Places    int32           // decimal places of an average issue
}

// Cost is the cost of a mass on a basis, with the pieces it is made of.
// The pieces add up to Total and to Mass exactly.
type Cost struct {
	Basis Basis
	Mass  mass.Mass
	Total money.Money
	Parts []Part
}

// Part is one piece of a cost: a layer or lot used, an offer, a standard.
type Part struct {
	Source string // lot, offer or standard id; empty for the average of all layers
	Mass   mass.Mass
	Cost   money.Money
}

// PerKg is the cost per kg, rounded once.
func (c Cost) PerKg(places int32, mode money.Rounding) (money.PerKg, error) {
	return c.Total.PerKg(c.Mass, places, mode)
}

// Value answers what need costs on the basis. With Lot the picks decide and
// must add up to need.
func Value(basis Basis, need mass.Mass, s Sources) (Cost, error) {
	if need <= 0 {
		return Cost{}, fmt.Errorf("%w: got %s", ErrQuantity, need)
	}
	switch basis {
	case Lot:
		var picked mass.Mass
		for _, p := range s.Picks {
			picked += p.Mass
		}
		if picked != need {
			return Cost{}, fmt.Errorf("%w: the lots picked hold %s of the %s wanted", ErrShort, picked, need)
		}
		cost, _, err := IssueLots(s.Currency, s.Layers, s.Picks)
		return cost, err
	case Average:
		issue, _, err := IssueAverage(s.Currency, s.Layers, need, s.Places, money.RoundHalfEven)
		return issue, err
	case FIFO:
		issue, _, err := IssueFIFO(s.Currency, s.Layers, need)
		return issue, err
	case Replacement:
		buy, err := Best(s.Currency, s.Offers, need, s.On, LowestOutlay)
		if err != nil {
			return Cost{}, err
		}
		total := buy.Price.Of(need)
		return Cost{Replacement, need, total, []Part{{buy.Offer, need, total}}}, nil
	case Standard:
		std, err := StandardOn(s.Standards, s.On)
		if err != nil {
			return Cost{}, err
		}
		if std.Cost.Currency != s.Currency {
			return Cost{}, fmt.Errorf("%w: standard in %s, plant in %s", money.ErrMismatch, std.Cost.Currency, s.Currency)
		}
		total := std.Cost.Of(need)
		return Cost{Standard, need, total, []Part{{std.ID, need, total}}}, nil
	}
	return Cost{}, fmt.Errorf("%w: got %s", ErrBasis, basis)
}
