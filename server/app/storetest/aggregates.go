package storetest

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"millbase/costing/purchase"
	"millbase/inventory"
	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/server/app"
	"millbase/solver/colour"
	"millbase/solver/formulation"
)

// aggregate is one aggregate under test.
type aggregate[T any] struct {
	repo func(app.Tx) app.Repo[T]
	draw func(t *rapid.T, id string) T
	id   func(T) string
	// fields that a list can be filtered by, each with the value that v has.
	fields func(v T) map[string]string
}

func testAggregates(t *testing.T, open func(t *testing.T) app.Store) {
	s := open(t)
	seedBook(t, s)
	run(t, s, "properties", aggregate[property.Definition]{func(x app.Tx) app.Repo[property.Definition] { return x.Properties() }, drawProperty,
		func(v property.Definition) string { return v.Name },
		func(v property.Definition) map[string]string {
			return map[string]string{"name": v.Name, "built_in": fmt.Sprint(v.BuiltIn)}
		}})
	run(t, s, "materials", aggregate[app.BookMaterial]{func(x app.Tx) app.Repo[app.BookMaterial] { return x.Materials() }, drawMaterial,
		func(v app.BookMaterial) string { return v.ID },
		func(v app.BookMaterial) map[string]string {
			return map[string]string{"class": string(v.Class), "archived": fmt.Sprint(v.Archived), "safety_stock": v.SafetyStock.Decimal()}
		}})
	run(t, s, "suppliers", aggregate[purchase.Supplier]{func(x app.Tx) app.Repo[purchase.Supplier] { return x.Suppliers() }, drawSupplier,
		func(v purchase.Supplier) string { return v.ID },
		func(v purchase.Supplier) map[string]string { return map[string]string{"currency": v.Currency} }})
	run(t, s, "offers", aggregate[purchase.Offer]{func(x app.Tx) app.Repo[purchase.Offer] { return x.Offers() }, drawOffer,
		func(v purchase.Offer) string { return v.Supplier + "/" + v.ID },
		func(v purchase.Offer) map[string]string {
			return map[string]string{"supplier": v.Supplier, "material": v.Material}
		}})
	testOutlooks(t, s)
	run(t, s, "lots", aggregate[app.StockLot]{func(x app.Tx) app.Repo[app.StockLot] { return x.Lots() }, drawLot,
		func(v app.StockLot) string { return v.ID },
		func(v app.StockLot) map[string]string {
			return map[string]string{"material": v.Material, "status": string(v.Status), "supplier": v.Supplier, "batch": v.Batch}
		}})
	run(t, s, "specifications", aggregate[formulation.Specification]{func(x app.Tx) app.Repo[formulation.Specification] { return x.Specifications() }, drawSpecification,
		func(v formulation.Specification) string { return v.ID },
		func(v formulation.Specification) map[string]string { return map[string]string{"material": v.Material} }})
	run(t, s, "batches", aggregate[batch.Batch]{func(x app.Tx) app.Repo[batch.Batch] { return x.Batches() }, drawBatch,
		func(v batch.Batch) string { return v.ID },
		func(v batch.Batch) map[string]string {
			return map[string]string{"state": string(v.State), "formula": v.Formula, "finished_lot": v.FinishedLot}
		}})
	run(t, s, "purchase orders", aggregate[purchase.Order]{func(x app.Tx) app.Repo[purchase.Order] { return x.PurchaseOrders() }, drawOrder,
		func(v purchase.Order) string { return v.ID },
		func(v purchase.Order) map[string]string {
			return map[string]string{"supplier": v.Supplier, "state": string(v.State)}
		}})
	run(t, s, "quotes", aggregate[app.StoredQuote]{func(x app.Tx) app.Repo[app.StoredQuote] { return x.Quotes() }, drawQuote,
		func(v app.StoredQuote) string { return v.ID },
		func(v app.StoredQuote) map[string]string {
			return map[string]string{"customer": v.Customer, "state": v.State}
		}})
	run(t, s, "substrates", aggregate[app.Substrate]{func(x app.Tx) app.Repo[app.Substrate] { return x.Substrates() }, drawSubstrate,
		func(v app.Substrate) string { return v.ID },
		func(v app.Substrate) map[string]string { return map[string]string{"title": v.Title} }})
	run(t, s, "characterisations", aggregate[app.Characterisation]{func(x app.Tx) app.Repo[app.Characterisation] { return x.Characterisations() }, drawCharacterisation,
		func(v app.Characterisation) string { return v.ID },
		func(v app.Characterisation) map[string]string {
			return map[string]string{"material": v.Material, "substrate": v.Substrate, "opaque": fmt.Sprint(v.Opaque), "superseded": fmt.Sprint(v.Superseded)}
		}})
	run(t, s, "keys", aggregate[app.APIKey]{func(x app.Tx) app.Repo[app.APIKey] { return x.Keys() }, drawKey,
		func(v app.APIKey) string { return v.ID },
		func(v app.APIKey) map[string]string {
			return map[string]string{"role": v.Role, "digest": fmt.Sprintf("%x", v.Digest)}
		}})
	t.Run("current characterisations", func(t *testing.T) { testColours(t, s) })
	t.Run("tests of lots", func(t *testing.T) { testLotTests(t, s) })
	t.Run("quote revisions", func(t *testing.T) { testQuoteRevisions(t, s) })
	t.Run("offers' prices", func(t *testing.T) { testOfferPrices(t, s) })
	t.Run("formulas", func(t *testing.T) { testFormulas(t, s) })
	t.Run("plant", func(t *testing.T) { testPlant(t, s) })
	t.Run("request ids", func(t *testing.T) { testOnce(t, s) })
	t.Run("unknown references", func(t *testing.T) { testReferences(t, s) })
}

// seedBook makes what the drawn values refer to.
func seedBook(t *testing.T, s app.Store) {
	seedLot(t, s, "l-1")
	update(t, s, func(tx app.Tx) error {
		_, err := tx.Suppliers().Create(t.Context(), purchase.Supplier{ID: "s-1", Currency: "EUR"})
		if err == nil {
			_, err = tx.Substrates().Create(t.Context(), app.Substrate{ID: "paper-1", FilmGPerM2: 1, Curve: colour.Curve{Step: 10, Values: []float64{1}}})
		}
		if err == nil {
			_, err = tx.Specifications().Create(t.Context(), formulation.Specification{ID: "sp-1"})
		}
		if err == nil {
			_, err = tx.Formulas().Create(t.Context(), formula.Formula{ID: "f-1", Material: "m-1"})
		}
		return err
	})
}

func run[T any](t *testing.T, s app.Store, name string, a aggregate[T]) {
	t.Run(name, func(t *testing.T) {
		n := 0
		rapid.Check(t, func(rt *rapid.T) {
			n++
			a.roundTrip(t, rt, s, fmt.Sprintf("x-%06d", n))
		})
		a.pages(t, s)
		a.refusals(t, s)
	})
}

// roundTrip creates, reads, filters and replaces a drawn value.
func (a aggregate[T]) roundTrip(t *testing.T, rt *rapid.T, s app.Store, id string) {
	v, w := a.draw(rt, id), a.draw(rt, id)
	err := s.Update(t.Context(), func(ctx context.Context, tx app.Tx) error {
		repo := a.repo(tx)
		made, err := repo.Create(ctx, v)
		if err != nil {
			return err
		}
		same(rt, "created", made.Value, v)
		got, err := repo.Get(ctx, a.id(v))
		if err != nil {
			return err
		}
		same(rt, "read", got, made)
		for field, value := range a.fields(v) {
			list, err := repo.List(ctx, app.Query{Where: []app.Condition{{Field: field, Op: "=", Value: value}}})
			if err != nil {
				return err
			}
			found := false
			for _, r := range list {
				found = found || a.id(r.Value) == a.id(v)
			}
			if !found {
				rt.Errorf("%s = %q does not find %s among %d", field, value, a.id(v), len(list))
			}
		}
		changed, err := repo.Update(ctx, w, made.Version)
		if err != nil {
			return err
		}
		same(rt, "replaced", changed.Value, w)
		if changed.Version != made.Version+1 || changed.UpdatedAt.Before(made.UpdatedAt) || !changed.CreatedAt.Equal(made.CreatedAt) {
			rt.Errorf("version %d after %d, times %v %v", changed.Version, made.Version, changed.CreatedAt, changed.UpdatedAt)
		}
		if _, err := repo.Update(ctx, v, made.Version); !errors.Is(err, app.ErrStale) {
			rt.Errorf("an old version: %v", err)
		}
		_, err = repo.Update(ctx, v, 0)
		return err
	})
	if err != nil {
		rt.Fatal(err)
	}
}

// pages reads everything page by page and in one go.
func (a aggregate[T]) pages(t *testing.T, s app.Store) {
	view(t, s, func(tx app.Tx) error {
		all, err := a.repo(tx).List(t.Context(), app.Query{})
		if err != nil {
			return err
		}
		var paged []app.Record[T]
		for after := ""; ; {
			page, err := a.repo(tx).List(t.Context(), app.Query{After: after, Limit: 7})
			if err != nil || len(page) == 0 {
				equal(t, "pages", paged, all)
				return err
			}
			paged = append(paged, page...)
			after = a.id(page[len(page)-1].Value)
		}
	})
}

// refusals are the errors that every aggregate has.
func (a aggregate[T]) refusals(t *testing.T, s app.Store) {
	v := rapid.Custom(func(rt *rapid.T) T { return a.draw(rt, "x-once") }).Example(1)
	update(t, s, func(tx app.Tx) error {
		_, err := a.repo(tx).Update(t.Context(), v, 0)
		wantFault(t, err, app.ErrNotFound, "there is no")
		_, err = a.repo(tx).Get(t.Context(), a.id(v))
		wantFault(t, err, app.ErrNotFound, a.id(v))
		_, err = a.repo(tx).Create(t.Context(), v)
		return err
	})
	err := s.Update(t.Context(), func(ctx context.Context, tx app.Tx) error {
		_, err := a.repo(tx).Create(ctx, v)
		return err
	})
	wantFault(t, err, app.ErrExists, "exists already")
	for _, c := range []app.Condition{{Field: "no such field", Op: "=", Value: "1"}, {Field: "id; DROP TABLE lot", Op: "=", Value: "1"}} {
		err := s.View(t.Context(), func(ctx context.Context, tx app.Tx) error {
			_, err := a.repo(tx).List(ctx, app.Query{Where: []app.Condition{c}})
			return err
		})
		var invalid app.Invalid
		if !errors.As(err, &invalid) || invalid[0].Field != "filter" {
			t.Errorf("filter by %q: %v", c.Field, err)
		}
	}
}

func testReferences(t *testing.T, s app.Store) {
	for field, f := range map[string]func(tx app.Tx) error{
		"material": func(tx app.Tx) error {
			_, err := tx.Lots().Create(t.Context(), app.StockLot{Lot: lot.Lot{ID: "l-x", Material: "nowhere", Status: lot.Held}})
			return err
		},
		"supplier": func(tx app.Tx) error {
			_, err := tx.PurchaseOrders().Create(t.Context(), purchase.Order{ID: "po-x", Supplier: "nowhere", State: purchase.Draft})
			return err
		},
		"formula": func(tx app.Tx) error {
			_, err := tx.Batches().Create(t.Context(), batch.Batch{ID: "b-x", Formula: "nowhere", FormulaRevision: 3, Material: "m-1", Quantity: mass.Gram, State: batch.Planned})
			return err
		},
		"class": func(tx app.Tx) error {
			_, err := tx.Materials().Create(t.Context(), app.BookMaterial{Material: inventory.Material{ID: "m-x", Class: "gold"}})
			return err
		},
	} {
		err := s.Update(t.Context(), func(_ context.Context, tx app.Tx) error { return f(tx) })
		var invalid app.Invalid
		if !errors.As(err, &invalid) || invalid[0].Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
}

func testOnce(t *testing.T, s app.Store) {
	r := app.Request{ID: "r-1", Method: "CreateLot", Digest: []byte{1}}
	once := func(r app.Request, resource string) (seen string, err error) {
		err = s.Update(t.Context(), func(ctx context.Context, tx app.Tx) (err error) {
			seen, err = tx.Once(ctx, r, resource)
			return err
		})
		return seen, err
	}
	for i, want := range []string{"", "lots/l-1"} {
		if seen, err := once(r, []string{"lots/l-1", "lots/l-2"}[i]); err != nil || seen != want {
			t.Errorf("call %d: %q, %v; want %q", i+1, seen, err, want)
		}
	}
	r.Digest = []byte{2}
	_, err := once(r, "lots/l-3")
	wantFault(t, err, app.ErrIDReused, "r-1")
}

func testPlant(t *testing.T, s app.Store) {
	version := int64(0)
	rapid.Check(t, func(rt *rapid.T) {
		p := drawPlant(rt)
		err := s.Update(t.Context(), func(ctx context.Context, tx app.Tx) error {
			put, err := tx.Plant().Put(ctx, p, version)
			if err != nil {
				return err
			}
			version = put.Version
			got, err := tx.Plant().Get(ctx)
			same(rt, "plant", got.Value, p)
			return err
		})
		if err != nil {
			rt.Fatal(err)
		}
	})
	err := s.Update(t.Context(), func(ctx context.Context, tx app.Tx) error {
		_, err := tx.Plant().Put(ctx, app.Plant{TimeZone: "UTC"}, version+7)
		return err
	})
	wantFault(t, err, app.ErrStale, "has changed")
}

// same compares by what a caller sees: decimals by value, times by instant.
func same(t *rapid.T, what string, got, want any) {
	t.Helper()
	g, err1 := json.Marshal(got)
	w, err2 := json.Marshal(want)
	if err1 != nil || err2 != nil {
		t.Fatal(err1, err2)
	}
	if string(g) != string(w) {
		t.Errorf("%s:\n got %s\nwant %s", what, g, w)
	}
}
