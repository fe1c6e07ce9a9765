package reprice_test

import (
	"context"
	"math/rand/v2"
	"testing"

	"millbase/solver/reprice"
)

// BenchmarkReprice is a book of 2,000 formulas when one price, or every price,
// moves.
func BenchmarkReprice(b *testing.B) {
	const materials = 400
	kept := book(b, 1, 10000, 60, 20, materials)
	r := rand.New(rand.NewPCG(1, 9))
	all := func(by float64) (c reprice.Change) {
		for i := range materials {
			c.Prices = append(c.Prices, reprice.PriceChange{Item: i, To: kept.Price(i) * (1 + by*(2*r.Float64()-1))})
		}
		return c
	}
	for _, c := range []struct {
		name   string
		change reprice.Change
	}{
		{"one", reprice.Change{Prices: []reprice.PriceChange{{Item: 7, To: 1.05 * kept.Price(7)}}}},
		{"all1pct", all(0.01)}, {"all5pct", all(0.05)},
	} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				_, report, err := kept.Reprice(context.Background(), c.change)
				if err != nil || report.Failed > 0 {
					b.Fatal(err)
				}
			}
		})
	}
}
