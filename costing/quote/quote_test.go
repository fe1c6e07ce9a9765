package quote_test

import (
	"encoding/json"
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/costing/money"
	"millbase/costing/quote"
	"millbase/costing/rollup"
	"millbase/inventory/mass"
)

const kg = mass.Kilogram

var day = time.Date(2026, 2, 2, 0, 0, 0, 0, time.UTC)

func dec(s string) decimal.Decimal { return decimal.RequireFromString(s) }
func eur(s string) money.Money     { return money.MustParse(s + " EUR") }

// request is a spot colour with invented figures: 5 EUR of material per kg and
// 60 EUR for each run of at most 100 kg, so 100 kg cost 560 and 101 kg cost 625.
func request() quote.Request {
	return quote.Request{
		Reference: "Q-1", Customer: "printer", Product: "spot green",
		Formula: "SECRET-FORMULA",
		Book: rollup.Book{Currency: "EUR", Price: rollup.Fixed(map[string]money.PerKg{"SECRET-PIGMENT": money.MustPerKg("5", "EUR")}),
			Formulas: map[string]rollup.Formula{"SECRET-FORMULA": {ID: "SECRET-FORMULA",
				Ingredients: []rollup.Ingredient{{Material: "SECRET-PIGMENT", Part: kg}},
				Route: []rollup.Step{{Name: "SECRET-STEP", Kind: rollup.LetDown, Capacity: 100 * kg, PerRun: 2 * time.Hour,
					Machine: eur("30")}}}}},
		Quantities: []mass.Mass{10 * kg, 100 * kg, 101 * kg, 250 * kg},
		Margins:    []quote.MarginBreak{{Percent: dec("30")}, {From: 250 * kg, Percent: dec("20")}},
		Rate:       money.Same("EUR"), PricePlaces: 2, Date: day, ValidUntil: day.AddDate(0, 1, 0),
	}
}

// By hand: price per kg = cost / 0.7 (0.8 from 250 kg), rounded up to cents.
func TestQuantityBreaks(t *testing.T) {
	r := request()
	r.Minimum = eur("200")
	q, err := quote.Make(r)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct {
		cost, price, total string
		minimum, dearer    bool
		percent            string
	}{
		{"110", "15.72", "200", true, false, "45"},      // 110/7 = 15.714...
		{"560", "8", "800", false, false, "30"},         // one run
		{"625", "8.85", "893.85", false, true, "30.07"}, // two runs
		{"1430", "7.15", "1787.5", false, false, "20"},  // three runs
	} {
		l := q.Lines[i]
		if !l.CostIn.Equal(eur(want.cost)) || !l.Price.Equal(money.MustPerKg(want.price, "EUR")) || !l.Total.Equal(eur(want.total)) ||
			l.Minimum != want.minimum || l.DearerPerKg != want.dearer || !l.Percent.Equal(dec(want.percent)) {
			t.Errorf("%s: cost %s, price %s, total %s, minimum %t, dearer %t, margin %s %%; want %+v",
				l.Quantity, l.CostIn, l.Price, l.Total, l.Minimum, l.DearerPerKg, l.Percent, want)
		}
	}
}

func TestForeignCurrencyAndCans(t *testing.T) {
	r := request()
	r.Quantities = []mass.Mass{100 * kg}
	r.Rate = money.Rate{From: "EUR", To: "JPY", Value: dec("163.5"), Date: day}
	r.Cans = []rollup.Can{{ID: "2.5 kg", Holds: 2500 * mass.Gram, Cost: eur("1")}}
	q, err := quote.Make(r)
	if err != nil {
		t.Fatal(err)
	}
	c := q.Customer()
	// 600 EUR are 98,100 JPY; / 0.7 / 100 = 1401.4286 per kg, rounded up.
	if l := c.Lines[0]; l.Price.String() != "1401.43 JPY/kg" || l.Total.String() != "140143 JPY" || !reflect.DeepEqual(l.Cans, []quote.Cans{{Size: "2.5 kg", Count: 40}}) {
		t.Errorf("line %+v", l)
	}
	if c.Currency != "JPY" || c.Exchange == nil || !c.Exchange.Value.Equal(dec("163.5")) || !c.Exchange.Date.Equal(day) {
		t.Errorf("exchange %+v in %s", c.Exchange, c.Currency)
	}
	if last := c.ValidUntil; !c.ValidOn(last.Add(23*time.Hour)) || c.ValidOn(last.AddDate(0, 0, 1)) {
		t.Error("a quote is valid until the end of its last day")
	}
}

// No text of the plant's side and no word for it may be found on the customer's
// side, and no type of it may lead back to the plant's.
func TestCustomerSideKeepsSecrets(t *testing.T) {
	q, err := quote.Make(request())
	if err != nil {
		t.Fatal(err)
	}
	inside, err := json.Marshal(q)
	if err != nil || !strings.Contains(string(inside), "SECRET-PIGMENT") {
		t.Fatalf("the plant's side must show the cost (%v)", err)
	}
	outside, err := json.Marshal(q.Customer())
	if err != nil || strings.Contains(string(outside), "SECRET") {
		t.Errorf("the customer would see %s (%v)", outside, err)
	}
	seen := map[reflect.Type]bool{}
	var visit func(reflect.Type)
	visit = func(x reflect.Type) {
		if seen[x] {
			return
		}
		seen[x] = true
		if strings.HasSuffix(x.PkgPath(), "costing/rollup") || x == reflect.TypeFor[quote.Quote]() || x == reflect.TypeFor[quote.Line]() {
			t.Errorf("the customer's side leads to %s", x)
		}
		switch x.Kind() {
		case reflect.Pointer, reflect.Slice:
			visit(x.Elem())
		case reflect.Struct:
			for i := range x.NumField() {
				f := x.Field(i)
				if !f.IsExported() {
					continue
				}
				for _, word := range []string{"cost", "margin", "formula", "material", "percent"} {
					if strings.Contains(strings.ToLower(f.Name), word) {
						t.Errorf("the customer's side has a field %s", f.Name)
					}
				}
				visit(f.Type)
			}
		}
	}
	visit(reflect.TypeFor[quote.Customer]())
}

func TestBadRequests(t *testing.T) {
	for name, change := range map[string]func(*quote.Request){
		"no quantity":       func(r *quote.Request) { r.Quantities = nil },
		"zero quantity":     func(r *quote.Request) { r.Quantities[0] = 0 },
		"falling":           func(r *quote.Request) { r.Quantities[1] = kg },
		"too many":          func(r *quote.Request) { r.Quantities = make([]mass.Mass, 51) },
		"no margin":         func(r *quote.Request) { r.Margins = nil },
		"margin from 1":     func(r *quote.Request) { r.Margins[0].From = 1 },
		"margin of 100":     func(r *quote.Request) { r.Margins[0].Percent = dec("100") },
		"negative margin":   func(r *quote.Request) { r.Margins[0].Percent = dec("-1") },
		"margins fall":      func(r *quote.Request) { r.Margins[1].From = 0 },
		"no rate":           func(r *quote.Request) { r.Rate = money.Rate{} },
		"wrong rate":        func(r *quote.Request) { r.Rate = money.Same("USD") },
		"rate without date": func(r *quote.Request) { r.Rate = money.Rate{From: "EUR", To: "USD", Value: dec("1.1")} },
		"foreign minimum":   func(r *quote.Request) { r.Minimum = money.MustParse("5 USD") },
		"negative minimum":  func(r *quote.Request) { r.Minimum = eur("-5") },
		"negative places":   func(r *quote.Request) { r.PricePlaces = -1 },
		"no date":           func(r *quote.Request) { r.Date = time.Time{} },
		"already over":      func(r *quote.Request) { r.ValidUntil = r.Date },
	} {
		r := request()
		change(&r)
		if _, err := quote.Make(r); !errors.Is(err, quote.ErrRequest) {
			t.Errorf("%s: %v, want ErrRequest", name, err)
		}
	}
	r := request()
	r.Formula = "other"
	if _, err := quote.Make(r); !errors.Is(err, rollup.ErrUnknown) {
		t.Errorf("unknown formula: %v", err)
	}
}

// The margin that was asked for is always reached, and not by more than the
// rounding: less one step per kg, and one minor unit, it would be missed.
func TestMarginIsReached(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := request()
		percent := decimal.New(rapid.Int64Range(0, 9500).Draw(t, "margin"), -2)
		r.Margins = []quote.MarginBreak{{Percent: percent}}
		r.Quantities = []mass.Mass{mass.Mass(rapid.Int64Range(1, int64(5000*kg)).Draw(t, "quantity"))}
		r.PricePlaces = rapid.Int32Range(0, 6).Draw(t, "places")
		r.Rate = money.Rate{From: "EUR", To: "USD", Date: day, Value: decimal.New(rapid.Int64Range(1, 1e7).Draw(t, "rate"), -6)}
		q, err := quote.Make(r)
		if err != nil {
			t.Fatal(err)
		}
		l := q.Lines[0]
		asked := l.Total.Percent(percent)
		if l.Margin.Amount.LessThan(asked.Amount) {
			t.Fatalf("margin %s of %s, asked %s %%", l.Margin, l.Total, percent)
		}
		slack := money.PerKg{Currency: "USD", Amount: decimal.New(1, -r.PricePlaces)}.Of(l.Quantity).Amount.Add(dec("0.01"))
		lower := l.Total.Amount.Sub(slack)
		if lower.Sub(l.CostIn.Amount).GreaterThanOrEqual(lower.Mul(percent).Shift(-2)) && slack.LessThan(l.Total.Amount) {
			t.Fatalf("a total of %s would have reached %s %% of margin too, quoted %s", lower, percent, l.Total)
		}
	})
}
