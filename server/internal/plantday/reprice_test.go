package plantday

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

// TestTheBookRepriced: what a purchasing head and an ink maker see of the demo
// plant's book when a resin gets dearer.
func TestTheBookRepriced(t *testing.T) {
	s := plant(t)
	dearer := &pb.RepriceBookRequest{Changes: []*pb.PriceChange{{Material: "materials/medium-alkyd", Percent: 20}}}
	ask := func(role app.Role, r *pb.RepriceBookRequest) *pb.RepriceBookResponse {
		t.Helper()
		out, err := pb.NewRepricingServiceClient(s.As(role)).RepriceBook(t.Context(), r)
		return must(t, out, err)
	}
	asIs := ask(app.InkMaker, &pb.RepriceBookRequest{})
	if n := asIs.Count; n.Formulas < 39 || int(n.Formulas) != len(asIs.Formulas) || n.Solved != n.Formulas || n.Impossible != 0 {
		t.Fatalf("%v", n)
	}
	again := ask(app.InkMaker, &pb.RepriceBookRequest{})
	if n := again.Count; n.Unchanged != n.Formulas {
		t.Errorf("asked again: %v", n)
	}
	tried := ask(app.InkMaker, dearer)
	if n := tried.Count; n.Proved == 0 || n.Solved == 0 || n.Unchanged+n.Proved+n.Solved+n.Impossible != n.Formulas || n.Reformulate == 0 {
		t.Errorf("a dearer resin: %v", n)
	}
	if n := ask(app.InkMaker, &pb.RepriceBookRequest{}).Count; n.Unchanged != n.Formulas {
		t.Errorf("after a question of what would be: %v", n)
	}
	repricedRows(t, asIs, tried)
	t.Run("purchasing sees costs, not formulas", func(t *testing.T) { purchasingSees(t, tried, ask(app.Purchasing, dearer)) })
	t.Run("lots as Optimise takes them", func(t *testing.T) { repricedLots(t, s, ask) })
	t.Run("REST", func(t *testing.T) { repricedREST(t, s) })
	for _, role := range []app.Role{app.OrderDesk, app.Floor, app.Quality} {
		if _, err := pb.NewRepricingServiceClient(s.As(role)).RepriceBook(t.Context(), dearer); status.Code(err) != codes.PermissionDenied {
			t.Errorf("%s: %v", role, err)
		}
	}
}

// cents are hundredths of a cent.
func cents(m *money.Money) int64 { return m.GetUnits()*10_000 + int64(m.GetNanos())/100_000 }

// repricedRows holds the rows to each other: dearer resin makes nothing cheaper,
// shares add up, and savings are in order and what the costs say.
func repricedRows(t *testing.T, asIs, tried *pb.RepriceBookResponse) {
	before := map[string]*pb.RepricedFormula{}
	for _, f := range asIs.Formulas {
		before[f.Formula] = f
	}
	last, dearer := int64(1<<60), 0
	for _, f := range tried.Formulas {
		old := before[f.Formula]
		if cents(f.CostBeforePerKg) != cents(old.CostPerKg) || cents(f.CostPerKg) < cents(f.CostBeforePerKg) || cents(f.CheapestPerKg) < cents(old.CheapestPerKg) {
			t.Errorf("%v after %v", f, old)
		}
		if cents(f.CostPerKg) > cents(f.CostBeforePerKg) {
			dearer++
		}
		if want := max(0, cents(f.CostPerKg)-cents(f.CheapestPerKg)); cents(f.SavingPerKg) != want {
			t.Errorf("%s saves %v, want %d", f.Formula, f.SavingPerKg, want)
		}
		if year := cents(f.SavingPerYear); year > last {
			t.Errorf("%s saves %d in a year and comes after one that saves %d", f.Formula, year, last)
		} else {
			last = year
		}
		now, cheapest := 0.0, 0.0
		for _, c := range f.Changes {
			now, cheapest = now+c.Now, cheapest+c.Cheapest
		}
		if now < 0.999 || now > 1.05 || cheapest < 0.999 || cheapest > 1.05 {
			t.Errorf("%s: shares add up to %g and %g", f.Formula, now, cheapest)
		}
		if f.CheapestPerKg == nil || f.Reformulate && cents(f.SavingPerKg) == 0 {
			t.Errorf("%v", f)
		}
	}
	if dearer < 5 {
		t.Errorf("a resin gets dearer, and %d recipes do", dearer)
	}
}

func purchasingSees(t *testing.T, maker, purchasing *pb.RepriceBookResponse) {
	if len(purchasing.Formulas) != len(maker.Formulas) {
		t.Fatalf("%d rows, the ink maker has %d", len(purchasing.Formulas), len(maker.Formulas))
	}
	for i, f := range purchasing.Formulas {
		if len(f.Changes) > 0 || f.Summary != "" {
			t.Errorf("purchasing reads the formula: %v", f)
		}
		if len(maker.Formulas[i].Changes) == 0 || f.Formula != maker.Formulas[i].Formula || cents(f.CheapestPerKg) != cents(maker.Formulas[i].CheapestPerKg) {
			t.Errorf("%v, the ink maker sees %v", f, maker.Formulas[i])
		}
	}
}

// repricedLots: on lots the cheapest is that of Optimise at the same quantity,
// which may be dearer where an offer's price break is not reached.
func repricedLots(t *testing.T, s *servertest.Server, ask func(app.Role, *pb.RepriceBookRequest) *pb.RepriceBookResponse) {
	names := []string{"formulas/base-blue", "formulas/base-white", "formulas/base-violet"}
	r := ask(app.InkMaker, &pb.RepriceBookRequest{CostBasis: pb.CostBasis_COST_BASIS_LOT, QuantityKg: 40, Formulas: names})
	if len(r.Formulas) != len(names) {
		t.Fatalf("%v", r.Formulas)
	}
	for _, f := range r.Formulas {
		name, _, _ := strings.Cut(f.Formula, "@")
		recipe, err := pb.NewFormulaServiceClient(s.As(app.InkMaker)).GetFormula(t.Context(), &pb.GetFormulaRequest{Name: name})
		must(t, 0, err)
		o, err := pb.NewOptimiserServiceClient(s.As(app.InkMaker)).Optimise(t.Context(), &pb.OptimiseRequest{Specification: f.Specification, QuantityKg: 40, Book: &pb.BookCandidates{Excluded: []string{recipe.Material}}})
		must(t, 0, err)
		if got, most := float64(cents(f.CheapestPerKg)), float64(cents(o.CostPerKg))/recipe.YieldFraction; got > most+2 || got < 0.97*most {
			t.Errorf("%s: %g, Optimise says %g", name, got, most)
		}
	}
}

func repricedREST(t *testing.T, s *servertest.Server) {
	r := s.REST(app.Purchasing, http.MethodPost, "/v1/formulas:reprice", map[string]any{
		"changes":      []any{map[string]any{"material": "materials/soya", "price_per_kg": map[string]any{"currency_code": "EUR", "units": "9"}}},
		"formulas":     []string{"formulas/sheetfed-cyan"},
		"max_formulas": 3,
	})
	var out struct {
		Formulas []struct {
			Formula   string           `json:"formula"`
			CostPerKg *json.RawMessage `json:"cost_per_kg"`
		} `json:"formulas"`
	}
	if err := json.Unmarshal(r.Raw, &out); err != nil || r.Status != http.StatusOK || len(out.Formulas) != 1 || out.Formulas[0].CostPerKg == nil {
		t.Errorf("%d %v: %.300s", r.Status, err, r.Raw)
	}
}
