package main

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/money"
	"pgregory.net/rapid"

	pb "millbase/proto/millbase/v1"
)

func TestTableAligns(t *testing.T) {
	tab := newTable("lot", ">kg", "note")
	tab.add("l-1", "12.5", "Größe")
	tab.add("l-1000", "7", "")
	var b bytes.Buffer
	tab.print(&b)
	want := "lot       kg  note\n------  ----  -----\nl-1     12.5  Größe\nl-1000     7\n"
	if b.String() != want {
		t.Fatalf("got\n%s\nwant\n%s", b.String(), want)
	}
}

func TestNumbers(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{signed(-0.00143), "-0.00143"}, {signed(2), "+2"}, {signed(1e-9), "0"},
		{bounds(nil, new(9.0)), "<= 9"}, {bounds(new(3.0), new(3.0)), "= 3"}, {bounds(new(1.0), new(2.0)), "1 to 2"},
		{interval(nil, nil, 2), "any"}, {interval(new(1.0), nil, 2), "from 1.00"}, {interval(nil, new(1.0), 2), "up to 1.00"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

func TestParseCash(t *testing.T) {
	m, err := parseCash("1.98EUR")
	if err != nil || m.Units != 1 || m.Nanos != 980_000_000 || m.CurrencyCode != "EUR" {
		t.Fatalf("got %v, %v", m, err)
	}
	for _, bad := range []string{"", "1.98", "EUR", "1,98EUR", "-1EUR", "1.0000000001EUR", "1.98eur", "NaNEUR"} {
		if _, err := parseCash(bad); err == nil {
			t.Errorf("%q was accepted", bad)
		}
	}
}

func TestParseCashReadsBackWhatCashPrints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := &money.Money{CurrencyCode: "GBP", Units: rapid.Int64Range(0, 1e11).Draw(t, "units"), Nanos: rapid.Int32Range(0, 999_999_999).Draw(t, "nanos")}
		got, err := parseCash(cash(want, 9))
		if err != nil || got.Units != want.Units || got.Nanos != want.Nanos {
			t.Fatalf("%v came back as %v, %v", want, got, err)
		}
	})
}

func TestParseChange(t *testing.T) {
	for _, c := range []struct {
		text         string
		lower, upper float64
	}{
		{"voc<=60", math.NaN(), 60}, {"wax>=0.02", 0.02, math.NaN()}, {"tack=9..11", 9, 11}, {"density=1.04", 1.04, 1.04},
		{"voc <= 60.5", math.NaN(), 60.5}, {"tack=9.5..11.5", 9.5, 11.5}, {"x=1e-3", 1e-3, 1e-3},
	} {
		got, err := parseChange(c.text)
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		for _, b := range []struct {
			have *float64
			want float64
		}{{got.lower, c.lower}, {got.upper, c.upper}} {
			if (b.have == nil) != math.IsNaN(b.want) || b.have != nil && *b.have != b.want {
				t.Errorf("%q: got %v to %v", c.text, got.lower, got.upper)
			}
		}
	}
	for _, bad := range []string{"", "voc", "voc<60", "voc<=", "voc<=sixty", "=3", "voc<=1..2..3", "voc=..3"} {
		if _, err := parseChange(bad); err == nil {
			t.Errorf("%q was accepted", bad)
		}
	}
}

func TestEnumNamesWhatIsKnown(t *testing.T) {
	got, err := enum[pb.CostBasis](pb.CostBasis_value, "COST_BASIS_", "replacement")
	if err != nil || got != pb.CostBasis_COST_BASIS_REPLACEMENT {
		t.Fatalf("got %v, %v", got, err)
	}
	if _, err = enum[pb.Role](pb.Role_value, "ROLE_", "order-desk"); err != nil {
		t.Fatal(err)
	}
	_, err = enum[pb.CostBasis](pb.CostBasis_value, "COST_BASIS_", "guess")
	if err == nil || !strings.Contains(err.Error(), "lot, average, replacement, standard") {
		t.Fatalf("got %v", err)
	}
}

func TestWrapKeepsEveryWord(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(rapid.StringMatching(`[a-z]{1,12}`), 1, 60).Draw(t, "words")
		out := wrap(strings.Join(words, " "), 40, "  ")
		if got := strings.Fields(out); strings.Join(got, " ") != strings.Join(words, " ") {
			t.Fatalf("words changed: %q", out)
		}
		for _, line := range strings.Split(out, "\n") {
			if len(line) > 40 {
				t.Fatalf("line of %d: %q", len(line), line)
			}
		}
	})
}
