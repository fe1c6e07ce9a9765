package app

import (
	"encoding/json"
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/costing/valuation"
	"millbase/inventory/mass"
)

var writeInputs = flag.Bool("write-inputs", false, "write testdata/quote_inputs_1.json anew")

func drawQuote(t *rapid.T, s *supply) QuoteRequest {
	margin := decimal.NewFromInt(rapid.Int64Range(0, 60).Draw(t, "margin"))
	return QuoteRequest{ID: "q-1", Customer: "A printer", Formula: "ink@1", Margin: &margin, ValidUntil: propertyDay.AddDate(0, 0, 9),
		Basis:      rapid.SampledFrom([]valuation.Basis{valuation.Lot, valuation.Average, valuation.Standard}).Draw(t, "basis"),
		Quantities: []mass.Mass{drawMass(t, "quantity", 900*mass.Kilogram)}, WithLaboratory: rapid.Bool().Draw(t, "laboratory")}
}

// A quote is rebuilt from its inputs to the last digit, and a price among them
// that is not the one that it was worked out from is noticed and named.
func TestRebuiltFromItsInputsAlone(t *testing.T) {
	noticed := 0
	rapid.Check(t, func(t *rapid.T) {
		s := drawSupply(t)
		r, f := drawQuote(t, s), s.formulas.byMaterial["ink"]
		given, err := s.quote(r, f)
		if err != nil {
			t.Fatal(err)
		}
		raw, err := s.inputsOf(r, f)
		if err != nil {
			t.Fatal(err)
		}
		again, _, err := rebuild(raw)
		if err != nil {
			t.Fatal(err)
		}
		if d := quoteDifferences(given, again); len(d) > 0 {
			t.Fatalf("rebuilt %+v", d)
		}
		spoilt := strings.ReplaceAll(string(raw), `"standard_cost_per_kg":"5"`, `"standard_cost_per_kg":"6"`)
		if again, _, err = rebuild(json.RawMessage(spoilt)); err != nil {
			t.Fatal(err)
		}
		d := quoteDifferences(given, again)
		if r.Basis == valuation.Standard && len(d) == 0 {
			t.Fatal("another standard cost makes no difference")
		}
		noticed += len(d)
	})
	if noticed == 0 {
		t.Error("no spoilt input was ever noticed")
	}
}

// What was kept by this version's format is rebuilt by every later one. The file
// is written once; when this test fails, the format has changed: see inputsFormat.
func TestInputsKeptBefore(t *testing.T) {
	const path = "testdata/quote_inputs_1.json"
	if *writeInputs {
		s := rapid.Custom(drawSupply).Example(7)
		r := rapid.Custom(func(t *rapid.T) QuoteRequest { return drawQuote(t, s) }).Example(7)
		f := s.formulas.byMaterial["ink"]
		raw, err := s.inputsOf(r, f)
		if err != nil {
			t.Fatal(err)
		}
		q, err := s.quote(r, f)
		if err != nil {
			t.Fatal(err)
		}
		text, err := json.MarshalIndent(map[string]any{"inputs": raw, "body": bodyOf(q)}, "", " ")
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, append(text, '\n'), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var kept struct {
		Inputs, Body json.RawMessage
	}
	if err := json.Unmarshal(text, &kept); err != nil {
		t.Fatal(err)
	}
	given, err := quoteOf(Record[StoredQuote]{Value: StoredQuote{ID: "q-1", Revision: 1, Body: kept.Body, Made: propertyDay, ValidUntil: propertyDay}}, propertyDay)
	if err != nil {
		t.Fatal(err)
	}
	again, format, err := rebuild(kept.Inputs)
	if err != nil || format != 1 {
		t.Fatalf("format %d: %v", format, err)
	}
	if d := quoteDifferences(given, again); len(d) > 0 || len(given.Breaks) == 0 {
		t.Errorf("a quote kept before comes out differently: %+v", d)
	}
	if _, _, err := rebuild(json.RawMessage(strings.Replace(string(kept.Inputs), `"today"`, `"day"`, 1))); err == nil {
		t.Error("a field that is not known was left out")
	}
}
