package app_test

import (
	"context"
	"encoding/json"
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/valuation"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/server/app"
)

// quoteFor is a quote for 100 kg of cyan at standard cost.
func (x *mill) quoteFor(change ...func(*app.QuoteRequest)) app.QuoteRequest {
	r := app.QuoteRequest{ID: "q-1", Customer: "A printer", Formula: "cyan", Title: "Process cyan", Quantities: []mass.Mass{100 * kilo},
		Basis: valuation.Standard, ValidUntil: x.day(30)}
	for _, f := range change {
		f(&r)
	}
	return r
}

// By hand: the cost of 100 kg is 1007.875 (see TestCostThroughLevelsAtStandard).
//
//	margin 25 %: 1007.875 / 0.75 / 100 = 13.4383..., up to 13.44, 1344.00
//	margin 0: 10.07875, up to 10.08, 1008.00
//	in dollars with the laboratory: (1007.875 + 85) / 0.9 / 0.75 / 100 = 16.1907..., up to 16.20
//	a minimum charge of 1500 stands in for 1344
func TestQuotePrices(t *testing.T) {
	x := newWorks(t)
	zero := decimal.Zero
	for name, c := range map[string]struct {
		change       func(*app.QuoteRequest)
		price, total string
	}{
		"plant margin": {func(*app.QuoteRequest) {}, "13.44 EUR/kg", "1344 EUR"},
		"no margin":    {func(r *app.QuoteRequest) { r.Margin = &zero }, "10.08 EUR/kg", "1008 EUR"},
		"dollars and laboratory": {func(r *app.QuoteRequest) { r.Currency, r.WithLaboratory = "USD", true },
			"16.2 USD/kg", "1620 USD"},
		"minimum": {func(r *app.QuoteRequest) { r.Minimum = money.MustParse("1500 EUR") }, "13.44 EUR/kg", "1500 EUR"},
	} {
		r := x.quoteFor(c.change)
		r.ID = "q-" + strings.ReplaceAll(name, " ", "-")
		q, err := x.book.CreateQuote(t.Context(), r, app.Request{})
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if b := q.Breaks[0]; b.Price.String() != c.price || b.Total.String() != c.total {
			t.Errorf("%s: %s, %s; want %s, %s", name, b.Price, b.Total, c.price, c.total)
		}
	}
}

// A quote is shown again as it was given, to the cent and the sentence, whatever
// happens to prices, rates and formulas.
func TestQuoteIsKeptWhole(t *testing.T) {
	x := newWorks(t)
	r := x.quoteFor(func(r *app.QuoteRequest) {
		r.Quantities = []mass.Mass{500 * kilo, 20 * kilo}
		r.Currency, r.Pack, r.WithLaboratory, r.Minimum = "USD", "pail-20", true, money.MustParse("100 USD")
	})
	given, err := x.book.CreateQuote(t.Context(), r, app.Request{})
	if err != nil {
		t.Fatal(err)
	}
	if given.Formula != "cyan@1" || len(given.Breaks) != 2 || given.Breaks[0].Quantity != 20*kilo || given.Breaks[1].Batches != 2 {
		t.Errorf("given %+v: want cyan@1, 20 kg before 500, and 625 kg of charge in two batches of the mixer", given)
	}
	for _, b := range given.Breaks {
		checkSum(t, app.FormulaCost{Lines: b.Lines, Total: b.Cost})
	}
	p := worksPlant()
	p.OverheadPercent, p.Rates[0].Rate, p.MarginPercent = dec("90"), dec("0.1"), dec("60")
	x.figures(p)
	x.update(func(ctx context.Context, tx app.Tx) error {
		rec, err := tx.Materials().Get(ctx, "blue")
		if err != nil {
			return err
		}
		rec.Value.StandardCostPerKg = dec("99")
		_, err = tx.Materials().Update(ctx, rec.Value, 0)
		return err
	})
	again, err := x.book.GetQuote(t.Context(), "q-1")
	if err != nil {
		t.Fatal(err)
	}
	a, _ := json.Marshal(given)
	b, _ := json.Marshal(again)
	if string(a) != string(b) {
		t.Errorf("shown again it differs:\n%s\n%s", a, b)
	}
}

func TestQuoteReplaysAndLists(t *testing.T) {
	x := newWorks(t)
	req := app.Request{ID: uuid.NewString(), Method: "CreateQuote", Digest: []byte("a")}
	first, err := x.book.CreateQuote(t.Context(), x.quoteFor(), req)
	if err != nil {
		t.Fatal(err)
	}
	second, err := x.book.CreateQuote(t.Context(), x.quoteFor(), req)
	if err != nil || second.ID != first.ID || !second.Created.Equal(first.Created) {
		t.Errorf("replay answers %+v, %v", second, err)
	}
	req.Digest = []byte("b")
	if _, err := x.book.CreateQuote(t.Context(), x.quoteFor(), req); !errors.Is(err, app.ErrIDReused) {
		t.Errorf("same id, other content: %v", err)
	}
	if _, err := x.book.CreateQuote(t.Context(), x.quoteFor(), app.Request{}); !errors.Is(err, app.ErrExists) {
		t.Errorf("same quote id: %v", err)
	}
	if _, err := x.book.CreateQuote(t.Context(), x.quoteFor(func(r *app.QuoteRequest) { r.ID, r.ValidUntil = "q-today", x.today }), app.Request{}); err != nil {
		t.Errorf("a quote may be for today only: %v", err)
	}
	// A month later both have lapsed.
	late := app.New(x.store, nil, func() time.Time { return x.day(40) })
	for state, want := range map[string]int{"draft": 0, "lapsed": 2} {
		list, err := late.ListQuotes(t.Context(), app.Query{Where: []app.Condition{{Field: "state", Op: "=", Value: state}}})
		if err != nil || len(list) != want {
			t.Errorf("%d %s quotes (%v), want %d", len(list), state, err, want)
		}
	}
	if list, err := x.book.ListQuotes(t.Context(), app.Query{Where: []app.Condition{{Field: "state", Op: "=", Value: "draft"}}}); err != nil || len(list) != 2 {
		t.Errorf("%d draft quotes today (%v), want 2", len(list), err)
	}
}

// The customer's copy is walked field by field: no word of it comes from the
// formula, and no type of it leads to a cost.
func TestCustomerCopyKeepsSecrets(t *testing.T) {
	x := newWorks(t)
	if _, err := x.book.CreateQuote(t.Context(), x.quoteFor(func(r *app.QuoteRequest) { r.Title = "" }), app.Request{}); err != nil {
		t.Fatal(err)
	}
	if _, err := x.book.SendQuote(t.Context(), "q-1", 0); err != nil {
		t.Fatal(err)
	}
	c, err := x.book.GetCustomerQuote(t.Context(), "q-1")
	if err != nil {
		t.Fatal(err)
	}
	if c.Title != "Sheetfed cyan" || len(c.Prices) != 1 || c.Prices[0].Total.String() != "1344 EUR" {
		t.Errorf("customer's copy %+v", c)
	}
	raw, _ := json.Marshal(c)
	for _, secret := range []string{"secret", "blue", "varnish", "drier", "1007", "10.07", "margin", "mixer", "cyan@1"} {
		if strings.Contains(strings.ToLower(string(raw)), secret) {
			t.Errorf("the customer would read %q in %s", secret, raw)
		}
	}
	var visit func(reflect.Type)
	visit = func(x reflect.Type) {
		if x == reflect.TypeFor[app.QuoteBreak]() || x == reflect.TypeFor[app.CostLine]() || x == reflect.TypeFor[app.Quote]() {
			t.Errorf("the customer's copy leads to %s", x)
		}
		switch x.Kind() {
		case reflect.Slice, reflect.Pointer:
			visit(x.Elem())
		case reflect.Struct:
			for i := range x.NumField() {
				if x.Field(i).IsExported() {
					visit(x.Field(i).Type)
				}
			}
		}
	}
	visit(reflect.TypeFor[app.CustomerQuote]())
}

func TestQuoteRefusals(t *testing.T) {
	x := newWorks(t)
	if _, err := x.book.CreateFormula(t.Context(), formula.Formula{ID: "draft", Title: "Draft", Material: "cyan",
		Ingredients: []formula.Ingredient{{Material: "varnish", PartsPerMillion: 1_000_000}}}, app.Request{}); err != nil {
		t.Fatal(err)
	}
	hundred, below := decimal.NewFromInt(100), decimal.NewFromInt(-1)
	for name, c := range map[string]struct {
		change func(*app.QuoteRequest)
		says   string
	}{
		"no customer":     {func(r *app.QuoteRequest) { r.Customer = " " }, "who"},
		"bad id":          {func(r *app.QuoteRequest) { r.ID = "Q 1" }, "lower-case"},
		"no quantities":   {func(r *app.QuoteRequest) { r.Quantities = nil }, "at least one"},
		"twice":           {func(r *app.QuoteRequest) { r.Quantities = []mass.Mass{kilo, kilo} }, "twice"},
		"negative":        {func(r *app.QuoteRequest) { r.Quantities = []mass.Mass{-kilo} }, "above zero"},
		"huge":            {func(r *app.QuoteRequest) { r.Quantities = []mass.Mass{mass.Max} }, "quote.quantities_kg: the quantity is too large"},
		"margin 100":      {func(r *app.QuoteRequest) { r.Margin = &hundred }, "below 100"},
		"margin below 0":  {func(r *app.QuoteRequest) { r.Margin = &below }, "from 0"},
		"currency":        {func(r *app.QuoteRequest) { r.Currency = "SEK" }, "no exchange rate for SEK"},
		"past":            {func(r *app.QuoteRequest) { r.ValidUntil = x.day(-1) }, "past"},
		"pack":            {func(r *app.QuoteRequest) { r.Pack = "drum" }, "pail-20"},
		"minimum":         {func(r *app.QuoteRequest) { r.Minimum = money.MustParse("5 USD") }, "USD"},
		"unknown formula": {func(r *app.QuoteRequest) { r.Formula = "nothing" }, "not in the book"},
		"only a draft":    {func(r *app.QuoteRequest) { r.Formula = "draft" }, "no released revision"},
	} {
		_, err := x.book.CreateQuote(t.Context(), x.quoteFor(c.change), app.Request{})
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want one that says %q", name, err, c.says)
		}
	}
	if _, err := x.book.GetQuote(t.Context(), "q-1"); !errors.Is(err, app.ErrNotFound) {
		t.Errorf("refused quotes leave nothing behind: %v", err)
	}
	q, err := x.book.CreateQuote(t.Context(), x.quoteFor(func(r *app.QuoteRequest) { r.Formula = "draft@1" }), app.Request{})
	if err != nil {
		t.Fatal(err)
	}
	says(t, q.Assumptions, "not released")
}
