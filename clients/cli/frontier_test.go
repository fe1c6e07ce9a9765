package main

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/money"

	pb "millbase/proto/millbase/v1"
)

// A quotient between two points: cost 3 - 2s where the bound is 1000 s/(s/0.8 +
// (1-s)/1.25), from 0 to 800.
func TestFrontierBetweenItsPoints(t *testing.T) {
	first, last := -2*0.8/1000, 0.0
	r := &pb.TraceFrontierResponse{Summary: "From 0 to 800 g/L.", Unit: "g/L", CurrencyCode: "EUR", Points: []*pb.FrontierPoint{
		{Bound: 0, CostExact: 3, CostPerKg: &money.Money{Units: 3}, SlopeAfter: &first, Change: "no formula below"},
		{Bound: 800, CostExact: 1, CostPerKg: &money.Money{Units: 1}, SlopeBefore: &last, Change: strings.Repeat("long ", 30)}}}
	for _, s := range []float64{0.1, 0.5, 0.9} {
		bound := 1000 * s / (s/0.8 + (1-s)/1.25)
		if got := between(r, bound); math.Abs(got-(3-2*s)) > 1e-9 {
			t.Errorf("at %g: %g, want %g", bound, got, 3-2*s)
		}
	}
	var out bytes.Buffer
	printFrontier(&out, r, "voc")
	for _, line := range strings.Split(out.String(), "\n") {
		if len([]rune(line)) > 100 {
			t.Errorf("%d columns: %s", len([]rune(line)), line)
		}
	}
	if n := strings.Count(out.String(), "o\n"); n < 1 || !strings.Contains(out.String(), "no formula below") {
		t.Errorf("%s", out.String())
	}
}
