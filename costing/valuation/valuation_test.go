package valuation_test

import (
	"errors"
	"testing"
	"time"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/costing/money"
	"millbase/costing/valuation"
	"millbase/inventory/mass"
)

const kg = mass.Kilogram

var day = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

func layer(lot string, kilograms mass.Mass, price string, dayOffset int) valuation.Layer {
	return valuation.Layer{Lot: lot, Mass: kilograms * kg, Cost: money.MustPerKg(price, "EUR"), Received: day.AddDate(0, 0, dayOffset)}
}

// Two textbook sets of cost layers, with the units read as kilograms. Source:
// worked examples of inventory costing in accounting course texts; the figures
// are 20@360, 260@342, 40@357 with 57 left, and 300@20, 100@20.20, 200@20.70,
// 200@21 with 450 sold.
func TestLayersOfTheTextbooks(t *testing.T) {
	for _, c := range []struct {
		layers                          []valuation.Layer
		issue                           mass.Mass
		average                         string
		fifoCost, fifoLeft, avgOut, avg string
	}{
		{
			[]valuation.Layer{layer("A", 20, "360", 0), layer("B", 260, "342", 1), layer("C", 40, "357", 2)},
			263, "345", "90306 EUR", "20094 EUR", "90735 EUR", "19665 EUR",
		},
		{
			[]valuation.Layer{layer("A", 300, "20", 0), layer("B", 100, "20.20", 1), layer("C", 200, "20.70", 2), layer("D", 200, "21", 3)},
			450, "20.45", "9055 EUR", "7305 EUR", "9202.5 EUR", "7157.5 EUR",
		},
	} {
		issue, left, err := valuation.IssueFIFO("EUR", c.layers, c.issue*kg)
		if err != nil {
			t.Fatal(err)
		}
		_, value, err := valuation.OnHand("EUR", left)
		if err != nil || issue.Total.String() != c.fifoCost || value.String() != c.fifoLeft {
			t.Errorf("FIFO: cost %s, left %s (%v); want %s and %s", issue.Total, value, err, c.fifoCost, c.fifoLeft)
		}
		avg, err := valuation.AveragePerKg("EUR", c.layers, 6, money.RoundHalfEven)
		if err != nil || avg.Amount.String() != c.average {
			t.Errorf("average %s (%v), want %s", avg, err, c.average)
		}
		out, rest, err := valuation.IssueAverage("EUR", c.layers, c.issue*kg, 2, money.RoundHalfEven)
		if err != nil || out.Total.String() != c.avgOut || rest.String() != c.avg {
			t.Errorf("average: cost %s, left %s (%v); want %s and %s", out.Total, rest, err, c.avgOut, c.avg)
		}
	}
}

func TestLotsByName(t *testing.T) {
	layers := []valuation.Layer{layer("A", 20, "3", 0), layer("B", 10, "4", 1)}
	cost, left, err := valuation.IssueLots("EUR", layers, []valuation.Pick{{Lot: "B", Mass: 10 * kg}, {Lot: "A", Mass: 5 * kg}})
	if err != nil || cost.Total.String() != "55 EUR" || len(left) != 1 || left[0].Mass != 15*kg {
		t.Errorf("10 kg of B and 5 kg of A: %s, left %v, %v", cost.Total, left, err)
	}
	if layers[0].Mass != 20*kg {
		t.Error("the caller's layers were changed")
	}
	for _, c := range []struct {
		pick valuation.Pick
		err  error
	}{
		{valuation.Pick{Lot: "Z", Mass: kg}, valuation.ErrNoLot},
		{valuation.Pick{Lot: "A", Mass: 21 * kg}, valuation.ErrShort},
		{valuation.Pick{Lot: "A", Mass: 0}, valuation.ErrQuantity},
	} {
		if _, _, err := valuation.IssueLots("EUR", layers, []valuation.Pick{c.pick}); !errors.Is(err, c.err) {
			t.Errorf("pick %+v: %v, want %v", c.pick, err, c.err)
		}
	}
}

func TestBadLayers(t *testing.T) {
	good := layer("A", 1, "3", 0)
	negative := good
	negative.Mass = -1
	foreign := good
	foreign.Cost.Currency = "USD"
	for _, c := range []struct {
		layers []valuation.Layer
		need   mass.Mass
		err    error
	}{
		{[]valuation.Layer{negative}, kg, valuation.ErrLayer},
		{[]valuation.Layer{good, foreign}, kg, money.ErrMismatch},
		{[]valuation.Layer{good}, 2 * kg, valuation.ErrShort},
		{nil, kg, valuation.ErrShort},
		{[]valuation.Layer{good}, 0, valuation.ErrQuantity},
		{[]valuation.Layer{good}, -kg, valuation.ErrQuantity},
	} {
		if _, _, err := valuation.IssueFIFO("EUR", c.layers, c.need); !errors.Is(err, c.err) {
			t.Errorf("FIFO of %s from %v: %v, want %v", c.need, c.layers, err, c.err)
		}
		if _, _, err := valuation.IssueAverage("EUR", c.layers, c.need, 2, money.RoundHalfEven); !errors.Is(err, c.err) {
			t.Errorf("average of %s from %v: %v, want %v", c.need, c.layers, err, c.err)
		}
	}
}

func randomLayers(t *rapid.T) ([]valuation.Layer, mass.Mass) {
	n := rapid.IntRange(1, 8).Draw(t, "layers")
	layers := make([]valuation.Layer, n)
	var total mass.Mass
	for i := range layers {
		layers[i] = valuation.Layer{
			Lot:      string(rune('A' + i)),
			Mass:     mass.Mass(rapid.Int64Range(0, int64(1000*kg)).Draw(t, "mass")),
			Cost:     money.PerKg{Currency: "EUR", Amount: decimal.New(rapid.Int64Range(0, 1e7).Draw(t, "cost"), -4)},
			Received: day.AddDate(0, 0, rapid.IntRange(0, 5).Draw(t, "day")),
		}
		total += layers[i].Mass
	}
	if total == 0 {
		layers[0].Mass, total = kg, kg
	}
	return layers, total
}

// Whatever is issued: cost + what is left = what was there, mass and money.
func TestIssuesConserveMassAndValue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		layers, total := randomLayers(t)
		need := mass.Mass(rapid.Int64Range(1, int64(total)).Draw(t, "need"))
		_, value, err := valuation.OnHand("EUR", layers)
		if err != nil {
			t.Fatal(err)
		}
		fifo, left, err := valuation.IssueFIFO("EUR", layers, need)
		if err != nil {
			t.Fatal(err)
		}
		restMass, restValue, err := valuation.OnHand("EUR", left)
		if err != nil || fifo.Mass != need || fifo.Mass+restMass != total {
			t.Fatalf("issued %s of %s, left %s (%v)", fifo.Mass, total, restMass, err)
		}
		if sum, err := fifo.Total.Add(restValue); err != nil || !sum.Equal(value) {
			t.Fatalf("FIFO: %s + %s is not %s (%v)", fifo.Total, restValue, value, err)
		}
		parts := money.Zero("EUR")
		for _, p := range fifo.Parts {
			parts.Amount = parts.Amount.Add(p.Cost.Amount)
		}
		if !parts.Equal(fifo.Total) {
			t.Fatalf("parts add up to %s, total %s", parts, fifo.Total)
		}
		avg, rest, err := valuation.IssueAverage("EUR", layers, need, 2, money.RoundHalfEven)
		if err != nil {
			t.Fatal(err)
		}
		if sum, err := avg.Total.Add(rest); err != nil || !sum.Equal(value) {
			t.Fatalf("average: %s + %s is not %s (%v)", avg.Total, rest, value, err)
		}
		if need == total && !rest.IsZero() {
			t.Fatalf("all issued, but %s left", rest)
		}
	})
}

// The order in which layers are given decides nothing.
func TestFIFOIsDeterministic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		layers, total := randomLayers(t)
		need := mass.Mass(rapid.Int64Range(1, int64(total)).Draw(t, "need"))
		a, _, err := valuation.IssueFIFO("EUR", layers, need)
		if err != nil {
			t.Fatal(err)
		}
		b, _, err := valuation.IssueFIFO("EUR", rapid.Permutation(layers).Draw(t, "order"), need)
		if err != nil || !a.Total.Equal(b.Total) {
			t.Fatalf("%s, in another order %s (%v)", a.Total, b.Total, err)
		}
	})
}
