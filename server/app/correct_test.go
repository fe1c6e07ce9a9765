package app_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"millbase/inventory/mass"
	"millbase/server/app"
	"millbase/solver/formulation"
)

func (x *mill) correct(req app.CorrectRequest) *app.Corrected {
	x.t.Helper()
	c, err := x.book.CorrectBatch(context.Background(), req)
	if err != nil {
		x.t.Fatal(err)
	}
	return c
}

// reservedBatch is 100 kg of the formula, with its lots set aside.
func (x *mill) reservedBatch() {
	x.t.Helper()
	x.fill()
	x.specification()
	x.formulaOf(1_000_000)
	x.batch("b-1", 100, "formula")
	if _, err := x.book.ReserveBatch(context.Background(), "b-1", 0, 0); err != nil {
		x.t.Fatal(err)
	}
}

// The ticket's weights are in the pot, the only specification of the ink counts,
// and the stock that is not set aside may be added. Tack by what was weighed in is
// 0.18 x 10 + 0.7 x 13 + 0.115 x 1 + 0.005 x 2 = 11.025.
func TestCorrectTheBatchInThePot(t *testing.T) {
	x := newMill(t)
	x.reservedBatch()
	c := x.correct(app.CorrectRequest{Batch: "b-1"})
	tack := func(reports []formulation.LimitReport) float64 {
		t.Helper()
		for _, r := range reports {
			if c.View.Problem.Limits[r.Limit].ID == "tack" {
				return r.Value
			}
		}
		t.Fatal("no tack")
		return 0
	}
	if got := tack(c.Answer.Before); got < 11.0249 || got > 11.0251 {
		t.Errorf("tack of what was weighed in: %g", got)
	}
	c = x.correct(app.CorrectRequest{Batch: "b-1", Tests: map[string]float64{"tack_units": 12.2}, Capacity: 190 * mass.Kilogram})
	if c.Answer.Outcome != formulation.Corrected || len(c.Answer.Additions) == 0 || !strings.HasPrefix(c.Summary, "Add ") {
		t.Fatalf("%s: %s", c.Answer.Outcome, c.Summary)
	}
	if before, after := tack(c.Answer.Before), tack(c.Answer.After); before != 12.2 || after > 12.0001 {
		t.Errorf("tack %g, then %g", before, after)
	}
	cost := 0.0
	for _, a := range c.Answer.Additions {
		cost += a.Mass.Kilograms() * c.View.Prices[a.Candidate].InexactFloat64()
	}
	if d := c.Cost.Amount.InexactFloat64() - cost; d > 0.006 || d < -0.006 {
		t.Errorf("costs %s, by the prices %g", c.Cost, cost)
	}
	if !strings.Contains(strings.Join(c.Cautions, " "), "cobalt compounds are hazardous") || !strings.Contains(strings.Join(c.Cautions, " "), "safety data sheets") {
		t.Errorf("cautions: %v", c.Cautions)
	}
	// On the plant's scale, which reads in 5 g.
	weighed := x.correct(app.CorrectRequest{Batch: "b-1", Tests: map[string]float64{"tack_units": 12.2}, Weighing: &app.Weighing{}})
	for _, a := range weighed.Answer.Additions {
		if a.Mass%(5*mass.Gram) != 0 {
			t.Errorf("%s can't be weighed on a scale of 5 g", a.Mass)
		}
	}
	if weighed.Answer.Outcome != formulation.Corrected || weighed.Answer.Added-c.Answer.Added > 200*mass.Gram {
		t.Errorf("%s, %s added where %s are enough", weighed.Answer.Outcome, weighed.Answer.Added, c.Answer.Added)
	}
	heavier := x.correct(app.CorrectRequest{Batch: "b-1", Tests: map[string]float64{"tack_units": 12.2}, LeastMass: true})
	if heavier.Answer.Added > c.Answer.Added+mass.Milligram || heavier.Capacity != 200*mass.Kilogram {
		t.Errorf("least mass adds %s, least cost %s, in a pot of %s", heavier.Answer.Added, c.Answer.Added, heavier.Capacity)
	}
}

// A pot without room is brought back in part; what leaves it finds a place.
func TestWhatLeavesThePotFindsAPlace(t *testing.T) {
	x := newMill(t)
	x.reservedBatch()
	x.batch("b-2", 40, "specification")
	x.batch("b-3", 30, "formula")
	c := x.correct(app.CorrectRequest{Batch: "b-1", Tests: map[string]float64{"tack_units": 12.6}, Capacity: 100 * mass.Kilogram})
	a := c.Answer
	if a.Outcome != formulation.InPart || a.Kept <= 0 || a.Kept >= a.Pot || a.Clash == nil || !a.Clash.Capacity {
		t.Fatalf("%s: %s", a.Outcome, c.Summary)
	}
	into := map[string]app.WorkOffPlace{}
	for _, w := range c.WorkOff {
		into[w.Into] = w
		if w.Share <= 0 || w.Share > 1 || w.Mass > a.Pot-a.Kept || float64(w.Mass) > w.Share*float64(w.Of)+1 {
			t.Errorf("%+v", w)
		}
	}
	if into["specifications/cyan"].Mass == 0 || into["batches/b-2"].Of != 40*mass.Kilogram || into["batches/b-3"].Of != 30*mass.Kilogram {
		t.Errorf("places: %+v", c.WorkOff)
	}
	if !strings.Contains(c.Summary, "can go into") || !strings.Contains(c.Summary, "a pot of 100 kg") {
		t.Error(c.Summary)
	}
}

// Of a finished batch what was canned is corrected, and what quality control
// entered for its lot was measured.
func TestCorrectAFinishedBatch(t *testing.T) {
	x := newMill(t)
	x.reservedBatch()
	_, err := x.book.FinishBatch(context.Background(), app.FinishRequest{Batch: "b-1", Finished: 98 * mass.Kilogram, Lot: "ink-1", Location: "store",
		Request: requestID()})
	if err != nil {
		t.Fatal(err)
	}
	x.update(func(ctx context.Context, tx app.Tx) error {
		rec, err := tx.Lots().Get(ctx, "ink-1")
		if err != nil {
			return err
		}
		rec.Value.Certificate["tack_units"] = 12.1
		_, err = tx.Lots().Update(ctx, rec.Value, rec.Version)
		return err
	})
	c := x.correct(app.CorrectRequest{Batch: "b-1"})
	if c.Answer.Pot < 97_999_990 || c.Answer.Pot > 98_000_010 || c.Answer.Outcome != formulation.Corrected || !strings.Contains(strings.Join(c.View.Assumptions, " "), "counts as measured") {
		t.Errorf("%s in the pot, %s, %v", c.Answer.Pot, c.Answer.Outcome, c.View.Assumptions)
	}
}

func TestBadCorrections(t *testing.T) {
	x := newMill(t)
	x.reservedBatch()
	x.batch("b-2", 40, "specification")
	for field, req := range map[string]app.CorrectRequest{
		"batch":            {},
		"tests[gloss]":     {Batch: "b-1", Tests: map[string]float64{"gloss": 80}},
		"capacity_kg":      {Batch: "b-1", Capacity: 99 * mass.Kilogram},
		"specification":    {Pot: []app.PotComponent{{Candidate: "lots/oil-1", Mass: 1}}},
		"pot[0].candidate": {Specification: "cyan", Pot: []app.PotComponent{{Candidate: "lots/none", Mass: 1}}},
		"pot[1].mass_kg":   {Specification: "cyan", Pot: []app.PotComponent{{Candidate: "lots/oil-1", Mass: 1}, {Candidate: "materials/blue"}}},
		"weighing":         {Batch: "b-1", Weighing: &app.Weighing{Weighing: formulation.Weighing{AtMost: 1}}},
	} {
		_, err := x.book.CorrectBatch(context.Background(), req)
		var bad app.Invalid
		if !errors.As(err, &bad) || bad[0].Field != field {
			t.Errorf("%s: got %v", field, err)
		}
	}
	if _, err := x.book.CorrectBatch(context.Background(), app.CorrectRequest{Batch: "b-2"}); !errors.Is(err, app.ErrNotReady) {
		t.Errorf("a batch without weights: %v", err)
	}
	if _, err := x.book.CorrectBatch(context.Background(), app.CorrectRequest{Batch: "none"}); !errors.Is(err, app.ErrNotFound) {
		t.Errorf("no such batch: %v", err)
	}
}
