package app_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/shopspring/decimal"

	"millbase/costing/purchase"
	"millbase/inventory"
	"millbase/inventory/formula"
	"millbase/inventory/ledger"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/server/app"
	"millbase/server/postgres/pgtest"
	"millbase/solver/engines"
	"millbase/solver/formulation"
)

var dec = decimal.RequireFromString

// mill is an invented small plant on a real Postgres.
type mill struct {
	t     *testing.T
	book  *app.Book
	store app.Store
	today time.Time
}

func newMill(t *testing.T) *mill {
	store := pgtest.New(t)
	y, m, d := time.Now().UTC().Date()
	x := &mill{t: t, store: store, today: time.Date(y, m, d, 0, 0, 0, 0, time.UTC),
		book: app.New(store, engines.New(), time.Now)}
	x.update(func(ctx context.Context, tx app.Tx) error {
		_, err := tx.Plant().Put(ctx, app.Plant{Title: "Mill", Currency: "EUR", TimeZone: "UTC", WaterDensityKgPerL: 0.997, ScaleDivision: 5 * mass.Gram,
			Rates: []app.ExchangeRate{{Currency: "USD", Rate: dec("0.90"), Date: x.today}}}, 0)
		return err
	})
	x.material("blue", "Phthalo blue", inventory.Pigment, "PB15:3", "12.00", property.Set{"density_kg_per_l": 1.6, "pigment_fraction": 1, "tack_units": 10})
	x.material("varnish", "Alkyd varnish", inventory.Varnish, "", "3.50", property.Set{"density_kg_per_l": 1.02, "binder_solids_fraction": 0.7, "volatile_fraction": 0.3, "tack_units": 13})
	x.material("oil", "Mineral oil", inventory.Oil, "", "1.80", property.Set{"density_kg_per_l": 0.82, "volatile_fraction": 1, "tack_units": 1})
	x.material("drier", "Cobalt drier", inventory.Drier, "", "9.00", property.Set{"density_kg_per_l": 0.95, "metal_fraction/cobalt": 0.1, "volatile_fraction": 0.3, "tack_units": 2})
	x.material("cyan", "Sheetfed cyan", inventory.Ink, "", "", nil)
	x.material("tin", "Tin 1 kg", inventory.Packaging, "", "0.40", nil)
	return x
}

func (x *mill) update(f func(context.Context, app.Tx) error) {
	x.t.Helper()
	if err := x.store.Update(context.Background(), f); err != nil {
		x.t.Fatal(err)
	}
}

func (x *mill) material(id, title string, class inventory.Class, ci, standard string, s property.Set) {
	x.t.Helper()
	m := app.BookMaterial{Material: inventory.Material{ID: id, Title: title, Class: class, ColourIndex: ci, Properties: s, ShelfLifeDays: 365}}
	if standard != "" {
		m.StandardCostPerKg = dec(standard)
	}
	if class == inventory.Drier {
		m.Cautions = []string{"Harmful if swallowed."}
	}
	x.update(func(ctx context.Context, tx app.Tx) error {
		_, err := tx.Materials().Create(ctx, m)
		return err
	})
}

// stock receives a lot: kg at cost, expiring in days (0: never).
func (x *mill) stock(id, material string, kg mass.Mass, cost string, days int, change ...func(*app.StockLot)) {
	x.t.Helper()
	l := app.StockLot{Lot: lot.Lot{ID: id, Material: material, Status: lot.Released, ReceivedDate: x.today.AddDate(0, -1, 0)},
		Cost: app.LotCost{CostPerKg: dec(cost), PricePerKg: dec(cost), PriceCurrency: "EUR", ExchangeRate: decimal.NewFromInt(1)}}
	if days != 0 {
		l.ExpiryDate = x.today.AddDate(0, 0, days)
	}
	for _, f := range change {
		f(&l)
	}
	receipt, err := ledger.NewReceipt(ledger.Head{ID: uuid.NewString()}, ledger.Place{Lot: id, Location: "a-1"}, "", kg*mass.Kilogram)
	if err != nil {
		x.t.Fatal(err)
	}
	x.update(func(ctx context.Context, tx app.Tx) error {
		if _, err := tx.Suppliers().Get(ctx, "acme"); err != nil {
			if _, err := tx.Suppliers().Create(ctx, purchase.Supplier{ID: "acme", Title: "A supplier", Currency: "USD", LeadTimeDays: 7}); err != nil {
				return err
			}
		}
		receipt.Entries[0].Account.Party = "acme"
		if _, err := tx.Lots().Create(ctx, l); err != nil {
			return err
		}
		return tx.Ledger().Post(ctx, receipt)
	})
}

func (x *mill) offer(o purchase.Offer) {
	x.t.Helper()
	o.Supplier = "acme"
	x.update(func(ctx context.Context, tx app.Tx) error {
		_, err := tx.Offers().Create(ctx, o)
		return err
	})
}

func (x *mill) reserve(lotID string, kg mass.Mass) {
	x.t.Helper()
	_, _, err := x.store.Reserve(context.Background(), ledger.Reservation{ID: uuid.NewString(), Lot: lotID, Location: "a-1", Quantity: kg * mass.Kilogram, Remaining: kg * mass.Kilogram})
	if err != nil {
		x.t.Fatal(err)
	}
}

// specification is that of the sheetfed cyan: wide enough that the stock of the
// tests meets it.
func (x *mill) specification() {
	x.t.Helper()
	_, err := x.book.CreateSpecification(context.Background(), formulation.Specification{ID: "cyan", Title: "Sheetfed cyan", Material: "cyan",
		Limits: []formulation.Limit{
			{ID: "pigment", Title: "pigment loading", Kind: formulation.PigmentLoading, ColourIndex: "PB15:3", ByStrength: true, Lower: at(0.18), Upper: at(0.22)},
			{ID: "voc", Title: "VOC", Kind: formulation.VOCContent, Upper: at(320)},
			{ID: "tack", Title: "tack", Kind: formulation.Blended, Property: property.TackUnits, Lower: at(8), Upper: at(12)},
			{ID: "cobalt", Title: "cobalt", Kind: formulation.MetalOnBinder, Metal: "cobalt", Lower: at(0.03), Upper: at(0.08)},
		}}, app.Request{})
	if err != nil {
		x.t.Fatal(err)
	}
}

// formulaOf is 18 % blue, 70 % varnish, 11.5 % oil, 0.5 % drier, released.
func (x *mill) formulaOf(yield int64) {
	x.t.Helper()
	_, err := x.book.CreateFormula(context.Background(), formula.Formula{ID: "cyan", Title: "Sheetfed cyan", Material: "cyan", YieldPartsPerMillion: yield,
		Ingredients: []formula.Ingredient{{Material: "drier", PartsPerMillion: 5_000}, {Material: "blue", PartsPerMillion: 180_000},
			{Material: "varnish", PartsPerMillion: 700_000}, {Material: "oil", PartsPerMillion: 115_000}},
		Route: []formula.RouteStep{{Step: formula.Premix, Passes: 1}, {Step: formula.ThreeRoll, Passes: 2}}}, app.Request{})
	if err == nil {
		_, err = x.book.ReleaseFormula(context.Background(), "cyan@1", true)
	}
	if err != nil {
		x.t.Fatal(err)
	}
}

// fill puts enough of everything into stock.
func (x *mill) fill() {
	x.stock("blue-1", "blue", 100, "12.00", 100)
	x.stock("varnish-1", "varnish", 400, "3.20", 200)
	x.stock("oil-1", "oil", 200, "1.70", 0)
	x.stock("drier-1", "drier", 10, "9.10", 300)
}

func (x *mill) balances() map[string]ledger.Balance {
	x.t.Helper()
	out := map[string]ledger.Balance{}
	err := x.store.View(context.Background(), func(ctx context.Context, tx app.Tx) error {
		list, err := tx.Stock().Balances(ctx, app.Query{}, time.Time{})
		for _, b := range list {
			out[b.Lot+" at "+b.Location] = b.Balance
		}
		return err
	})
	if err != nil {
		x.t.Fatal(err)
	}
	return out
}

func (x *mill) checkLedger() {
	x.t.Helper()
	err := x.store.View(context.Background(), func(ctx context.Context, tx app.Tx) error {
		c, err := tx.Stock().Check(ctx)
		if err == nil && len(c.Differences) > 0 {
			err = fmt.Errorf("balances differ from the ledger: %+v", c.Differences)
		}
		return err
	})
	if err != nil {
		x.t.Error(err)
	}
}

func requestID() app.Request {
	return app.Request{ID: uuid.NewString(), Method: "FinishBatch", Digest: []byte("the same")}
}
