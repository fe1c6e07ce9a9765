package app_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"millbase/costing/purchase"
	"millbase/inventory"
	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/server/app"
	"millbase/server/postgres/pgtest"
)

const kilo = mass.Kilogram

// newWorks is an invented plant of round figures, on Monday 2 November 2026 at
// 08:00: one shift from 08:00 to 16:00 on working days, 10 % overhead, 25 %
// margin, a day for the quality release.
//
//	blue, varnish, drier     bought; 12, 3.50 and 9 EUR/kg standard
//	base-blue                40 % blue, 60 % varnish; premix, three-roll mill twice
//	cyan                     50 % base-blue, 49 % varnish, 1 % drier, yield 80 %;
//	                         let-down, quality test, canning
func newWorks(t *testing.T) *mill {
	t.Helper()
	store := pgtest.New(t)
	now := time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)
	x := &mill{t: t, store: store, today: time.Date(2026, 11, 2, 0, 0, 0, 0, time.UTC),
		book: app.New(store, nil, func() time.Time { return now })}
	x.figures(worksPlant())
	x.material("blue", "Phthalo blue", inventory.Pigment, "PB15:3", "12.00", nil)
	x.material("varnish", "Alkyd varnish", inventory.Varnish, "", "3.50", nil)
	x.material("drier", "Cobalt drier", inventory.Drier, "", "9.00", nil)
	x.material("base-blue", "Base blue", inventory.BaseInk, "", "", nil)
	x.material("cyan", "Sheetfed cyan", inventory.Ink, "", "", nil)
	x.released(formula.Formula{ID: "base-blue", Title: "Base blue 40", Material: "base-blue",
		Ingredients: []formula.Ingredient{{Material: "blue", PartsPerMillion: 400_000}, {Material: "varnish", PartsPerMillion: 600_000}},
		Route:       []formula.RouteStep{{Step: formula.Premix, Passes: 1}, {Step: formula.ThreeRoll, Passes: 2}}})
	x.released(formula.Formula{ID: "cyan", Title: "Cyan, secret recipe", Material: "cyan", YieldPartsPerMillion: 800_000,
		Ingredients: []formula.Ingredient{{Material: "base-blue", PartsPerMillion: 500_000}, {Material: "varnish", PartsPerMillion: 490_000},
			{Material: "drier", PartsPerMillion: 10_000}},
		Route: []formula.RouteStep{{Step: formula.LetDown, Passes: 1}, {Step: formula.QualityTest, Passes: 1}, {Step: formula.Canning, Passes: 1}}})
	x.update(func(ctx context.Context, tx app.Tx) error {
		_, err := tx.Suppliers().Create(ctx, purchase.Supplier{ID: "acme", Title: "A supplier", Currency: "USD", LeadTimeDays: 3})
		return err
	})
	return x
}

func worksPlant() app.Plant {
	p := app.Plant{Title: "Works", Currency: "EUR", TimeZone: "UTC", ScaleDivision: mass.Gram, OverheadPercent: dec("10"), MarginPercent: dec("25"),
		LaboratoryCharge: dec("85"), QualityReleaseDays: 1, OverDeliveryPercent: dec("10"),
		Rates: []app.ExchangeRate{{Currency: "USD", Rate: dec("0.90"), Date: time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)}},
		Packs: []app.Pack{{ID: "tin-1", Title: "Tin of 1 kg", Holds: kilo, Cost: dec("0.50")}, {ID: "pail-20", Title: "Pail of 20 kg", Holds: 20 * kilo, Cost: dec("3")}},
		Machines: []app.Machine{
			{ID: "mixer-small", Title: "Small mixer", Steps: []string{"premix", "let_down"}, Capacity: 100 * kilo, MinutesPerBatch: 60, SetupMinutes: 10, WashUpMinutes: 20, RatePerHour: dec("30")},
			{ID: "mixer-big", Title: "Big mixer", Steps: []string{"premix", "let_down"}, Capacity: 500 * kilo, MinutesPerBatch: 60, SetupMinutes: 30, WashUpMinutes: 30, RatePerHour: dec("60")},
			{ID: "roll", Title: "Three-roll mill", Steps: []string{"three_roll_mill", "final_three_roll_pass"}, KgPerHour: dec("100"), SetupMinutes: 15, WashUpMinutes: 45, RatePerHour: dec("45")},
			{ID: "bench", Title: "Bench", Steps: []string{"quality_test"}, MinutesPerBatch: 60, RatePerHour: dec("40")},
			{ID: "filler", Title: "Filler", Steps: []string{"canning"}, KgPerHour: dec("200"), RatePerHour: dec("36")},
		}}
	for day := time.Monday; day <= time.Friday; day++ {
		p.Shifts = append(p.Shifts, app.Shift{Weekday: day, FromMinute: 8 * 60, ToMinute: 16 * 60})
	}
	return p
}

func (x *mill) figures(p app.Plant) {
	x.t.Helper()
	x.update(func(ctx context.Context, tx app.Tx) error {
		_, err := tx.Plant().Put(ctx, p, 0)
		return err
	})
}

func (x *mill) released(f formula.Formula) {
	x.t.Helper()
	ctx := context.Background()
	rec, err := x.book.CreateFormula(ctx, f, app.Request{})
	if err == nil {
		_, err = x.book.ReleaseFormula(ctx, fmt.Sprintf("%s@%d", rec.Value.ID, rec.Value.Revision), true)
	}
	if err != nil {
		x.t.Fatal(err)
	}
}

func (x *mill) day(n int) time.Time { return x.today.AddDate(0, 0, n) }

// sent puts a sent order of the supplier acme into the book.
func (x *mill) sent(id, material string, kg mass.Mass, due int) {
	x.t.Helper()
	x.update(func(ctx context.Context, tx app.Tx) error {
		_, err := tx.PurchaseOrders().Create(ctx, purchase.Order{ID: id, Supplier: "acme", Currency: "USD", State: purchase.Sent,
			Lines: []purchase.Line{{Material: material, Quantity: kg, PricePerKg: dec("10"), DueDate: x.day(due)}}})
		return err
	})
}

func (x *mill) plan(b batch.Batch) {
	x.t.Helper()
	b.State = batch.Planned
	x.update(func(ctx context.Context, tx app.Tx) error {
		_, err := tx.Batches().Create(ctx, b)
		return err
	})
}

func as(role app.Role) context.Context {
	return app.WithCaller(context.Background(), app.Caller{Key: "k", Role: role})
}
