package money_test

import (
	"errors"
	"math/big"
	"testing"
	"time"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/costing/money"
	"millbase/inventory/mass"
)

func dec(s string) decimal.Decimal { return decimal.RequireFromString(s) }

func TestParse(t *testing.T) {
	for _, c := range []struct {
		in, want string
		err      error
	}{
		{"12.50 EUR", "12.5 EUR", nil},
		{"-0.001 USD", "-0.001 USD", nil},
		{"0 JPY", "0 JPY", nil},
		{"999999999999999.999999999999999999 EUR", "999999999999999.999999999999999999 EUR", nil},
		{"1000000000000000 EUR", "", money.ErrTooLarge},
		{"0.0000000000000000001 EUR", "", money.ErrTooFine},
		{"1e5 EUR", "", money.ErrSyntax},
		{"1e999999999 EUR", "", money.ErrSyntax},
		{"NaN EUR", "", money.ErrSyntax},
		{"+1 EUR", "", money.ErrSyntax},
		{"1,5 EUR", "", money.ErrSyntax},
		{".5 EUR", "", money.ErrSyntax},
		{"5. EUR", "", money.ErrSyntax},
		{"--5 EUR", "", money.ErrSyntax},
		{"5", "", money.ErrSyntax},
		{"", "", money.ErrSyntax},
		{"5 eur", "", money.ErrCurrency},
		{"5 EURO", "", money.ErrCurrency},
		{"5  EUR", "", money.ErrCurrency},
	} {
		m, err := money.Parse(c.in)
		if !errors.Is(err, c.err) {
			t.Errorf("Parse(%q): error %v, want %v", c.in, err, c.err)
		}
		if err == nil && m.String() != c.want {
			t.Errorf("Parse(%q) = %s, want %s", c.in, m, c.want)
		}
	}
	if _, err := money.New("EUR", decimal.New(1, 2_000_000_000)); !errors.Is(err, money.ErrTooLarge) {
		t.Errorf("New with 1e2000000000: %v", err)
	}
	if _, err := money.New("EUR", decimal.New(1, -2_000_000_000)); !errors.Is(err, money.ErrTooFine) {
		t.Errorf("New with 1e-2000000000: %v", err)
	}
}

func TestArithmeticStaysInOneCurrency(t *testing.T) {
	a, b := money.MustParse("1.10 EUR"), money.MustParse("2.20 EUR")
	if s, err := a.Add(b); err != nil || s.String() != "3.3 EUR" {
		t.Errorf("1.10 + 2.20 = %v, %v; want 3.3 EUR", s, err)
	}
	usd := money.MustParse("1 USD")
	if _, err := a.Add(usd); !errors.Is(err, money.ErrMismatch) {
		t.Errorf("EUR + USD: %v", err)
	}
	if _, err := a.Cmp(usd); !errors.Is(err, money.ErrMismatch) {
		t.Errorf("EUR <=> USD: %v", err)
	}
	if _, err := money.Sum("EUR", a, usd); !errors.Is(err, money.ErrMismatch) {
		t.Errorf("sum of EUR and USD: %v", err)
	}
	if m := b.Percent(dec("12.5")); m.String() != "0.275 EUR" {
		t.Errorf("12.5 %% of 2.20 = %s", m)
	}
}

func TestRounding(t *testing.T) {
	for _, c := range []struct {
		in                             string
		places                         int32
		halfEven, halfUp, roundUp, cut string
	}{
		{"2.5", 0, "2", "3", "3", "2"},
		{"3.5", 0, "4", "4", "4", "3"},
		{"-2.5", 0, "-2", "-3", "-3", "-2"},
		{"1.005", 2, "1", "1.01", "1.01", "1"},
		{"1.0051", 2, "1.01", "1.01", "1.01", "1"},
		{"-1.01", 0, "-1", "-1", "-2", "-1"},
		{"150", -2, "200", "200", "200", "100"},
		{"7", 2, "7", "7", "7", "7"},
	} {
		for mode, want := range map[money.Rounding]string{
			money.RoundHalfEven: c.halfEven, money.RoundHalfUp: c.halfUp,
			money.RoundUp: c.roundUp, money.RoundDown: c.cut,
		} {
			if got := money.RoundDecimal(dec(c.in), c.places, mode); !got.Equal(dec(want)) {
				t.Errorf("%s to %d places, mode %d: %s, want %s", c.in, c.places, mode, got, want)
			}
			if got := money.DivDecimal(dec(c.in), dec("1"), c.places, mode); !got.Equal(dec(want)) {
				t.Errorf("%s/1 to %d places, mode %d: %s, want %s", c.in, c.places, mode, got, want)
			}
		}
	}
	if f := money.MustParse("1234.5 JPY").Format(); f != "1234 JPY" {
		t.Errorf("yen have no minor unit: %s", f)
	}
	if f := money.MustParse("0.5 EUR").Format(); f != "0.50 EUR" {
		t.Errorf("euro have cents: %s", f)
	}
}

// The oracle is the standard library's exact rational number.
func TestDivDecimalAgainstRationals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := decimal.New(rapid.Int64Range(-1e9, 1e9).Draw(t, "a"), -4)
		b := decimal.New(rapid.Int64Range(1, 1e6).Draw(t, "b"), -2)
		if rapid.Bool().Draw(t, "negative") {
			b = b.Neg()
		}
		places := rapid.Int32Range(-2, 6).Draw(t, "places")
		exact := new(big.Rat).Quo(a.Rat(), b.Rat())
		step := decimal.New(1, -places).Rat()
		for _, mode := range []money.Rounding{money.RoundHalfEven, money.RoundHalfUp, money.RoundUp, money.RoundDown} {
			got := money.DivDecimal(a, b, places, mode)
			diff := new(big.Rat).Sub(got.Rat(), exact)
			diff.Abs(diff)
			bound := new(big.Rat).Set(step)
			if mode <= money.RoundHalfUp {
				bound.Quo(bound, big.NewRat(2, 1))
			}
			if diff.Cmp(bound) > 0 || (mode > money.RoundHalfUp && diff.Cmp(bound) == 0) {
				t.Fatalf("%s/%s to %d places, mode %d = %s: off by %s", a, b, places, mode, got, diff.FloatString(9))
			}
			away := got.Rat().Cmp(exact)*exact.Sign() > 0
			if (mode == money.RoundDown && away) || (mode == money.RoundUp && !away && diff.Sign() != 0) {
				t.Fatalf("%s/%s to %d places, mode %d = %s: to the wrong side", a, b, places, mode, got)
			}
			if steps := new(big.Rat).Quo(got.Rat(), step); !steps.IsInt() {
				t.Fatalf("%s is not a multiple of 10^-%d", got, places)
			}
		}
	})
}

func TestPerKg(t *testing.T) {
	p := money.MustPerKg("3.217", "EUR")
	m, err := mass.Parse("12.345678")
	if err != nil {
		t.Fatal(err)
	}
	// 3.217 x 12.345678 = 39.716046126, by hand.
	if got := p.Of(m); got.String() != "39.716046126 EUR" {
		t.Errorf("3.217 EUR/kg x 12.345678 kg = %s", got)
	}
	if q, err := money.MustParse("10 EUR").PerKg(3*mass.Kilogram, 4, money.RoundHalfEven); err != nil || q.String() != "3.3333 EUR/kg" {
		t.Errorf("10 EUR over 3 kg = %v, %v", q, err)
	}
	if _, err := money.MustParse("10 EUR").PerKg(0, 4, money.RoundHalfEven); !errors.Is(err, money.ErrNoMass) {
		t.Errorf("10 EUR over nothing: %v", err)
	}
	if err := money.MustPerKg("-1", "EUR").CheckPrice(); err == nil {
		t.Error("a negative price was accepted")
	}
}

func TestPriceIsAdditiveOverMass(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := money.PerKg{Currency: "EUR", Amount: decimal.New(rapid.Int64Range(0, 1e12).Draw(t, "price"), -6)}
		a := mass.Mass(rapid.Int64Range(0, int64(mass.Max)).Draw(t, "a"))
		b := mass.Mass(rapid.Int64Range(0, int64(mass.Max)).Draw(t, "b"))
		sum, err := p.Of(a).Add(p.Of(b))
		if err != nil || !sum.Equal(p.Of(a+b)) {
			t.Fatalf("price of %s + price of %s = %s (%v), of both %s", a, b, sum, err, p.Of(a+b))
		}
	})
}

func TestSplit(t *testing.T) {
	shares, err := money.MustParse("100 EUR").Split([]decimal.Decimal{dec("1"), dec("1"), dec("1")}, 2)
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"33.34 EUR", "33.33 EUR", "33.33 EUR"}
	for i := range want {
		if shares[i].String() != want[i] {
			t.Errorf("share %d of 100 EUR in three = %s, want %s", i, shares[i], want[i])
		}
	}
	m := money.MustParse("1 EUR")
	for _, w := range [][]decimal.Decimal{nil, {decimal.Zero}, {dec("-1"), dec("2")}} {
		if _, err := m.Split(w, 2); !errors.Is(err, money.ErrWeights) {
			t.Errorf("weights %v: %v", w, err)
		}
	}
	if _, err := money.MustParse("0.005 EUR").Split([]decimal.Decimal{dec("1")}, 2); !errors.Is(err, money.ErrTooFine) {
		t.Errorf("half a cent: %v", err)
	}
}

func TestSplitLosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		places := rapid.Int32Range(-2, 9).Draw(t, "places")
		m := money.Money{Currency: "EUR", Amount: decimal.New(rapid.Int64Range(-1e12, 1e12).Draw(t, "steps"), -places)}
		masses := rapid.SliceOfN(rapid.Map(rapid.Int64Range(0, int64(mass.Tonne)), func(i int64) mass.Mass { return mass.Mass(i) }), 1, 12).Draw(t, "masses")
		var total mass.Mass
		for _, x := range masses {
			total += x
		}
		shares, err := m.SplitByMass(masses, places)
		if total == 0 {
			if !errors.Is(err, money.ErrWeights) {
				t.Fatalf("no weight at all: %v", err)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		sum, err := money.Sum("EUR", shares...)
		if err != nil || !sum.Equal(m) {
			t.Fatalf("shares add up to %s, want %s (%v)", sum, m, err)
		}
		step := decimal.New(1, -places).Rat()
		for i, s := range shares {
			exact := new(big.Rat).Mul(m.Amount.Rat(), big.NewRat(int64(masses[i]), int64(total)))
			off := exact.Sub(exact, s.Amount.Rat())
			if off.Abs(off).Cmp(step) >= 0 {
				t.Fatalf("share %d is off by a step or more: %s", i, s)
			}
			if masses[i] == 0 && !s.IsZero() {
				t.Fatalf("no mass, but a share of %s", s)
			}
		}
	})
}

func TestRate(t *testing.T) {
	day := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)
	r := money.Rate{From: "USD", To: "EUR", Value: dec("0.9215"), Date: day}
	if m, err := r.Convert(money.MustParse("200 USD")); err != nil || m.String() != "184.3 EUR" {
		t.Errorf("200 USD at 0.9215 = %v, %v", m, err)
	}
	if p, err := r.ConvertPerKg(money.MustPerKg("4", "USD")); err != nil || p.String() != "3.686 EUR/kg" {
		t.Errorf("4 USD/kg at 0.9215 = %v, %v", p, err)
	}
	if _, err := r.Convert(money.MustParse("1 EUR")); !errors.Is(err, money.ErrMismatch) {
		t.Errorf("EUR through a rate from USD: %v", err)
	}
	if inv, err := r.Inverse(6, money.RoundHalfEven); err != nil || inv.Value.String() != "1.085187" || inv.From != "EUR" || inv.To != "USD" {
		t.Errorf("inverse of 0.9215 = %+v, %v", inv, err)
	}
	for _, bad := range []money.Rate{
		{From: "USD", To: "EUR"},
		{From: "USD", To: "EUR", Value: dec("-1")},
		{From: "EUR", To: "EUR", Value: dec("2")},
	} {
		if _, err := bad.Convert(money.MustParse("1 EUR")); !errors.Is(err, money.ErrRate) {
			t.Errorf("rate %+v: %v", bad, err)
		}
	}
	if m, err := money.Same("EUR").Convert(money.MustParse("7 EUR")); err != nil || m.String() != "7 EUR" {
		t.Errorf("EUR to itself = %v, %v", m, err)
	}
}

func TestUnitsNanos(t *testing.T) {
	// The pair for -1.75 stands in the published definition of google.type.Money.
	u, n, err := money.MustParse("-1.75 USD").ToUnitsNanos()
	if err != nil || u != -1 || n != -750000000 {
		t.Errorf("-1.75 = %d, %d, %v", u, n, err)
	}
	if _, _, err := money.MustParse("0.0000000001 USD").ToUnitsNanos(); !errors.Is(err, money.ErrTooFine) {
		t.Errorf("a tenth of a nano: %v", err)
	}
	huge := money.MustParse("999999999999999 EUR").Mul(dec("1000000"))
	if _, _, err := huge.ToUnitsNanos(); !errors.Is(err, money.ErrTooLarge) {
		t.Errorf("beyond int64: %v", err)
	}
	for _, c := range []struct {
		currency string
		units    int64
		nanos    int32
		err      error
	}{
		{"EUR", 1, -1, money.ErrNanos},
		{"EUR", -1, 1, money.ErrNanos},
		{"EUR", 0, 1_000_000_000, money.ErrNanos},
		{"EUR", 1 << 62, 0, money.ErrTooLarge},
		{"EUR", -1 << 63, 0, money.ErrTooLarge},
		{"", 1, 0, money.ErrCurrency},
	} {
		if _, err := money.FromUnitsNanos(c.currency, c.units, c.nanos); !errors.Is(err, c.err) {
			t.Errorf("FromUnitsNanos(%q, %d, %d): %v, want %v", c.currency, c.units, c.nanos, err, c.err)
		}
	}
}

func TestUnitsNanosRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		units := rapid.Int64Range(-999_999_999_999_999, 999_999_999_999_999).Draw(t, "units")
		nanos := rapid.Int32Range(0, 999_999_999).Draw(t, "nanos")
		if units < 0 || (units == 0 && rapid.Bool().Draw(t, "negative")) {
			nanos = -nanos
		}
		m, err := money.FromUnitsNanos("EUR", units, nanos)
		if err != nil {
			t.Fatal(err)
		}
		u, n, err := m.ToUnitsNanos()
		if err != nil || u != units || n != nanos {
			t.Fatalf("%d, %d came back as %d, %d (%v)", units, nanos, u, n, err)
		}
		if back, err := money.Parse(m.String()); err != nil || !back.Equal(m) {
			t.Fatalf("%s reads back as %v, %v", m, back, err)
		}
	})
}

// Whatever text comes in, Parse answers quickly; what it accepts reads back.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"12.50 EUR", "-0 USD", "1e9 EUR", ". EUR", "00.10 JPY"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		m, err := money.Parse(s)
		if err != nil {
			return
		}
		if back, err := money.Parse(m.String()); err != nil || !back.Equal(m) {
			t.Fatalf("%q read as %s, which reads back as %v, %v", s, m, back, err)
		}
	})
}
