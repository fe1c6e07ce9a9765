package app_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/costing/money"
	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/server/app"
	"millbase/solver/engines"
	"millbase/solver/formulation"
)

// alone is a book without a store: enough for candidates in the request.
func alone() *app.Book {
	return app.New(nil, engines.New(), time.Now)
}

func at(v float64) *float64 { return &v }

func inline(id, price string, class inventory.Class, s property.Set) app.InlineCandidate {
	return app.InlineCandidate{Price: money.PerKg{Currency: "EUR", Amount: decimal.RequireFromString(price)},
		Candidate: formulation.Candidate{ID: id, Title: id, Material: id, Class: class, Properties: s, Available: -1}}
}

// cyan is an invented sheetfed cyan.
func cyan() app.OptimiseRequest {
	return app.OptimiseRequest{Quantity: 200 * mass.Kilogram,
		Limits: []formulation.Limit{
			{ID: "pigment", Title: "pigment loading", Kind: formulation.PigmentLoading, ByStrength: true, Lower: at(0.18), Upper: at(0.22)},
			{ID: "voc", Title: "VOC", Kind: formulation.VOCContent, Upper: at(300)},
			{ID: "tack", Title: "tack", Kind: formulation.Blended, Property: property.TackUnits, Lower: at(8), Upper: at(12)},
		},
		Inline: []app.InlineCandidate{
			inline("blue a", "14.20", inventory.Pigment, property.Set{"density_kg_per_l": 1.6, "pigment_fraction/PB15:3": 1, "tint_strength_fraction": 0.97, "tack_units": 10}),
			inline("blue b", "15.05", inventory.Pigment, property.Set{"density_kg_per_l": 1.6, "pigment_fraction/PB15:3": 1, "tint_strength_fraction": 1.06, "tack_units": 10}),
			inline("varnish", "3.3333", inventory.Varnish, property.Set{"density_kg_per_l": 1.02, "binder_solids_fraction": 0.7, "volatile_fraction": 0.3, "tack_units": 13}),
			inline("oil", "1.987654", inventory.Oil, property.Set{"density_kg_per_l": 0.82, "volatile_fraction": 1, "tack_units": 1}),
		}}
}

func TestExactTotalAgreesWithTheSolver(t *testing.T) {
	book := alone()
	rapid.Check(t, func(t *rapid.T) {
		req := cyan()
		req.Quantity = mass.Mass(rapid.Int64Range(int64(10*mass.Kilogram), int64(5*mass.Tonne)).Draw(t, "quantity"))
		for i := range req.Inline {
			micro := rapid.Int64Range(1_000_000, 30_000_000).Draw(t, "price")
			req.Inline[i].Price.Amount = decimal.New(micro, -6)
		}
		o, err := book.Optimise(context.Background(), req)
		if err != nil || o.Answer.Outcome != formulation.Optimal {
			t.Fatalf("%v %+v", err, o)
		}
		exact := decimal.Zero
		var sum mass.Mass
		for _, c := range o.Answer.Components {
			exact = exact.Add(req.Inline[c.Candidate].Price.Amount.Mul(decimal.New(int64(c.Mass), -6)))
			sum += c.Mass
		}
		if !o.Total.Amount.Equal(exact.RoundBank(2)) {
			t.Fatalf("total %s, but the components add up to %s", o.Total, exact)
		}
		if sum != req.Quantity {
			t.Fatalf("the masses add up to %s, not to %s", sum, req.Quantity)
		}
		if off := math.Abs(exact.InexactFloat64() - o.Answer.TotalCost); off > 1e-6*o.Answer.TotalCost {
			t.Fatalf("exact %s, solver %g: off by %g", exact, o.Answer.TotalCost, off)
		}
	})
}

func TestImpossibleIsAnAnswer(t *testing.T) {
	req := cyan()
	req.Limits[1].Upper = at(120)
	o, err := alone().Optimise(context.Background(), req)
	if err != nil || o.Answer.Outcome != formulation.Infeasible {
		t.Fatalf("%v %+v", err, o)
	}
	t.Log(o.Summary)
	for _, part := range []string{"No formula: the ink asks for", "VOC of at most 120 g/L", "Raise VOC to ", "g/L"} {
		if !strings.Contains(o.Summary, part) {
			t.Errorf("%q does not say %q", o.Summary, part)
		}
	}
	// Applying the movement that the words name must give a formula.
	for _, m := range o.Answer.Clash.Single {
		var bound float64
		var unit string
		words := o.InWords(m)
		if _, err := fmt.Sscanf(words[strings.Index(words, " to ")+4:], "%g %s", &bound, &unit); err != nil {
			t.Fatalf("no figure in %q: %v", words, err)
		}
		again := cyan()
		again.Limits[1].Upper = at(120)
		l := &again.Limits[m.Limit]
		if m.Side == formulation.AtUpper {
			l.Upper = &bound
		} else {
			l.Lower = &bound
		}
		if o, err := alone().Optimise(context.Background(), again); err != nil || o.Answer.Outcome != formulation.Optimal {
			t.Errorf("%q does not help: %v", words, err)
		}
	}
	if len(o.Answer.Clash.Single) == 0 {
		t.Error("no single way out")
	}
}

func TestInlineFaultsNameTheField(t *testing.T) {
	for _, c := range []struct {
		name, field string
		change      func(*app.OptimiseRequest)
	}{
		{"no candidates", "candidates", func(r *app.OptimiseRequest) { r.Inline = nil }},
		{"bound order", "limits[0].lower", func(r *app.OptimiseRequest) { r.Limits[0].Lower = at(0.5) }},
		{"NaN", "limits[1].upper", func(r *app.OptimiseRequest) { r.Limits[1].Upper = at(math.NaN()) }},
		{"1e300", "limits[1].upper", func(r *app.OptimiseRequest) { r.Limits[1].Upper = at(1e300) }},
		{"same id", "candidates[1].id", func(r *app.OptimiseRequest) { r.Inline[1].ID = "blue a" }},
		{"property", "candidates[2].properties[gloss_units]", func(r *app.OptimiseRequest) { r.Inline[2].Properties["gloss_units"] = 3 }},
		{"NaN property", "candidates[2].properties[tack_units]", func(r *app.OptimiseRequest) { r.Inline[2].Properties["tack_units"] = math.NaN() }},
		{"currency", "candidates[3].price_per_kg", func(r *app.OptimiseRequest) { r.Inline[3].Price.Currency = "USD" }},
		{"basis", "cost_basis", func(r *app.OptimiseRequest) { r.Basis = 77 }},
		{"no quantity", "quantity_kg", func(r *app.OptimiseRequest) { r.Quantity = 0 }},
		{"bad property", "properties[0]", func(r *app.OptimiseRequest) { r.Properties = []property.Definition{{Name: "Gloss"}} }},
	} {
		req := cyan()
		c.change(&req)
		_, err := alone().Optimise(context.Background(), req)
		var bad app.Invalid
		if !errors.As(err, &bad) || bad[0].Field != c.field {
			t.Errorf("%s: got %v, want a fault at %s", c.name, err, c.field)
		}
	}
}

func TestPropertyOfTheRequest(t *testing.T) {
	req := cyan()
	req.Properties = []property.Definition{{Name: "gloss_units", Title: "Gloss", Unit: "gloss units",
		Index: property.Linear, Basis: property.BasisMass, Min: 0, Max: 100}}
	for i := range req.Inline {
		req.Inline[i].Properties["gloss_units"] = float64(20 * i)
	}
	req.Limits = append(req.Limits, formulation.Limit{ID: "gloss", Kind: formulation.Blended, Property: "gloss_units", Lower: at(28)})
	o, err := alone().Optimise(context.Background(), req)
	if err != nil || o.Answer.Outcome != formulation.Optimal || o.Answer.Limits[3].Value < 28-1e-3 {
		t.Fatalf("%v %+v", err, o.Answer)
	}
}

func TestOutOfTime(t *testing.T) {
	ctx, cancel := context.WithDeadline(context.Background(), time.Now().Add(-time.Second))
	defer cancel()
	if _, err := alone().Optimise(ctx, cyan()); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("got %v", err)
	}
}
