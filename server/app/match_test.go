package app_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/inventory/mass"
	"millbase/server/app"
	"millbase/solver/formulation"
	"millbase/solver/match"
	"millbase/solver/match/matchtest"
)

// spot is a match of the twelve invented bases, in the request.
func spot(shares ...float64) app.MatchRequest {
	all := make([]float64, len(matchtest.Bases))
	copy(all, shares)
	paper := matchtest.Paper()
	target := matchtest.Print(matchtest.Bases, paper, all)
	p := matchtest.Problem(matchtest.Bases, paper, target)
	req := app.MatchRequest{Target: p.Target, Print: app.ShadePrint{Bare: &paper},
		Question: app.OptimiseRequest{Quantity: 120 * mass.Kilogram, Limits: p.Blend.Limits}}
	for j, c := range p.Blend.Candidates {
		req.Question.Inline = append(req.Question.Inline, app.InlineCandidate{Candidate: c,
			Price: money.PerKg{Currency: "EUR", Amount: decimal.NewFromFloat(c.CostPerKg)}})
		req.Print.Colourants = append(req.Print.Colourants, app.InlineColourant{Candidate: c.ID, Colourant: p.Colourants[j]})
	}
	return req
}

// A match ends soon after its deadline, however much was asked.
func TestDeadlineOfAMatch(t *testing.T) {
	req := spot(0.3, 0, 0, 0.12, 0, 0, 0, 0.05)
	req.FrontierPoints = match.MaxPoints
	req.Question.Weighing = &app.Weighing{Scales: []app.Scale{{Division: 10 * mass.Gram}}, Weighing: formulation.Weighing{TimeLimit: time.Minute}}
	for _, after := range []time.Duration{0, time.Millisecond, 20 * time.Millisecond, 100 * time.Millisecond} {
		ctx, cancel := context.WithTimeout(t.Context(), after)
		began := time.Now()
		_, err := alone().MatchShade(ctx, req)
		cancel()
		if took := time.Since(began); !errors.Is(err, context.DeadlineExceeded) || took > after+time.Second {
			t.Errorf("with %s it ended after %s: %v", after, took, err)
		}
	}
}

// The cost is exact, and without a store nothing of the book can be asked for.
func TestMatchWithoutABook(t *testing.T) {
	m, err := alone().MatchShade(t.Context(), spot(0.3, 0, 0, 0.12))
	if err != nil || m.Result.Outcome != match.Matched || len(m.Offers) != len(match.Kinds) {
		t.Fatalf("%v %+v", err, m)
	}
	for _, o := range m.Offers {
		exact := decimal.Zero
		for _, c := range o.Answer.Components {
			exact = exact.Add(decimal.NewFromFloat(m.Problem.Blend.Candidates[c.Candidate].CostPerKg).Mul(decimal.New(int64(c.Mass), -6)))
		}
		if !o.View.Total.Amount.Equal(exact.RoundBank(2)) {
			t.Errorf("%s: total %s, but the components add up to %s", o.Kind, o.View.Total, exact)
		}
	}
	req := spot(0.3)
	req.Print.Substrate, req.Print.Bare = "uncoated", nil
	if _, err := alone().MatchShade(t.Context(), req); !errors.Is(err, app.ErrNotReady) {
		t.Errorf("a substrate of no book: %v", err)
	}
}
