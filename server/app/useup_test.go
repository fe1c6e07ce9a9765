package app_test

import (
	"context"
	"testing"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/inventory"
	"millbase/inventory/batch"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/server/app"
	"millbase/solver/formulation"
)

// A varnish lot that expires soon is dearer than a fresh one: it is used when that
// is worth more than the difference, and the answer says what that costs.
func TestUseUpOfWhatExpires(t *testing.T) {
	x := newMill(t)
	x.fill()
	x.specification()
	x.stock("varnish-old", "varnish", 20, "3.90", 12)
	x.stock("varnish-fresh", "varnish", 200, "3.40", 200)
	ask := func(days int, premium string) *app.Optimised {
		req := x.asked()
		req.Book.StockOnly = true
		if days > 0 {
			req.UseUp = &app.UseUp{WithinDays: days, Premium: money.PerKg{Amount: dec(premium)}}
		}
		return x.optimise(req)
	}
	plain := ask(0, "")
	if x.used(plain)["lots/varnish-old"] != 0 || plain.Answer.UseUp != nil {
		t.Fatalf("used without a premium: %v", x.used(plain))
	}
	if o := ask(5, "2"); x.used(o)["lots/varnish-old"] != 0 { // expires in 12 days, asked for in 5
		t.Error("a lot that does not expire by then was preferred")
	}
	o := ask(7, "2")
	if x.used(o)["lots/varnish-old"] != 20*mass.Kilogram {
		t.Fatalf("used: %v", x.used(o))
	}
	use := o.Answer.UseUp
	if extra := o.CostPerKg.Amount.Sub(plain.CostPerKg.Amount).InexactFloat64(); use.Extra < 0.05 || use.Extra-extra > 2e-4 || extra-use.Extra > 2e-4 {
		t.Errorf("the preference costs %g, by the costs %g", use.Extra, extra)
	}
	if use.Lots[0].Premium != 40 || use.Lots[0].KgWithout != 0 {
		t.Errorf("got %+v", use.Lots)
	}
	for i := range o.Answer.Components {
		c := &o.Answer.Components[i]
		if old := o.Problem.Candidates[c.Candidate].ID == "lots/varnish-old"; old != o.UsePremium(c).Equal(dec("40")) {
			t.Errorf("%s earns %s", o.Problem.Candidates[c.Candidate].ID, o.UsePremium(c))
		}
	}
}

func TestBadUseUp(t *testing.T) {
	x := newMill(t)
	x.fill()
	x.specification()
	one := money.PerKg{Amount: dec("1")}
	for field, u := range map[string]app.UseUp{
		"use_up.within_days":     {Premium: one},
		"use_up.premium_per_kg":  {WorkOff: true},
		"use_up.premium_percent": {WorkOff: true, Percent: decimal.NewFromInt(-1)},
	} {
		req := x.asked()
		req.UseUp = &u
		_, err := x.book.Optimise(context.Background(), req)
		refusedField(t, err, field)
	}
	req := x.asked()
	req.UseUp = &app.UseUp{WorkOff: true, Premium: money.PerKg{Currency: "USD", Amount: dec("1")}}
	_, err := x.book.Optimise(context.Background(), req)
	refusedField(t, err, "use_up.premium_per_kg")
}

func refusedField(t *testing.T, err error, field string) {
	t.Helper()
	bad, ok := err.(app.Invalid)
	if !ok || bad[0].Field != field {
		t.Errorf("want %s refused, got %v", field, err)
	}
}

// Leftover ink whose certificate is silent is what its batch was made of; what
// was measured on the lot counts before that.
func TestLeftoverInkIsWhatWentIn(t *testing.T) {
	x := newMill(t)
	x.fill()
	x.specification()
	x.material("leftover", "Leftover cyan", inventory.WorkOff, "", "", nil)
	x.plan(batch.Batch{ID: "b-made", Specification: "cyan", Material: "cyan", Quantity: 10 * mass.Kilogram, DueDate: x.today, State: batch.Planned})
	x.stock("left-1", "leftover", 9, "0.10", 100, func(l *app.StockLot) {
		l.Batch, l.Certificate = "b-made", property.Set{"tack_units": 10}
	})
	x.update(func(ctx context.Context, tx app.Tx) error {
		rec, err := tx.Batches().Get(ctx, "b-made")
		if err != nil {
			return err
		}
		made := rec.Value
		made.State, made.FinishedMass, made.FinishedLot, made.FinishedAt = batch.Finished, 9*mass.Kilogram, "left-1", x.today
		made.Properties = property.Set{"density_kg_per_l": 1.1, "tack_units": 9}
		_, err = tx.Batches().Update(ctx, made, rec.Version)
		return err
	})
	req := x.asked()
	req.Specification, req.Book.Materials, req.Quantity = "", []string{"leftover"}, 5*mass.Kilogram
	low := 0.5
	req.Limits = []formulation.Limit{
		{ID: "density", Kind: formulation.Blended, Property: "density_kg_per_l", Lower: &low},
		{ID: "tack", Kind: formulation.Blended, Property: "tack_units", Lower: &low},
	}
	o := x.optimise(req)
	x.used(o)
	if d, tack := o.Answer.Limits[0].Value, o.Answer.Limits[1].Value; d < 1.0999 || d > 1.1001 || tack < 9.999 || tack > 10.001 {
		t.Errorf("density %g, tack %g", d, tack)
	}
}
