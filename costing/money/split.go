package money

import (
	"errors"
	"fmt"
	"sort"

	"github.com/shopspring/decimal"

	"millbase/inventory/mass"
)

// ErrWeights is the answer to weights that a sum cannot be split by.
var ErrWeights = errors.New("money: weights must not be negative and must not all be zero")

// Split shares m out in proportion to the weights, each share a whole multiple
// of 10^-places, so that the shares add up to m exactly: every share is rounded
// towards zero and the steps left over go one each to the largest remainders,
// the earlier weight first on a tie (the largest-remainder rule, common
// practice). A share differs from its exact part by less than one step, and a
// weight of zero gets nothing.
//
// ErrWeights on negative weights or none above zero; ErrTooFine when m itself
// is not a multiple of 10^-places: round it first.
func (m Money) Split(weights []decimal.Decimal, places int32) ([]Money, error) {
	total := decimal.Zero
	for _, w := range weights {
		if w.Sign() < 0 {
			return nil, fmt.Errorf("%w: got %s", ErrWeights, w)
		}
		total = total.Add(w)
	}
	if total.Sign() == 0 {
		return nil, ErrWeights
	}
	if !m.Amount.Equal(m.Amount.RoundDown(places)) {
		return nil, fmt.Errorf("%w: %s in steps of %d places; round it before splitting", ErrTooFine, m, places)
	}
	step := decimal.New(1, -places)
	if m.Sign() < 0 {
		step = step.Neg()
	}
	shares := make([]Money, len(weights))
	rest := make([]decimal.Decimal, len(weights))
	left := m.Amount
	for i, w := range weights {
		var q decimal.Decimal
		q, rest[i] = m.Amount.Mul(w).QuoRem(total, places)
		shares[i] = Money{m.Currency, q}
		left = left.Sub(q)
	}
	order := make([]int, len(weights))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool {
		return rest[order[a]].Abs().GreaterThan(rest[order[b]].Abs())
	})
	for _, i := range order {
		if left.IsZero() {
			break
		}
		shares[i].Amount = shares[i].Amount.Add(step)
		left = left.Sub(step)
	}
	return shares, nil
}

// SplitByMass is Split with masses as the weights: freight over the lots of a
// receipt, say.
func (m Money) SplitByMass(masses []mass.Mass, places int32) ([]Money, error) {
	weights := make([]decimal.Decimal, len(masses))
	for i, x := range masses {
		weights[i] = Kilograms(x)
	}
	return m.Split(weights, places)
}
