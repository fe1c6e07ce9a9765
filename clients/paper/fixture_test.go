package paper

import (
	"fmt"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "millbase/proto/millbase/v1"
)

// printer is the Chromium that `make install` brings; a machine without fails.
func printer(t testing.TB) *Browser {
	t.Helper()
	b, err := FindBrowser("")
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func eur(units int64, nanos int32) *money.Money {
	return &money.Money{CurrencyCode: "EUR", Units: units, Nanos: nanos}
}

// lights are a target and an ink under two lights, invented.
func lights() []*pb.ShadeLight {
	a := &pb.Viewing{Illuminant: pb.Illuminant_ILLUMINANT_A, Observer: pb.Observer_OBSERVER_TEN_DEGREE}
	return []*pb.ShadeLight{
		{Viewing: &pb.Viewing{Illuminant: pb.Illuminant_ILLUMINANT_D50}, Target: &pb.Lab{L: 52, A: -12, B: -22}, Predicted: &pb.Lab{L: 52.6, A: -11.4, B: -20.5},
			TargetSwatch: "#4384a2", PredictedSwatch: "#4b83a0", De00: proto.Float64(0.98)},
		{Viewing: a, Target: &pb.Lab{L: 50, A: -15, B: -24}, Predicted: &pb.Lab{L: 50.8, A: -15.3, B: -23.4}, TargetSwatch: "#2b80a0", PredictedSwatch: "#2d82a1", De00: proto.Float64(0.71)},
	}
}

// curve is a smooth reflectance on 36 wavelengths.
func curve(shift float64) *pb.Curve {
	c := &pb.Curve{FirstNm: 380, StepNm: 10}
	for i := range 36 {
		c.Values = append(c.Values, 0.15+shift+0.2/(1+float64((i-9)*(i-9))/30))
	}
	return c
}

// quoteOf is an invented quote with so many quantities and parts, each title as
// long as given.
func quoteOf(quantities, parts, long int) *pb.Quote {
	title := func(what string, i int) string { return strings.Repeat(fmt.Sprintf("%s %d ", what, i), long) }
	q := &pb.Quote{Name: "quotes/q-31", Revision: 2, Customer: title("Millgate Press", 0), Title: title("Harbour blue", 2), State: "sent", CurrencyCode: "EUR", ExchangeRate: "1",
		MarginPercent: "28", QuoteDate: "2026-11-25", SentDate: "2026-11-25", ValidUntilDate: "2026-12-25", CostBasis: pb.CostBasis_COST_BASIS_LOT,
		Assumptions: []string{"Lots are valued at their own landed cost."},
		Shade: &pb.QuoteShade{InWords: "By calculation the ink differs hardly.", Substrate: "substrates/uncoated-white", ToleranceDe00: 1, Bases: 3, Metamerism: proto.Float64(0.4),
			TargetCurve: curve(0.01), PredictedCurve: curve(0), Lights: lights()}}
	for i := range parts {
		q.Components = append(q.Components, &pb.QuoteComponent{Material: fmt.Sprintf("materials/base-%d", i), Lot: fmt.Sprintf("lots/m-%d", i), Title: title("Base ink", i), Share: 1 / float64(parts)})
	}
	for i := range quantities {
		b := &pb.QuoteBreak{QuantityKg: 25 * float64(i+1), PricePerKg: eur(16, 890_000_000), Price: eur(422*int64(i+1), 250_000_000), CostPerKg: eur(12, 157_047_000),
			Cost: eur(303, 926_175_007), Margin: eur(118, 323_824_993), MarginPercent: "28.0231", Batches: 1, LeadTime: &pb.QuoteLeadTime{Possible: i > 0, Days: 3, ReadyDate: "2026-11-28"},
			Cans: []*pb.QuoteCans{{Pack: "tin-2-5", Title: "Vacuum tin 2.5 kg", Count: 10 * int64(i+1)}}}
		for k := range parts {
			b.Lines = append(b.Lines, &pb.CostLine{Kind: pb.CostLine_KIND_MATERIAL, Title: title("Base ink", k), Amount: eur(int64(k), 12_345_678)})
		}
		b.Lines = append(b.Lines, &pb.CostLine{Kind: pb.CostLine_KIND_PACKAGING, Title: fmt.Sprintf("%d x Vacuum tin 2.5 kg", 10*(i+1)), Amount: eur(9, 0)})
		q.Breaks = append(q.Breaks, b)
	}
	return q
}

// customerOf is the customer copy of the same.
func customerOf(quantities, long int) *pb.CustomerQuote {
	q := quoteOf(quantities, 0, long)
	c := &pb.CustomerQuote{Name: q.Name, Revision: 2, Customer: q.Customer, Title: q.Title, State: "sent", CurrencyCode: "EUR", QuoteDate: q.QuoteDate, ValidUntilDate: q.ValidUntilDate,
		PlantTitle: "Tarnbeck Ink Works", Cautions: []string{"A drawdown on your own substrate decides before the run."}, Shade: &pb.CustomerShade{InWords: q.Shade.InWords, Lights: lights()}}
	for _, b := range q.Breaks {
		p := &pb.CustomerPrice{QuantityKg: b.QuantityKg, PricePerKg: b.PricePerKg, Price: b.Price, Cans: b.Cans}
		if b.LeadTime.Possible {
			p.LeadTimeDays = proto.Int32(b.LeadTime.Days)
		}
		c.Prices = append(c.Prices, p)
	}
	return c
}

// everyString hands each string of a message, and of those in it, to change.
func everyString(m protoreflect.Message, change func(path, now string) string) {
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		path := string(fd.FullName())
		switch {
		case fd.IsList() && fd.Message() != nil:
			for i := range v.List().Len() {
				everyString(v.List().Get(i).Message(), change)
			}
		case fd.IsList() && fd.Kind() == protoreflect.StringKind:
			for i := range v.List().Len() {
				v.List().Set(i, protoreflect.ValueOfString(change(path, v.List().Get(i).String())))
			}
		case fd.Message() != nil:
			everyString(v.Message(), change)
		case fd.Kind() == protoreflect.StringKind:
			m.Set(fd, protoreflect.ValueOfString(change(path, v.String())))
		}
		return true
	})
}
