package main

import (
	"bytes"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/money"

	pb "millbase/proto/millbase/v1"
)

func TestPriceChanges(t *testing.T) {
	for _, c := range []struct {
		text, material string
		percent        float64
		units          int64
		nanos          int32
	}{
		{"soya=+5%", "materials/soya", 5, 0, 0}, {"materials/soya=-3.5 %", "materials/soya", -3.5, 0, 0},
		{"soya = 12%", "materials/soya", 12, 0, 0}, {"soya=1.65EUR", "materials/soya", 0, 1, 650_000_000}, {"soya=2 EUR", "materials/soya", 0, 2, 0},
	} {
		p, err := parsePriceChange(c.text)
		if err != nil || p.Material != c.material || p.Percent != c.percent || p.GetPricePerKg().GetUnits() != c.units || p.GetPricePerKg().GetNanos() != c.nanos {
			t.Errorf("%s: %v, %v", c.text, p, err)
		}
	}
	for _, bad := range []string{"", "soya", "=5%", "soya=", "soya=5", "soya=x%", "soya=-1EUR", "soya 5%"} {
		if p, err := parsePriceChange(bad); err == nil || !strings.Contains(err.Error(), "--price") {
			t.Errorf("%q: %v, %v", bad, p, err)
		}
	}
}

// TestRepricedScreen: what saves is listed with what to change; the rest is counted.
func TestRepricedScreen(t *testing.T) {
	eur := func(units int64, nanos int32) *money.Money {
		return &money.Money{CurrencyCode: "EUR", Units: units, Nanos: nanos}
	}
	r := &pb.RepriceBookResponse{Date: "2026-11-25", CostBasis: pb.CostBasis_COST_BASIS_REPLACEMENT, SavingPerYear: eur(25, 960_000_000),
		Count: &pb.RepriceCount{Formulas: 3, Proved: 1, Solved: 1, Impossible: 1, Reformulate: 1}, Assumptions: []string{"Prices hold."},
		Formulas: []*pb.RepricedFormula{
			{Formula: "formulas/cyan@2", CostBeforePerKg: eur(3, 900_000_000), CostPerKg: eur(4, 0), CheapestPerKg: eur(3, 855_800_000), SavingPerKg: eur(0, 144_200_000),
				Reformulate: true, YearlyKg: 180, SavingPerYear: eur(25, 960_000_000), Changes: []*pb.ShareChange{{Title: "Medium-oil alkyd", Now: 0.1566, Cheapest: 0.02}}},
			{Formula: "formulas/plum@1", Summary: "No formula: Plum asks for too much."},
			{Formula: "formulas/black@1", CostPerKg: eur(2, 0), CheapestPerKg: eur(2, 0), SavingPerKg: eur(0, 0)},
		}}
	var out bytes.Buffer
	a := &app{out: &out}
	a.printRepriced(r, true, false)
	for _, want := range []string{"1 to reformulate, 25.96 EUR saved in a year", "0 unchanged, 1 proved by earlier answers, 1 solved, 1 can't be made",
		"cyan@2        3.9000  4.0000    3.8558         0.1442        180          25.96  yes", "Medium-oil alkyd  15.66      2.00  -13.66",
		"plum@1: No formula", "1 more save nothing", "Prices hold."} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("no %q in:\n%s", want, out.String())
		}
	}
	if strings.Contains(out.String(), "black@1") {
		t.Errorf("what saves nothing is listed:\n%s", out.String())
	}
}
