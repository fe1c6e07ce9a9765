package valuation

import (
	"fmt"
	"sort"
	"time"

	"millbase/costing/money"
	"millbase/inventory/mass"
)

// Layer is a mass received at one landed cost per kg.
type Layer struct {
	Lot      string
	Mass     mass.Mass // what is left of it
	Cost     money.PerKg
	Received time.Time
}

// Pick is a mass taken from one named lot.
type Pick struct {
	Lot  string
	Mass mass.Mass
}

// OnHand is the mass and the exact value of all layers.
func OnHand(currency string, layers []Layer) (mass.Mass, money.Money, error) {
	var m mass.Mass
	total := money.Zero(currency)
	for _, l := range layers {
		if l.Mass < 0 || l.Cost.Amount.Sign() < 0 {
			return 0, total, fmt.Errorf("%w: lot %q has %s at %s", ErrLayer, l.Lot, l.Mass, l.Cost)
		}
		var err error
		if total, err = total.Add(l.Cost.Of(l.Mass)); err != nil {
			return 0, total, fmt.Errorf("lot %q: %w", l.Lot, err)
		}
		m += l.Mass
	}
	return m, total, nil
}

// AveragePerKg is the weighted average cost per kg of all layers.
func AveragePerKg(currency string, layers []Layer, places int32, mode money.Rounding) (money.PerKg, error) {
	m, total, err := OnHand(currency, layers)
	if err != nil {
		return money.PerKg{}, err
	}
	if m == 0 {
		return money.PerKg{}, fmt.Errorf("%w: nothing on hand", ErrShort)
	}
	return total.PerKg(m, places, mode)
}

// IssueFIFO takes need from the layers, the earliest received first (then by
// lot, so that the answer never depends on the order given), and returns the
// exact cost and the layers left. The input is not changed.
func IssueFIFO(currency string, layers []Layer, need mass.Mass) (Cost, []Layer, error) {
	if err := enough(currency, layers, need); err != nil {
		return Cost{}, nil, err
	}
	order := append([]Layer(nil), layers...)
	sort.SliceStable(order, func(a, b int) bool {
		if !order[a].Received.Equal(order[b].Received) {
			return order[a].Received.Before(order[b].Received)
		}
		return order[a].Lot < order[b].Lot
	})
	cost := Cost{Basis: FIFO, Total: money.Zero(currency)}
	var left []Layer
	for _, l := range order {
		take := min(l.Mass, need-cost.Mass)
		cost.add(l, take)
		if l.Mass -= take; l.Mass > 0 {
			left = append(left, l)
		}
	}
	return cost, left, nil
}

// IssueAverage takes need at the weighted average: cost = value x need / mass,
// rounded once to the given places. The second result is the value left, which
// keeps what the rounding moved.
func IssueAverage(currency string, layers []Layer, need mass.Mass, places int32, mode money.Rounding) (Cost, money.Money, error) {
	if err := enough(currency, layers, need); err != nil {
		return Cost{}, money.Money{}, err
	}
	m, total, err := OnHand(currency, layers)
	if err != nil {
		return Cost{}, money.Money{}, err
	}
	issued := total
	if need < m {
		share := total.Amount.Mul(money.Kilograms(need))
		issued.Amount = money.DivDecimal(share, money.Kilograms(m), places, mode)
	}
	left, err := total.Sub(issued)
	return Cost{Average, need, issued, []Part{{"", need, issued}}}, left, err
}

// IssueLots takes the picked mass from each named lot, at that lot's own cost,
// and returns the layers left, in the order given. A lot that stands in several
// layers is used in that order.
func IssueLots(currency string, layers []Layer, picks []Pick) (Cost, []Layer, error) {
	if _, _, err := OnHand(currency, layers); err != nil {
		return Cost{}, nil, err
	}
	rest := append([]Layer(nil), layers...)
	cost := Cost{Basis: Lot, Total: money.Zero(currency)}
	for _, p := range picks {
		if p.Mass <= 0 {
			return Cost{}, nil, fmt.Errorf("%w: %s of lot %q", ErrQuantity, p.Mass, p.Lot)
		}
		want, known := p.Mass, false
		for i := range rest {
			if rest[i].Lot != p.Lot {
				continue
			}
			known = true
			take := min(rest[i].Mass, want)
			cost.add(rest[i], take)
			rest[i].Mass -= take
			want -= take
		}
		if !known {
			return Cost{}, nil, fmt.Errorf("%w: %q", ErrNoLot, p.Lot)
		}
		if want > 0 {
			return Cost{}, nil, fmt.Errorf("%w: lot %q is %s short of %s", ErrShort, p.Lot, want, p.Mass)
		}
	}
	left := rest[:0]
	for _, l := range rest {
		if l.Mass > 0 {
			left = append(left, l)
		}
	}
	return cost, left, nil
}

func (c *Cost) add(l Layer, take mass.Mass) {
	if take == 0 {
		return
	}
	part := l.Cost.Of(take)
	c.Mass += take
	c.Total.Amount = c.Total.Amount.Add(part.Amount)
	c.Parts = append(c.Parts, Part{l.Lot, take, part})
}

func enough(currency string, layers []Layer, need mass.Mass) error {
	if need <= 0 {
		return fmt.Errorf("%w: got %s", ErrQuantity, need)
	}
	m, _, err := OnHand(currency, layers)
	if err == nil && m < need {
		err = fmt.Errorf("%w: %s on hand, %s wanted", ErrShort, m, need)
	}
	return err
}
