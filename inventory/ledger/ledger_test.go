package ledger_test

import (
	"errors"
	"testing"

	"pgregory.net/rapid"

	"millbase/inventory/ledger"
	"millbase/inventory/mass"
)

var (
	head = ledger.Head{ID: "6f1c0a5e-7d7b-4f0e-9a54-2f4b8f0f5d11", Note: "test", Actor: "store"}
	at   = ledger.Place{Lot: "l-1", Location: "main"}
)

// built is every kind of movement of a quantity.
func built(t *rapid.T) ledger.Movement {
	q := mass.Mass(rapid.Int64Range(1, int64(mass.Max/2)).Draw(t, "quantity"))
	loss := mass.Mass(rapid.Int64Range(0, int64(mass.Max/2)).Draw(t, "loss"))
	build := []func() (ledger.Movement, error){
		func() (ledger.Movement, error) { return ledger.NewReceipt(head, at, "s", q) },
		func() (ledger.Movement, error) {
			return ledger.NewIssue(head, at, ledger.Destination{Batch: "b-1", Reservation: "r-1"}, q)
		},
		func() (ledger.Movement, error) {
			return ledger.NewIssue(head, at, ledger.Destination{Customer: "a printer"}, q)
		},
		func() (ledger.Movement, error) { return ledger.NewAdjustment(head, at, q) },
		func() (ledger.Movement, error) { return ledger.NewAdjustment(head, at, -q) },
		func() (ledger.Movement, error) { return ledger.NewTransfer(head, at, "mill-room", q) },
		func() (ledger.Movement, error) { return ledger.NewReturn(head, at, "s", q) },
		func() (ledger.Movement, error) { return ledger.NewBatchReturn(head, at, "b-1", q) },
		func() (ledger.Movement, error) { return ledger.NewScrap(head, at, q) },
		func() (ledger.Movement, error) { return ledger.NewProduction(head, at, "b-1", q, loss) },
	}
	m, err := build[rapid.IntRange(0, len(build)-1).Draw(t, "kind")]()
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestEveryMovementSumsToZeroAndSoDoesItsReversal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := built(t)
		if err := m.Validate(); err != nil {
			t.Fatalf("%s: %v", m.Kind, err)
		}
		undone, err := ledger.NewReversal(ledger.Head{ID: "other"}, m)
		if err != nil {
			t.Fatal(err)
		}
		if err := undone.Validate(); err != nil || undone.Reverses != m.ID {
			t.Fatalf("reversal: %v, of %q", err, undone.Reverses)
		}
		net := map[ledger.Entry]mass.Mass{}
		for _, e := range append(append([]ledger.Entry{}, m.Entries...), undone.Entries...) {
			q := e.Quantity
			e.Quantity = 0
			net[e] += q
		}
		for account, q := range net {
			if q != 0 {
				t.Fatalf("%v is left with %s after the reversal", account, q)
			}
		}
		if _, err := ledger.NewReversal(head, undone); !errors.Is(err, ledger.ErrReversal) {
			t.Fatalf("a reversal was reversed: %v", err)
		}
	})
}

// One changed entry must not pass: the oracle is the definition of balance.
func TestValidateFindsTheUnbalanced(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := built(t)
		i := rapid.IntRange(0, len(m.Entries)-1).Draw(t, "entry")
		by := mass.Mass(rapid.Int64Range(1, 1000).Draw(t, "by"))
		m.Entries[i].Quantity += by
		if m.Entries[i].Quantity == 0 {
			t.Log("an entry of nothing is a fault of its own")
		}
		if err := m.Validate(); err == nil {
			t.Fatalf("%s with entry %d changed by %s passed", m.Kind, i, by)
		}
	})
}

func TestRefusals(t *testing.T) {
	for name, c := range map[string]struct {
		build func() (ledger.Movement, error)
		want  error
	}{
		"receipt of nothing":  {func() (ledger.Movement, error) { return ledger.NewReceipt(head, at, "s", 0) }, ledger.ErrQuantity},
		"receipt below zero":  {func() (ledger.Movement, error) { return ledger.NewReceipt(head, at, "s", -1) }, ledger.ErrQuantity},
		"receipt of too much": {func() (ledger.Movement, error) { return ledger.NewReceipt(head, at, "s", mass.Max+1) }, ledger.ErrQuantity},
		"receipt nowhere":     {func() (ledger.Movement, error) { return ledger.NewReceipt(head, ledger.Place{Lot: "l"}, "s", 1) }, ledger.ErrPlace},
		"issue to nobody":     {func() (ledger.Movement, error) { return ledger.NewIssue(head, at, ledger.Destination{}, 1) }, ledger.ErrParty},
		"issue to two": {func() (ledger.Movement, error) {
			return ledger.NewIssue(head, at, ledger.Destination{Batch: "b", Customer: "c"}, 1)
		}, ledger.ErrParty},
		"adjustment of nothing":     {func() (ledger.Movement, error) { return ledger.NewAdjustment(head, at, 0) }, ledger.ErrNothing},
		"adjustment of too much":    {func() (ledger.Movement, error) { return ledger.NewAdjustment(head, at, -mass.Max-1) }, ledger.ErrQuantity},
		"transfer to where it is":   {func() (ledger.Movement, error) { return ledger.NewTransfer(head, at, "main", 1) }, ledger.ErrSamePlace},
		"transfer to nowhere":       {func() (ledger.Movement, error) { return ledger.NewTransfer(head, at, "", 1) }, ledger.ErrParty},
		"return to nobody":          {func() (ledger.Movement, error) { return ledger.NewReturn(head, at, "", 1) }, ledger.ErrParty},
		"return from no batch":      {func() (ledger.Movement, error) { return ledger.NewBatchReturn(head, at, "", 1) }, ledger.ErrParty},
		"scrap of nothing":          {func() (ledger.Movement, error) { return ledger.NewScrap(head, at, 0) }, ledger.ErrQuantity},
		"production by no batch":    {func() (ledger.Movement, error) { return ledger.NewProduction(head, at, "", 1, 0) }, ledger.ErrParty},
		"production with a gain":    {func() (ledger.Movement, error) { return ledger.NewProduction(head, at, "b", 1, -1) }, ledger.ErrQuantity},
		"production with huge loss": {func() (ledger.Movement, error) { return ledger.NewProduction(head, at, "b", 1, mass.Max) }, ledger.ErrQuantity},
	} {
		if _, err := c.build(); !errors.Is(err, c.want) {
			t.Errorf("%s: got %v, want %v", name, err, c.want)
		}
	}
	for name, m := range map[string]ledger.Movement{
		"no entries":   {Kind: ledger.Issue},
		"unknown kind": {Kind: "gift", Entries: []ledger.Entry{{Account: ledger.Account{Kind: ledger.Scrapped}, Lot: "l", Quantity: 1}}},
		"stock without a location": {Kind: ledger.Scrap, Entries: []ledger.Entry{
			{Account: ledger.Account{Kind: ledger.Stock}, Lot: "l", Quantity: -1}, {Account: ledger.Account{Kind: ledger.Scrapped}, Lot: "l", Quantity: 1}}},
		"reversal of nothing": {Kind: ledger.Reversal, Entries: []ledger.Entry{{Account: ledger.Account{Kind: ledger.Scrapped}, Lot: "l", Quantity: 1}}},
	} {
		if err := m.Validate(); !errors.Is(err, ledger.ErrShape) {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

func TestMoved(t *testing.T) {
	m, err := ledger.NewTransfer(head, at, "mill-room", 5*mass.Kilogram)
	if err != nil {
		t.Fatal(err)
	}
	if place, q := m.Moved(); place != at || q != 5*mass.Kilogram {
		t.Errorf("a transfer reads as %v %s", place, q)
	}
	m, err = ledger.NewAdjustment(head, at, -mass.Gram)
	if err != nil {
		t.Fatal(err)
	}
	if _, q := m.Moved(); q != -mass.Gram {
		t.Errorf("a shortfall reads as %s", q)
	}
}
