package rpc

import (
	"math"
	"strings"
	"testing"
	"time"

	moneypb "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	"millbase/inventory/mass"
	pb "millbase/proto/millbase/v1"
)

// refused runs a conversion and returns the one problem that it found; empty
// for none.
func refused(convert func(f *fields)) string {
	f := &fields{}
	convert(f)
	if len(f.bad) == 0 {
		return ""
	}
	return f.bad[0].Field + ": " + f.bad[0].Problem
}

func TestMassesThatAreRefused(t *testing.T) {
	for name, c := range map[string]struct {
		kg   float64
		want string // part of the sentence; empty: accepted
	}{
		"a plain number":        {12.5, ""},
		"zero":                  {0, ""},
		"below zero":            {-3, ""},
		"a milligram":           {0.000001, ""},
		"the seventh decimal":   {0.0000001, "finer than a milligram"},
		"a third":               {1.0 / 3, "finer than a milligram"},
		"not a number":          {math.NaN(), "not a number"},
		"infinity":              {math.Inf(1), "not a number"},
		"minus infinity":        {math.Inf(-1), "not a number"},
		"1e300":                 {1e300, "more than 1,000,000 t"},
		"-1e300":                {-1e300, "more than 1,000,000 t"},
		"the largest":           {1e9, ""},
		"above the largest":     {1e9 + 1, "more than 1,000,000 t"},
		"the smallest positive": {math.SmallestNonzeroFloat64, "finer than a milligram"},
	} {
		got := refused(func(f *fields) { f.mass("quantity_kg", c.kg) })
		if (c.want == "") != (got == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q in it", name, got, c.want)
		}
		if got != "" && !strings.HasPrefix(got, "quantity_kg: ") {
			t.Errorf("%s: %q does not name the field", name, got)
		}
	}
	for _, kg := range []float64{0, -1} {
		if got := refused(func(f *fields) { f.positive("q", kg) }); !strings.Contains(got, "above 0") {
			t.Errorf("%g kg as a quantity above zero: %q", kg, got)
		}
	}
	if got := (&fields{}); got.positive("q", 1e300) != 0 || len(got.bad) != 1 {
		t.Errorf("one wrong quantity gave %d problems: %v", len(got.bad), got.bad)
	}
}

func TestMassesReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := mass.Mass(rapid.Int64Range(-int64(mass.Max), int64(mass.Max)).Draw(t, "milligrams"))
		f := &fields{}
		if back := f.mass("q", kg(m)); back != m || len(f.bad) > 0 {
			t.Fatalf("%s read back as %s (%v)", m, back, f.bad)
		}
	})
}

func TestMoneyThatIsRefused(t *testing.T) {
	for name, c := range map[string]struct {
		in   *moneypb.Money
		want string
	}{
		"absent":                {nil, ""},
		"plain":                 {&moneypb.Money{CurrencyCode: "EUR", Units: 3, Nanos: 250_000_000}, ""},
		"no currency":           {&moneypb.Money{Units: 3}, "ISO 4217"},
		"small letters":         {&moneypb.Money{CurrencyCode: "eur", Units: 3}, "ISO 4217"},
		"two signs":             {&moneypb.Money{CurrencyCode: "EUR", Units: 3, Nanos: -1}, "sign of units"},
		"nanos too many":        {&moneypb.Money{CurrencyCode: "EUR", Nanos: 1_000_000_000}, "sign of units"},
		"too large":             {&moneypb.Money{CurrencyCode: "EUR", Units: math.MaxInt64}, "too large"},
		"the least there is":    {&moneypb.Money{CurrencyCode: "EUR", Units: math.MinInt64}, "too large"},
		"a price below zero":    {&moneypb.Money{CurrencyCode: "EUR", Units: -1}, "below zero"},
		"in another currency":   {&moneypb.Money{CurrencyCode: "USD", Units: 1}, "give all amounts here in EUR"},
		"a billionth of a cent": {&moneypb.Money{CurrencyCode: "EUR", Nanos: 1}, ""},
	} {
		got := refused(func(f *fields) { f.price("price_per_kg", c.in, "EUR") })
		if (c.want == "") != (got == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q in it", name, got, c.want)
		}
	}
}

func TestMoneyReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := &moneypb.Money{CurrencyCode: "EUR", Units: rapid.Int64Range(0, 1e14).Draw(t, "units"), Nanos: rapid.Int32Range(0, 999_999_999).Draw(t, "nanos")}
		if rapid.Bool().Draw(t, "negative") {
			in.Units, in.Nanos = -in.Units, -in.Nanos
		}
		f := &fields{}
		out := moneyOut(f.money("m", in))
		if len(f.bad) > 0 || out.Units != in.Units || out.Nanos != in.Nanos {
			t.Fatalf("%v read back as %v (%v)", in, out, f.bad)
		}
	})
}

func TestDecimalsAndNumbers(t *testing.T) {
	for in, ok := range map[string]bool{
		"": true, "4.5": true, "0": true, "-1.25": true, "1e5": false, "1e2000000000": false, "NaN": false, "4,5": false, ".5": false,
		"0.0000000000000000001": false, "1000000000000000": false, " 1": false,
	} {
		got := refused(func(f *fields) { f.decimal("duty_percent", in) })
		if ok != (got == "") {
			t.Errorf("%q: %q", in, got)
		}
	}
	for v, ok := range map[float64]bool{1: true, -5: true, 1e12: true, 1e13: false, math.Inf(-1): false, 1e300: false} {
		if got := refused(func(f *fields) { f.number("n", v) }); ok != (got == "") {
			t.Errorf("%g: %q", v, got)
		}
	}
	if got := refused(func(f *fields) { f.set("properties", map[string]float64{"tack_units": math.NaN()}) }); !strings.HasPrefix(got, `properties["tack_units"]: `) {
		t.Errorf("NaN as a property: %q", got)
	}
}

func TestDates(t *testing.T) {
	for in, ok := range map[string]bool{
		"": true, "2026-03-31": true, "2024-02-29": true, "2026-02-29": false, "2026-02-30": false, "2026-13-01": false, "2026-00-10": false,
		"31.03.2026": false, "2026-3-1": false, "0000-01-01": false, "1899-12-31": false, "2026-03-31T00:00:00Z": false,
	} {
		got := refused(func(f *fields) { f.date("due_date", in) })
		if ok != (got == "") {
			t.Errorf("%q: %q", in, got)
		}
	}
	f := &fields{}
	day := f.date("d", "2026-03-31")
	if !day.Equal(time.Date(2026, 3, 31, 0, 0, 0, 0, time.UTC)) || dateOut(day) != "2026-03-31" || dateOut(time.Time{}) != "" {
		t.Errorf("the date reads as %s", day)
	}
	if got := refused(func(f *fields) { f.needDate("d", "") }); !strings.Contains(got, "must be given") {
		t.Errorf("a missing date: %q", got)
	}
	for _, bad := range []*timestamppb.Timestamp{{Seconds: math.MaxInt64}, {Nanos: -1}, {Seconds: -62135596800}} {
		if got := refused(func(f *fields) { f.moment("as_of", bad) }); got == "" {
			t.Errorf("%v was accepted as a moment", bad)
		}
	}
}

func TestNames(t *testing.T) {
	for in, ok := range map[string]bool{"lots/l-1": true, "lots/": false, "l-1": false, "": false, "lots/a/b": false, "materials/l-1": false} {
		if got := refused(func(f *fields) { f.id("lot", in, lots) }); ok != (got == "") {
			t.Errorf("%q: %q", in, got)
		}
	}
	f := &fields{}
	if supplier, id := f.child("name", "suppliers/a/offers/b", suppliers, "offers"); supplier != "a" || id != "b" || len(f.bad) > 0 {
		t.Errorf("an offer reads as %q %q (%v)", supplier, id, f.bad)
	}
	for _, bad := range []string{"suppliers/a", "suppliers/a/lots/b", "suppliers//offers/b", "suppliers/a/offers/"} {
		if got := refused(func(f *fields) { f.child("name", bad, suppliers, "offers") }); got == "" {
			t.Errorf("%q was accepted", bad)
		}
	}
	if nameOf(lots, "") != "" || nameOf(lots, "l-1") != "lots/l-1" {
		t.Error("names are written wrongly")
	}
}

func TestEnums(t *testing.T) {
	for number := range pb.MaterialClass_name {
		class := pb.MaterialClass(number)
		if back := enum[pb.MaterialClass](word(class)); back != class {
			t.Errorf("%s is %q, which reads back as %s", class, word(class), back)
		}
	}
	if w := word(pb.MaterialClass_MATERIAL_CLASS_BASE_INK); w != "base_ink" {
		t.Errorf("base ink is %q", w)
	}
	if word(pb.MaterialClass(99)) != "" || enum[pb.MaterialClass]("nonsense") != 0 {
		t.Error("an unknown value has a word")
	}
}

func TestEtags(t *testing.T) {
	for in, want := range map[string]int64{
		"": 0, "*": 0, "v3": 3, `"v3"`: 3, `W/"v3"`: 3, `"v3.1abc"`: 3, "v9223372036854775807": math.MaxInt64,
		"3": -1, "v0": -1, "v-1": -1, "vx": -1, "v99999999999999999999": -1, `"`: -1,
	} {
		f := &fields{}
		got := f.etag("etag", in)
		if len(f.bad) > 0 {
			got = -1
		}
		if got != want {
			t.Errorf("%q is version %d, want %d", in, got, want)
		}
	}
	f := &fields{}
	if back := f.etag("etag", etagOut(42)); back != 42 {
		t.Errorf("42 reads back as %d", back)
	}
}
