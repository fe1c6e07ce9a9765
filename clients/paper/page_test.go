package paper

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/money"
	"pgregory.net/rapid"

	pb "millbase/proto/millbase/v1"
)

// evil would end the text, the attribute, the style or the drawing that it stands in.
const evil = `</style></svg><script>alert(1)</script>"'><b onload="x`

func TestEveryWordIsEscaped(t *testing.T) {
	spoil := func(_, now string) string { return now + evil }
	q, c := quoteOf(2, 2, 1), customerOf(2, 1)
	c.State = "accepted"
	c.Accepted = &pb.AcceptedQuote{Quote: "q", Price: eur(1, 0), AcceptedDate: "2026-11-26", DueDate: "2026-12-01", Batch: "b"}
	everyString(q.ProtoReflect(), spoil)
	everyString(c.ProtoReflect(), spoil)
	inside, err := Internal(q, "Tarnbeck"+evil)
	if err != nil {
		t.Fatal(err)
	}
	outside, err := Customer(c)
	if err != nil {
		t.Fatal(err)
	}
	svg, _, _, err := Picture(q.Shade)
	if err != nil {
		t.Fatal(err)
	}
	for name, page := range map[string][]byte{"internal": inside, "customer": outside, "picture": svg} {
		text := string(page)
		for _, mark := range []string{"<script", "<b ", `"x`, "</style></"} {
			if strings.Contains(text, mark) {
				t.Errorf("%s holds %q unescaped", name, mark)
			}
		}
		if n := strings.Count(text, "</svg>"); n > 1 || name != "picture" && strings.Count(text, "</style>") != 1 {
			t.Errorf("%s: %d drawings end", name, n)
		}
		if name != "picture" && !strings.Contains(text, "&lt;script&gt;alert(1)") {
			t.Errorf("%s does not show the words at all", name)
		}
	}
	wellFormed(t, svg)
}

// wellFormed fails unless the picture is XML, as an SVG on its own must be.
func wellFormed(t *testing.T, svg []byte) (shapes int) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return shapes
		}
		if err != nil {
			t.Fatalf("the picture is no XML: %v\n%s", err, svg)
		}
		if e, ok := token.(xml.StartElement); ok && (e.Name.Local == "rect" || e.Name.Local == "polyline") {
			shapes++
		}
	}
}

// What a copy must show, and what the customer's must not: it is told apart by
// the titles, lots and figures of the internal one.
func TestCopiesShowWhatTheyAreFor(t *testing.T) {
	inside, err := Internal(quoteOf(3, 4, 1), "Tarnbeck Ink Works")
	if err != nil {
		t.Fatal(err)
	}
	outside, err := Customer(customerOf(3, 1))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Base ink 3", "m-3", "25.0000", "6.250", "303.93", "12.1570", "118.32", "28.02", "Lots are valued", "uncoated-white", "wavelength"} {
		if !bytes.Contains(inside, []byte(want)) {
			t.Errorf("the internal copy lacks %q", want)
		}
		if bytes.Contains(outside, []byte(want)) {
			t.Errorf("the customer copy tells %q", want)
		}
	}
	for _, want := range []string{"16.89", "844.25", "1266.25", "10 × Vacuum tin 2.5 kg", "on request", "25\u00a0December\u00a02026", "A drawdown", "D50, 2°", "A, 10°", "0.98", "revision 2", "Name and signature"} {
		if !bytes.Contains(outside, []byte(want)) {
			t.Errorf("the customer copy lacks %q", want)
		}
	}
}

func TestACopySaysWhenItIsNoOffer(t *testing.T) {
	for state, want := range map[string]string{"draft": "not an offer", "lapsed": "holds no longer", "replaced": "later revision", "accepted": "Accepted on 26\u00a0November\u00a02026: 50 kg for 844.50\u00a0EUR"} {
		q := customerOf(2, 1)
		if q.State = state; state == "accepted" {
			q.Accepted = &pb.AcceptedQuote{QuantityKg: 50, Price: eur(844, 500_000_000), AcceptedDate: "2026-11-26", DueDate: "2026-12-01"}
		}
		page, err := Customer(q)
		if err != nil || !bytes.Contains(page, []byte(want)) || bytes.Contains(page, []byte("signature")) {
			t.Errorf("%s: %v, want %q and no place to sign", state, err, want)
		}
	}
}

// Amounts are exact, and the points of a column stand below each other.
func TestAmountsAreExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		column := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) *money.Money {
			m := eur(rapid.Int64Range(-1e9, 1e9).Draw(t, "units"), rapid.Int32Range(0, 99).Draw(t, "nanos")*rapid.SampledFrom([]int32{1, 1000, 10_000_000}).Draw(t, "scale"))
			if m.Units < 0 {
				m.Nanos = -m.Nanos
			}
			return m
		}), 1, 5).Draw(t, "column")
		after := -1
		for i, text := range amounts(column...) {
			plain := strings.NewReplacer(thin, "", "−", "-").Replace(text)
			whole, rest, _ := strings.Cut(plain, ".")
			if after >= 0 && len(rest) != after {
				t.Fatalf("%q stands out of line", text)
			}
			if after = len(rest); after < 2 {
				t.Fatalf("%q has not the cents", text)
			}
			var back int64
			for _, r := range strings.TrimPrefix(whole, "-") + (rest + "000000000")[:9] {
				back = back*10 + int64(r-'0')
			}
			if strings.HasPrefix(whole, "-") {
				back = -back
			}
			if want := column[i].Units*1_000_000_000 + int64(column[i].Nanos); back != want {
				t.Fatalf("%v is printed as %q", column[i], text)
			}
		}
	})
}

func TestFigures(t *testing.T) {
	yen := &money.Money{CurrencyCode: "JPY", Units: 1234567}
	for _, c := range []struct{ got, want string }{
		{grouped("1234.5"), "1234.5"}, {grouped("12345.67"), "12" + thin + "345.67"}, {grouped("-1234567"), "−1" + thin + "234" + thin + "567"},
		{amounts(yen)[0], "1" + thin + "234" + thin + "567"}, {amounts(eur(3, 0), nil)[1], absent}, {rounded(2, eur(0, 5_000_000))[0], "0.01"},
		{strings.Join(masses([]float64{25, 0.5, 120}), " "), "25.0 0.5 120.0"}, {percent("28.0231"), "28.02"}, {percent("3"), "3.00"}, {percent(""), absent},
		{day("2026-02-03"), "3\u00a0February\u00a02026"}, {day("soon"), "soon"}, {coordinates(&pb.Lab{A: -0.01})[1], "0.0"}, {viewing(nil), "D50, 2°"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// No cost line is lost, and none is counted twice, however the quantities differ.
func TestCostTablesHoldEveryLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var breaks []*pb.QuoteBreak
		lines := 0
		for i := range rapid.IntRange(1, 13).Draw(t, "quantities") {
			b := &pb.QuoteBreak{QuantityKg: float64(i + 1), Cost: eur(1, 0)}
			for range rapid.IntRange(0, 6).Draw(t, "lines") {
				title := rapid.SampledFrom([]string{"overhead", "wash-up", "3 x tin", "2 x tin", "3 x 4 x tin"}).Draw(t, "title")
				kind := rapid.SampledFrom([]pb.CostLine_Kind{pb.CostLine_KIND_PACKAGING, pb.CostLine_KIND_MATERIAL}).Draw(t, "kind")
				b.Lines = append(b.Lines, &pb.CostLine{Kind: kind, Title: title, Level: rapid.Int32Range(0, 1).Draw(t, "level"), Amount: eur(7, 0)})
				lines++
			}
			breaks = append(breaks, b)
		}
		shown, columns := 0, 0
		for _, table := range costTables(breaks) {
			columns += len(table.Totals)
			if len(table.Quantities) > across {
				t.Fatalf("%d quantities side by side", len(table.Quantities))
			}
			for _, l := range table.Lines {
				for _, a := range l.Amounts {
					if a == "7.00" {
						shown++
					}
				}
			}
		}
		if shown != lines || columns != len(breaks) {
			t.Fatalf("%d of %d lines in %d of %d columns", shown, lines, columns, len(breaks))
		}
	})
}
