package app_test

import (
	"context"
	"errors"
	"math"
	"testing"

	"millbase/costing/purchase"
	"millbase/inventory/mass"
	"millbase/server/app"
	"millbase/solver/formulation"
)

func (x *mill) trace(req app.FrontierRequest) *app.TracedFrontier {
	x.t.Helper()
	f, err := x.book.TraceFrontier(context.Background(), req)
	if err != nil {
		x.t.Fatal(err)
	}
	return f
}

// At every point of a frontier over a limit of the book the cost is that of a
// question asked afresh.
func TestFrontierOfTheBook(t *testing.T) {
	x := newMill(t)
	x.fill()
	x.specification()
	base := x.optimise(x.asked())
	points := 0
	for _, l := range base.Problem.Limits {
		f := x.trace(app.FrontierRequest{Question: x.asked(), Limit: l.ID})
		if len(f.Points) == 0 || f.Summary == "" || f.Currency != "EUR" {
			t.Fatalf("%s: %+v", l.ID, f)
		}
		for _, p := range f.Points {
			moved, at := l, p.Bound
			if l.Upper != nil {
				at += 1e-7 * at
				moved.Upper = &at
			} else {
				at -= 1e-7 * at
				moved.Lower = &at
			}
			req := x.asked()
			req.Limits = []formulation.Limit{moved}
			if o, err := x.book.Optimise(context.Background(), req); err == nil && o.Answer.Outcome == formulation.Optimal {
				if math.Abs(o.Answer.CostPerKg-p.Cost) > 1e-5*p.Cost {
					t.Errorf("%s at %g: %g, asked afresh %g", l.ID, p.Bound, p.Cost, o.Answer.CostPerKg)
				}
				points++
			}
		}
	}
	if points < len(base.Problem.Limits) {
		t.Errorf("%d points compared", points)
	}
	stock := x.trace(app.FrontierRequest{Question: x.asked(), Stock: "lots/blue-1"})
	if stock.Unit != "kg" || !stock.Straight || len(stock.Points) == 0 {
		t.Errorf("%+v", stock)
	}
}

// A cheap blue goes out of date on the third day, and a cheaper oil can arrive on
// the sixth: the cost by date is that of questions for these days.
func TestFrontierByDate(t *testing.T) {
	x := newMill(t)
	x.fill()
	x.specification()
	x.stock("blue-old", "blue", 50, "1.00", 2)
	x.offer(purchase.Offer{ID: "oil-late", Material: "oil", Currency: "EUR", LeadTimeDays: 6, Breaks: []purchase.Break{{PricePerKg: dec("0.01")}}})
	req := x.asked()
	req.Date = x.today
	f := x.trace(app.FrontierRequest{Question: req, Until: x.today.AddDate(0, 0, 20)})
	if len(f.Points) != 3 || !f.Points[1].Date.Equal(x.day(3)) || !f.Points[2].Date.Equal(x.day(6)) {
		t.Fatalf("%+v", f.Points)
	}
	for _, p := range f.Points {
		req.Date = p.Date
		if o := x.optimise(req); math.Abs(o.Answer.CostPerKg-p.Cost) > 1e-9 {
			t.Errorf("%s: %g, asked for the day %g", p.Date, p.Cost, o.Answer.CostPerKg)
		}
	}
	if f.Points[1].Change == "" || f.Points[2].Change == "" || f.Points[1].Cost <= f.Points[0].Cost || f.Points[2].Cost >= f.Points[1].Cost {
		t.Errorf("%+v", f.Points)
	}
}

func TestBadFrontiers(t *testing.T) {
	x := newMill(t)
	x.fill()
	x.specification()
	one, two := 1.0, 2.0
	for field, req := range map[string]app.FrontierRequest{
		"limit_id":   {Question: x.asked(), Limit: "nothing"},
		"stock":      {Question: x.asked(), Stock: "lots/nothing"},
		"until_date": {Question: x.asked(), Until: x.today.AddDate(0, 0, -1)},
		"to":         {Question: x.asked(), Limit: "voc", From: &two, To: &one},
	} {
		if field == "to" {
			req.Limit = x.optimise(x.asked()).Problem.Limits[0].ID
		}
		var bad app.Invalid
		if _, err := x.book.TraceFrontier(context.Background(), req); !errors.As(err, &bad) || bad[0].Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
	if _, err := x.book.TraceFrontier(context.Background(), app.FrontierRequest{Question: x.asked()}); err == nil {
		t.Error("a frontier of nothing")
	}
}

// The cheapest formula against a dearer one of the same lots, by hand.
func TestCompareFormulas(t *testing.T) {
	x := newMill(t)
	x.fill()
	x.specification()
	q := x.asked()
	o := x.optimise(q)
	parts := []app.PotComponent{{Candidate: "lots/blue-1", Mass: 30 * mass.Kilogram}, {Candidate: "lots/varnish-1", Mass: 70 * mass.Kilogram}}
	c, err := x.book.CompareFormulas(context.Background(), app.CompareRequest{First: app.FormulaRef{Question: &q}, Second: app.FormulaRef{Components: parts}, Date: q.Date})
	if err != nil {
		t.Fatal(err)
	}
	if got := c.CostPerKg[0].InexactFloat64(); math.Abs(got-o.CostPerKg.Amount.InexactFloat64()) > 1e-4 {
		t.Errorf("cheapest %g, want %s", got, o.CostPerKg.Amount)
	}
	want := 0.0
	for _, x := range c.Components {
		switch c.Problem.Candidates[x.Candidate].ID {
		case "lots/blue-1":
			want += 0.3 * x.PricePerKg.InexactFloat64()
		case "lots/varnish-1":
			want += 0.7 * x.PricePerKg.InexactFloat64()
		}
	}
	if got := c.CostPerKg[1].InexactFloat64(); math.Abs(got-want) > 1e-6 || len(c.Reports[0]) != len(o.Problem.Limits) || c.Summary == "" {
		t.Errorf("by hand %g, got %g; %s", want, got, c.Summary)
	}
	for k, r := range c.Reports[0] {
		if !r.Met || math.Abs(r.Value-o.Answer.Limits[k].Value) > 1e-6*math.Abs(r.Value) {
			t.Errorf("limit %d of the cheapest: %+v, the answer says %+v", k, r, o.Answer.Limits[k])
		}
	}
	met := true
	for _, r := range c.Reports[1] {
		met = met && r.Met
	}
	if met {
		t.Error("blue and varnish alone meet every limit")
	}
	for field, ref := range map[string]app.FormulaRef{"second.formula": {}, "second.components[0].candidate": {Components: []app.PotComponent{{Candidate: "lots/none", Mass: mass.Kilogram}}}} {
		var bad app.Invalid
		if _, err := x.book.CompareFormulas(context.Background(), app.CompareRequest{First: app.FormulaRef{Question: &q}, Second: ref}); !errors.As(err, &bad) || bad[0].Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
}
