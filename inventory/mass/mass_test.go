package mass_test

import (
	"errors"
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"millbase/inventory/mass"
)

func TestFromKilograms(t *testing.T) {
	for _, c := range []struct {
		kg   float64
		want mass.Mass
		err  error
	}{
		{0, 0, nil},
		{math.Copysign(0, -1), 0, nil},
		{0.1, 100_000, nil}, // not exactly 0.1 in binary, taken at its word
		{0.3, 300_000, nil},
		{12.5, 12_500_000, nil},
		{-0.000001, -1, nil},
		{1e-6, 1, nil},
		{1e9, mass.Max, nil},
		{-1e9, -mass.Max, nil},
		{0.0000001, 0, mass.ErrTooFine},
		{math.Nextafter(0.3, 1), 0, mass.ErrTooFine}, // 0.30000000000000004
		{1e-300, 0, mass.ErrTooFine},
		{1e9 + 1, 0, mass.ErrTooLarge},
		{1e300, 0, mass.ErrTooLarge},
		{-1e300, 0, mass.ErrTooLarge},
		{math.NaN(), 0, mass.ErrNotFinite},
		{math.Inf(1), 0, mass.ErrNotFinite},
		{math.Inf(-1), 0, mass.ErrNotFinite},
	} {
		got, err := mass.FromKilograms(c.kg)
		if got != c.want || !errors.Is(err, c.err) {
			t.Errorf("FromKilograms(%g) = %d, %v; want %d, %v", c.kg, got, err, c.want, c.err)
		}
	}
}

func TestParse(t *testing.T) {
	for _, c := range []struct {
		in   string
		want mass.Mass
		err  error
	}{
		{"12.5", 12_500_000, nil},
		{"0012.500000000", 12_500_000, nil},
		{"5.", 5_000_000, nil},
		{"-0", 0, nil},
		{"1000000000", mass.Max, nil},
		{"1000000000.000001", 0, mass.ErrTooLarge},
		{"99999999999999999999999999", 0, mass.ErrTooLarge},
		{"0.0000001", 0, mass.ErrTooFine},
		{"", 0, mass.ErrSyntax},
		{"-", 0, mass.ErrSyntax},
		{".5", 0, mass.ErrSyntax},
		{"1e3", 0, mass.ErrSyntax},
		{"1,5", 0, mass.ErrSyntax},
		{"+1", 0, mass.ErrSyntax},
		{"--1", 0, mass.ErrSyntax},
		{"1.2.3", 0, mass.ErrSyntax},
		{" 1", 0, mass.ErrSyntax},
		{"1 kg", 0, mass.ErrSyntax},
		{"NaN", 0, mass.ErrSyntax},
		{"٣", 0, mass.ErrSyntax}, // a digit, but not one of 0 to 9
	} {
		got, err := mass.Parse(c.in)
		if got != c.want || !errors.Is(err, c.err) {
			t.Errorf("Parse(%q) = %d, %v; want %d, %v", c.in, got, err, c.want, c.err)
		}
	}
}

func TestString(t *testing.T) {
	for m, want := range map[mass.Mass]string{
		0: "0 kg", 1: "0.000001 kg", -1: "-0.000001 kg", 12_500_000: "12.5 kg", 10 * mass.Kilogram: "10 kg",
		mass.Max: "1000000000 kg", math.MinInt64: "-9223372036854.775808 kg",
	} {
		if got := m.String(); got != want {
			t.Errorf("%d mg = %q, want %q", int64(m), got, want)
		}
	}
}

// Text and float64 read back unchanged, up to the largest mass of the edge.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := mass.Mass(rapid.Int64Range(-int64(mass.Max), int64(mass.Max)).Draw(t, "mass"))
		if got, err := mass.Parse(m.Decimal()); err != nil || got != m {
			t.Fatalf("%s reads back as %s, %v", m, got, err)
		}
		if got, err := mass.FromKilograms(m.Kilograms()); err != nil || got != m {
			t.Fatalf("%s as %g kg reads back as %s, %v", m, m.Kilograms(), got, err)
		}
	})
}

func TestRoundTo(t *testing.T) {
	for _, c := range []struct {
		m                               mass.Mass
		halfEven, down, up, floor, ceil mass.Mass // in steps of 10
	}{
		{20, 20, 20, 20, 20, 20},
		{24, 20, 20, 30, 20, 30},
		{25, 20, 20, 30, 20, 30},
		{35, 40, 30, 40, 30, 40},
		{26, 30, 20, 30, 20, 30},
		{-24, -20, -20, -30, -30, -20},
		{-25, -20, -20, -30, -30, -20},
		{-35, -40, -30, -40, -40, -30},
		{0, 0, 0, 0, 0, 0},
	} {
		for mode, want := range map[mass.Rounding]mass.Mass{mass.RoundHalfEven: c.halfEven, mass.RoundDown: c.down,
			mass.RoundUp: c.up, mass.RoundFloor: c.floor, mass.RoundCeil: c.ceil} {
			if got := c.m.RoundTo(10, mode); got != want {
				t.Errorf("%d in steps of 10, mode %d: %d, want %d", c.m, mode, got, want)
			}
			if got := mass.RoundKilograms(float64(c.m)/1e7, mode); got != want/10 {
				t.Errorf("%g mg, mode %d: %d, want %d", float64(c.m)/10, mode, got, want/10)
			}
		}
	}
}

// Rounding is to a multiple of the step, at most a step away (half a step to
// the nearest), to the side that the mode names, and stays where it is.
func TestRoundToIsARounding(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := mass.Mass(rapid.Int64Range(-int64(mass.Max), int64(mass.Max)).Draw(t, "mass"))
		step := mass.Mass(rapid.Int64Range(1, int64(mass.Tonne)).Draw(t, "step"))
		for _, mode := range []mass.Rounding{mass.RoundHalfEven, mass.RoundDown, mass.RoundUp, mass.RoundFloor, mass.RoundCeil} {
			got := m.RoundTo(step, mode)
			off := got - m
			if got%step != 0 || off >= step || off <= -step || got.RoundTo(step, mode) != got {
				t.Fatalf("%s in steps of %s, mode %d: %s", m, step, mode, got)
			}
			wrong := false
			switch mode {
			case mass.RoundHalfEven:
				wrong = 2*max(off, -off) > step
			case mass.RoundDown:
				wrong = max(got, -got) > max(m, -m)
			case mass.RoundUp:
				wrong = max(got, -got) < max(m, -m)
			case mass.RoundFloor:
				wrong = off > 0
			case mass.RoundCeil:
				wrong = off < 0
			}
			if wrong {
				t.Fatalf("%s in steps of %s, mode %d: %s is on the wrong side", m, step, mode, got)
			}
		}
	})
}

func TestRoundingRefusesNonsense(t *testing.T) {
	for name, f := range map[string]func(){
		"a step of zero":   func() { mass.Kilogram.RoundTo(0, mass.RoundUp) },
		"a negative step":  func() { mass.Kilogram.RoundTo(-1, mass.RoundUp) },
		"not a number":     func() { mass.RoundKilograms(math.NaN(), mass.RoundUp) },
		"an infinite mass": func() { mass.RoundKilograms(math.Inf(-1), mass.RoundUp) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s was rounded", name)
				}
			}()
			f()
		}()
	}
}

// The oracle is the standard library's exact rational number.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"12.5", "-0.000001", "1e3", "1000000000", "0.0000001", "5.", "..", "-", "1/3", "0x10", "1_0"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		m, err := mass.Parse(s)
		if err != nil {
			if m != 0 {
				t.Fatalf("Parse(%q) = %d beside the error %v", s, m, err)
			}
			return
		}
		exact, ok := new(big.Rat).SetString(s)
		if !ok {
			t.Fatalf("Parse(%q) = %d, but it is not a number", s, m)
		}
		if exact.Cmp(big.NewRat(int64(m), 1_000_000)) != 0 {
			t.Fatalf("Parse(%q) = %s, exactly %s", s, m, exact.FloatString(12))
		}
	})
}

// Scaling by 1/step and back is rounding to steps; the exact quotient is never
// a milligram or more away.
func TestMulDiv(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := mass.Mass(rapid.Int64Range(-int64(mass.Max), int64(mass.Max)).Draw(t, "mass"))
		num := rapid.Int64Range(-1000, 1000).Draw(t, "num")
		den := rapid.Int64Range(1, int64(mass.Tonne)).Draw(t, "den")
		mode := mass.Rounding(rapid.Uint8Range(0, 4).Draw(t, "mode"))
		if got, want := mass.MulDiv(m, 1, den, mode)*mass.Mass(den), m.RoundTo(mass.Mass(den), mode); got != want {
			t.Fatalf("%s/%d back: %s, in steps %s", m, den, got, want)
		}
		exact := new(big.Rat).Mul(big.NewRat(int64(m), den), big.NewRat(num, 1))
		off := exact.Sub(exact, big.NewRat(int64(mass.MulDiv(m, num, den, mode)), 1))
		if off.Abs(off).Cmp(big.NewRat(1, 1)) >= 0 {
			t.Fatalf("%s x %d / %d, mode %d, is %s mg off", m, num, den, mode, off.FloatString(6))
		}
	})
}

func TestMulDivStopsAtTheEnds(t *testing.T) {
	if got := mass.MulDiv(mass.Max, math.MaxInt64, 1, mass.RoundHalfEven); got != math.MaxInt64 {
		t.Errorf("got %d", got)
	}
	if got := mass.MulDiv(-mass.Max, math.MaxInt64, 1, mass.RoundHalfEven); got != math.MinInt64 {
		t.Errorf("got %d", got)
	}
}
