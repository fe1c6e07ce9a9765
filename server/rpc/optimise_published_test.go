package rpc_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	moneypb "google.golang.org/genproto/googleapis/type/money"

	pb "millbase/proto/millbase/v1"
)

// published is a blending problem from a book, as a request with candidates in
// it: each property is an amount per kg that only this request knows.
type published struct{ req *pb.OptimiseRequest }

func newPublished(quantity float64, properties ...string) published {
	p := published{&pb.OptimiseRequest{QuantityKg: quantity, CurrencyCode: "USD"}}
	for _, name := range properties {
		zero := 0.0
		p.req.Properties = append(p.req.Properties, &pb.Property{Name: name, Unit: "units", DefaultValue: &zero, MaxValue: 1e6})
	}
	return p
}

func (p published) candidate(id string, price float64, amounts map[string]float64) {
	whole := math.Trunc(price)
	p.req.Candidates = append(p.req.Candidates, &pb.InlineCandidate{CandidateId: id, Properties: amounts,
		PricePerKg: &moneypb.Money{Units: int64(whole), Nanos: int32(math.Round((price - whole) * 1e9))}})
}

func (p published) limit(property string, lower, upper *float64) {
	p.req.Limits = append(p.req.Limits, &pb.Limit{LimitId: "limit-" + property[:1] + strconv.Itoa(len(p.req.Limits)), Lower: lower, Upper: upper,
		Subject: &pb.Limit_Blended_{Blended: &pb.Limit_Blended{Property: property}}})
}

func (p published) solve(t *testing.T) *pb.OptimiseResponse {
	t.Helper()
	out, err := pb.NewOptimiserServiceClient(inkMaker(t)).Optimise(t.Context(), p.req)
	if err != nil {
		t.Fatal(err)
	}
	if out.GetOutcome() != pb.OptimiseOutcome_OPTIMISE_OUTCOME_OPTIMAL || !out.GetProof().GetCertified() {
		t.Fatalf("%s, proof %v: %s", out.GetOutcome(), out.GetProof(), out.GetClash().GetSummary())
	}
	return out
}

func to(v float64) *float64 { return &v }

func money(m *moneypb.Money) float64 { return float64(m.GetUnits()) + float64(m.GetNanos())/1e9 }

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.9g, want %.9g", what, got, want)
	}
}

func shares(out *pb.OptimiseResponse) map[string]float64 {
	got := map[string]float64{}
	for _, c := range out.GetComponents() {
		got[c.GetCandidate()] = c.GetShare()
	}
	return got
}

// Dantzig, Linear Programming and Extensions (1963), section 3.4: nine alloys,
// wanted 30 % lead, 30 % zinc, 40 % tin; 4.98 per lb from 0.6 b and 0.4 d. The
// optimum was computed with an independent tool.
func TestDantzigAlloy(t *testing.T) {
	p := newPublished(1000, "lead_percent", "zinc_percent", "tin_percent")
	for i, c := range []struct{ lead, zinc, tin, price float64 }{{10, 10, 80, 4.1}, {10, 30, 60, 4.3}, {40, 50, 10, 5.8}, {60, 30, 10, 6.0},
		{30, 30, 40, 7.6}, {30, 40, 30, 7.5}, {30, 20, 50, 7.3}, {50, 40, 10, 6.9}, {20, 30, 50, 7.3}} {
		p.candidate(string(rune('a'+i)), c.price, map[string]float64{"lead_percent": c.lead, "zinc_percent": c.zinc, "tin_percent": c.tin})
	}
	p.limit("lead_percent", to(30), to(30))
	p.limit("zinc_percent", to(30), to(30))
	p.limit("tin_percent", to(40), to(40))
	out := p.solve(t)
	near(t, "cost per lb", money(out.GetCostPerKg()), 4.98, 1e-9)
	near(t, "total", money(out.GetTotalCost()), 4980, 0.005)
	near(t, "b", shares(out)["b"], 0.6, 1e-9)
	near(t, "d", shares(out)["d"], 0.4, 1e-9)
	if len(out.GetUnused()) != 7 || out.GetCurrencyCode() != "USD" {
		t.Errorf("unused %v, currency %s", out.GetUnused(), out.GetCurrencyCode())
	}
	for _, u := range out.GetUnused() {
		if u.GetEntryPricePerKg() > money(u.GetPricePerKg())+1e-9 {
			t.Errorf("%s costs %g and would come in at %g", u.GetCandidate(), money(u.GetPricePerKg()), u.GetEntryPricePerKg())
		}
	}
}

// G. J. Stigler, The Cost of Subsistence, Journal of Farm Economics 27 (1945):
// 77 foods per dollar, nine allowances a day. 39.69 dollars a year of 365.25
// days. What is not spent is a candidate without price.
func TestStiglerDiet(t *testing.T) {
	rows := stiglerRows(t)
	names := rows[0][1:]
	p := newPublished(365.25, names...)
	for k, least := range rows[1][1:] {
		p.limit(names[k], to(parse(t, least)), nil)
	}
	for _, row := range rows[2:] {
		amounts := map[string]float64{}
		for k, v := range row[1:] {
			amounts[names[k]] = parse(t, v)
		}
		p.candidate(row[0], 1, amounts)
	}
	p.candidate("unspent", 0, nil)
	out := p.solve(t)
	near(t, "a year", money(out.GetTotalCost()), 39.69, 1e-9)
	got := shares(out)
	if len(got) != 6 {
		t.Errorf("five foods and what is unspent, got %v", got)
	}
	near(t, "a day", 1-got["unspent"], 0.1086622782, 1e-9)
	// The price of calories: dollars a day for one unit (1,000) more.
	near(t, "price of calories", out.GetLimits()[0].GetShadowPrice(), 0.00876515, 1e-8)
}

func stiglerRows(t *testing.T) [][]string {
	t.Helper()
	f, err := os.Open("../../solver/formulation/testdata/stigler.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) != 79 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	return rows
}

func parse(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Nutrient feed (R package limSolve, data set Blending): two ingredients and
// filler; shares .5909 .1364 .2727, cost 31.8182.
func TestNutrientFeed(t *testing.T) {
	names := []string{"a_units", "b_units", "c_units", "d_units"}
	p := newPublished(220, names...)
	for k, need := range []float64{80, 50, 25, 5} {
		p.limit(names[k], to(need), nil)
	}
	for i, of := range [][]float64{{100, 50, 40, 10}, {200, 150, 10, 0}, {0, 0, 0, 0}} {
		amounts := map[string]float64{}
		for k, v := range of {
			amounts[names[k]] = v
		}
		p.candidate(strconv.Itoa(i+1), []float64{40, 60, 0}[i], amounts)
	}
	out := p.solve(t)
	near(t, "cost", money(out.GetCostPerKg()), 31.8182, 1e-9)
	for id, want := range map[string]float64{"1": .5909, "2": .1364, "3": .2727} {
		near(t, "share of "+id, shares(out)[id], want, 5e-5)
	}
	// Computed with an independent tool.
	near(t, "price of B", out.GetLimits()[1].GetShadowPrice(), .363636, 1e-6)
	near(t, "price of C", out.GetLimits()[2].GetShadowPrice(), .545455, 1e-6)
}

// Winston, Operations Research: 71 units of three metals, from metals, raw
// material and scrap that lose some, and ingots (whole in the book, free here).
// 653.554136 without whole ingots was computed with an independent tool.
func TestWinstonMetals(t *testing.T) {
	names := []string{"one_fraction", "two_fraction", "three_fraction"}
	p := newPublished(71, names...)
	for k, bounds := range [][2]float64{{.05, .10}, {.30, .40}, {.60, .80}} {
		p.limit(names[k], to(bounds[0]), to(bounds[1]))
	}
	for _, c := range []struct {
		id    string
		price float64
		of    [3]float64
	}{{"metal 1", 22, [3]float64{1, 0, 0}}, {"metal 2", 10, [3]float64{0, 1, 0}}, {"metal 3", 13, [3]float64{0, 0, 1}},
		{"raw 1", 6, [3]float64{.20, .05, .05}}, {"raw 2", 5, [3]float64{.01, 0, .30}},
		{"scrap 1", 7, [3]float64{0, .60, .40}}, {"scrap 2", 8, [3]float64{.01, 0, .70}}, {"ingot", 9, [3]float64{.10, .45, .45}}} {
		p.candidate(c.id, c.price, map[string]float64{names[0]: c.of[0], names[1]: c.of[1], names[2]: c.of[2],
			"retained_fraction": c.of[0] + c.of[1] + c.of[2]})
	}
	near(t, "total", money(p.solve(t).GetTotalCost()), 653.55, 1e-9)

	// With whole ingots the book's optimum is 653.61, with 32 of them.
	p.req.Weighing = &pb.Weighing{Scales: []*pb.Scale{{DivisionKg: 1e-6}}, ToleranceKg: 1e-6,
		WholeContainers: []*pb.WholeContainer{{Members: &pb.Members{Candidates: []string{"ingot"}}, ContentKg: 1}}}
	whole := p.solve(t)
	near(t, "total with whole ingots", money(whole.GetTotalCost()), 653.61, 0.0051)
	for _, c := range whole.GetComponents() {
		if c.GetCandidate() == "ingot" && (c.GetContainers() != 32 || c.GetMassKg() != 32) {
			t.Errorf("ingots: %v", c)
		}
	}
	if !whole.GetWeighed().GetProven() || money(whole.GetWeighed().GetPricePerKg()) <= 0 {
		t.Errorf("weighed: %v", whole.GetWeighed())
	}
}
