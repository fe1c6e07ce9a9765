package storetest

import (
	"context"
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"millbase/inventory"
	"millbase/inventory/ledger"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
	"millbase/server/app"
)

type contextT = context.Context

// Run runs the suite. open gives a store on an empty, migrated database.
func Run(t *testing.T, open func(t *testing.T) app.Store) {
	t.Run("aggregates", func(t *testing.T) { testAggregates(t, open) })
	t.Run("ledger", func(t *testing.T) { testLedger(t, open) })
	t.Run("concurrency", func(t *testing.T) { testConcurrency(t, open) })
}

func must(m ledger.Movement, err error) func(*testing.T) ledger.Movement {
	return func(t *testing.T) ledger.Movement {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
}

func head() ledger.Head { return ledger.Head{ID: uuid.NewString()} }

func main(l string) ledger.Place { return ledger.Place{Lot: l, Location: "main"} }

func update(t *testing.T, s app.Store, f func(app.Tx) error) {
	t.Helper()
	if err := s.Update(t.Context(), func(_ context.Context, tx app.Tx) error { return f(tx) }); err != nil {
		t.Fatal(err)
	}
}

func view(t *testing.T, s app.Store, f func(app.Tx) error) {
	t.Helper()
	if err := s.View(t.Context(), func(_ context.Context, tx app.Tx) error { return f(tx) }); err != nil {
		t.Fatal(err)
	}
}

// seedLot makes a released lot, with its material when there is none.
func seedLot(t *testing.T, s app.Store, id string) string {
	t.Helper()
	update(t, s, func(tx app.Tx) error {
		if _, err := tx.Materials().Get(t.Context(), "m-1"); errors.Is(err, app.ErrNotFound) {
			if _, err := tx.Materials().Create(t.Context(), app.BookMaterial{Material: inventory.Material{ID: "m-1", Title: "A varnish", Class: inventory.Varnish}}); err != nil {
				return err
			}
		}
		_, err := tx.Lots().Create(t.Context(), app.StockLot{Lot: lot.Lot{ID: id, Material: "m-1", Status: lot.Released}})
		return err
	})
	return id
}

func receive(t *testing.T, s app.Store, l string, quantity mass.Mass) ledger.Movement {
	t.Helper()
	m, _, err := s.Post(t.Context(), must(ledger.NewReceipt(head(), main(l), "s-1", quantity))(t))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func reserve(t *testing.T, s app.Store, l string, quantity mass.Mass) ledger.Reservation {
	t.Helper()
	r, _, err := s.Reserve(t.Context(), ledger.Reservation{ID: uuid.NewString(), Lot: l, Location: "main", Quantity: quantity})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func checkBalance(t *testing.T, s app.Store, l string, onHand, reserved mass.Mass) {
	t.Helper()
	var got ledger.Balance
	view(t, s, func(tx app.Tx) error {
		list, err := tx.Stock().Balances(t.Context(), app.Query{Where: []app.Condition{
			{Field: "lot", Op: "=", Value: l}, {Field: "location", Op: "=", Value: "main"}}}, noTime)
		if len(list) > 0 {
			got = list[0].Balance
		}
		return err
	})
	if got.OnHand != onHand || got.Reserved != reserved {
		t.Errorf("lot %s: %s on hand, %s reserved; want %s, %s", l, got.OnHand, got.Reserved, onHand, reserved)
	}
}

// checkLedger rebuilds the balances and fails when they differ.
func checkLedger(t *testing.T, s app.Store) app.LedgerCheck {
	t.Helper()
	var c app.LedgerCheck
	view(t, s, func(tx app.Tx) (err error) {
		c, err = tx.Stock().Check(t.Context())
		return err
	})
	if len(c.Differences) > 0 {
		t.Errorf("balances differ from the ledger: %+v", c.Differences)
	}
	return c
}

// wantFault checks the sentinel and a part of the sentence.
func wantFault(t *testing.T, err, kind error, part string) {
	t.Helper()
	if !errors.Is(err, kind) || !strings.Contains(err.Error(), part) {
		t.Errorf("got %v, want %v with %q", err, kind, part)
	}
}

func equal(t *testing.T, what string, got, want any) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s:\n got %+v\nwant %+v", what, got, want)
	}
}

// noTime asks for stock as it is now.
var noTime time.Time
