package main

import (
	"bytes"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"google.golang.org/genproto/googleapis/type/money"

	pb "millbase/proto/millbase/v1"
)

// Twelve weeks of a material with a long name and large figures stand in two blocks
// and fit 100 columns; what is in quarantine, what expires and what is to be brought
// forward are all said.
func TestCoverageFitsTheScreen(t *testing.T) {
	c := &pb.Coverage{Remarks: []string{"A remark."}}
	many := slices.Repeat([]float64{-123456}, 12)
	for i := range many {
		c.WeekDates = append(c.WeekDates, []string{"2026-11-02", "2026-11-09"}[i%2])
	}
	c.Rows = []*pb.CoverageRow{{Material: "materials/varnish-qs-40", OnHandKg: 123456, ReservedKg: 12345, QuarantinedKg: 777, ProjectedKg: many,
		ExpiringKg: append([]float64{55}, many[1:]...), FirstShortDate: "2026-11-12", ShortKg: 123456,
		Suggestions: []*pb.OrderSuggestion{{Supplier: "suppliers/quellmark", QuantityKg: 123456, OrderByDate: "2026-11-02", ArrivalDate: "2026-11-30",
			LandedCost: &money.Money{CurrencyCode: "EUR", Units: 123456}, PastDueDays: 12, Batches: []string{"batches/b-1001", "batches/b-1002"}}},
		Expedite: []*pb.Expedite{{Date: "2026-11-05", QuantityKg: 66, Source: "purchaseOrders/po-118", DueDate: "2026-11-20"}, {Date: "2026-11-06", QuantityKg: 44}},
		Needs: []*pb.PeggedNeed{{Material: "materials/varnish-qs-40", Date: "2026-11-12", QuantityKg: 9, Batches: []string{"batches/b-1001"}, ShortKg: 2,
			Covers: []*pb.PegCover{{Source: "planned", Supplier: "suppliers/quellmark", QuantityKg: 7, ArrivalDate: "2026-11-30", LateDays: 18}}}}}}
	var out bytes.Buffer
	(&app{out: &out}).printCoverage(c)
	for _, line := range strings.Split(out.String(), "\n") {
		if n := utf8.RuneCountInString(line); n > 100 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	for _, want := range []string{"In quarantine: varnish-qs-40 777 kg", "Expires before it is used: varnish-qs-40 55 kg (11-02)", "12 d past due", "b-1001 +1",
		"po-118", "nothing on order", "planned from quellmark", "18 d late", "short"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not said in\n%s", want, out.String())
		}
	}
	if n := strings.Count(out.String(), "material "); n < 4 {
		t.Errorf("twelve weeks stand in one block:\n%s", out.String())
	}
}
