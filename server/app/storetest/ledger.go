package storetest

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"millbase/inventory/ledger"
	"millbase/inventory/mass"
	"millbase/server/app"
)

func testLedger(t *testing.T, open func(t *testing.T) app.Store) {
	for name, f := range map[string]func(*testing.T, app.Store){
		"receive and issue":     testReceiveAndIssue,
		"replays":               testReplays,
		"shortage is explained": testShortage,
		"reservations":          testReservations,
		"reversal":              testReversal,
		"status and expiry":     testStatus,
		"as of a past moment":   testAsOf,
		"post all or none":      testPostAll,
		"inside a transaction":  testInsideTransaction,
		"movements of a lot":    testMovementsOfLot,
		"bad movements":         testBadMovements,
	} {
		t.Run(name, func(t *testing.T) { f(t, open(t)) })
	}
}

func testReceiveAndIssue(t *testing.T, s app.Store) {
	l := seedLot(t, s, "l-1")
	receive(t, s, l, 40*mass.Kilogram)
	m := must(ledger.NewIssue(head(), main(l), ledger.Destination{Customer: "c-1"}, 15*mass.Kilogram))(t)
	m.Note, m.Actor = "for a trial", "mill hand"
	posted, replayed, err := s.Post(t.Context(), m)
	if err != nil || replayed {
		t.Fatalf("Post: replayed %v, %v", replayed, err)
	}
	if age := time.Since(posted.PostedAt); age < -time.Minute || age > time.Minute {
		t.Errorf("posted at %s", posted.PostedAt)
	}
	checkBalance(t, s, l, 25*mass.Kilogram, 0)
	var kept ledger.Movement
	view(t, s, func(tx app.Tx) (err error) {
		kept, err = tx.Stock().Movement(t.Context(), m.ID)
		return err
	})
	equal(t, "movement", kept, posted)
	checkLedger(t, s)
}

func testReplays(t *testing.T, s app.Store) {
	l := seedLot(t, s, "l-1")
	m := must(ledger.NewReceipt(head(), main(l), "s-1", 10*mass.Kilogram))(t)
	first, replayed, err := s.Post(t.Context(), m)
	if err != nil || replayed {
		t.Fatalf("first: replayed %v, %v", replayed, err)
	}
	again := m
	again.ID, again.Actor = strings.ToUpper(m.ID), "someone else"
	second, replayed, err := s.Post(t.Context(), again)
	if err != nil || !replayed {
		t.Fatalf("again: replayed %v, %v", replayed, err)
	}
	equal(t, "the replayed movement", second, first)

	other := must(ledger.NewReceipt(ledger.Head{ID: m.ID}, main(l), "s-1", 11*mass.Kilogram))(t)
	_, _, err = s.Post(t.Context(), other)
	wantFault(t, err, app.ErrIDReused, m.ID)
	if _, err = s.PostAll(t.Context(), []ledger.Movement{m, m}); err != nil {
		t.Errorf("PostAll of what is there: %v", err)
	}
	_, err = s.PostAll(t.Context(), []ledger.Movement{m, other})
	wantFault(t, err, app.ErrIDReused, "movement 2 of the list")
	checkBalance(t, s, l, 10*mass.Kilogram, 0)

	r := ledger.Reservation{ID: uuid.NewString(), Lot: l, Location: "main", Quantity: 4 * mass.Kilogram, Batch: "b-1"}
	made, replayed, err := s.Reserve(t.Context(), r)
	if err != nil || replayed || made.Remaining != r.Quantity {
		t.Fatalf("Reserve: %+v, replayed %v, %v", made, replayed, err)
	}
	twice, replayed, err := s.Reserve(t.Context(), r)
	if err != nil || !replayed {
		t.Fatalf("Reserve again: replayed %v, %v", replayed, err)
	}
	equal(t, "the replayed reservation", twice, made)
	r.Quantity++
	_, _, err = s.Reserve(t.Context(), r)
	wantFault(t, err, app.ErrIDReused, r.ID)
	checkBalance(t, s, l, 10*mass.Kilogram, 4*mass.Kilogram)
}

func testShortage(t *testing.T, s app.Store) {
	l := seedLot(t, s, "l-1042")
	issue := func(kg mass.Mass) error {
		m := must(ledger.NewIssue(head(), main(l), ledger.Destination{Batch: "b-1"}, kg*mass.Kilogram))(t)
		_, _, err := s.Post(t.Context(), m)
		return err
	}
	wantFault(t, issue(20), app.ErrConflict, "lot l-1042 at main has nothing on hand; 20 kg asked")
	receive(t, s, l, 40*mass.Kilogram)
	wantFault(t, issue(41), app.ErrConflict, "lot l-1042 at main has 40 kg; 41 kg asked")
	reserve(t, s, l, 27_500*mass.Gram)
	err := issue(20)
	wantFault(t, err, app.ErrConflict, "lot l-1042 at main has 12.5 kg free of 40 kg; 20 kg asked")
	var f *app.Fault
	if !errors.As(err, &f) || f.Resource != "lots/l-1042" || f.Reason != "RESERVED" {
		t.Errorf("fault: %+v", f)
	}
	_, _, err = s.Reserve(t.Context(), ledger.Reservation{ID: uuid.NewString(), Lot: l, Location: "main", Quantity: 13 * mass.Kilogram})
	wantFault(t, err, app.ErrConflict, "lot l-1042 at main has 12.5 kg free of 40 kg; 13 kg asked")
	_, _, err = s.Reserve(t.Context(), ledger.Reservation{ID: uuid.NewString(), Lot: l, Location: "annex", Quantity: 1})
	wantFault(t, err, app.ErrConflict, "nothing of lot l-1042 at annex")
	checkBalance(t, s, l, 40*mass.Kilogram, 27_500*mass.Gram)
	checkLedger(t, s)
}

func testReservations(t *testing.T, s app.Store) {
	l := seedLot(t, s, "l-1")
	receive(t, s, l, 40*mass.Kilogram)
	r := reserve(t, s, l, 30*mass.Kilogram)
	use := func(kg mass.Mass) error {
		m := must(ledger.NewIssue(head(), main(l), ledger.Destination{Batch: "b-1", Reservation: r.ID}, kg*mass.Kilogram))(t)
		_, _, err := s.Post(t.Context(), m)
		return err
	}
	if err := use(20); err != nil {
		t.Fatal(err)
	}
	checkBalance(t, s, l, 20*mass.Kilogram, 10*mass.Kilogram)
	wantFault(t, use(11), app.ErrConflict, "has 10 kg left and 11 kg of it are to be used")
	checkBalance(t, s, l, 20*mass.Kilogram, 10*mass.Kilogram)

	for range 2 { // the second time there is nothing left to give back
		released, err := s.Release(t.Context(), r.ID)
		if err != nil || released.Remaining != 0 || released.Quantity != 30*mass.Kilogram {
			t.Fatalf("Release: %+v, %v", released, err)
		}
	}
	checkBalance(t, s, l, 20*mass.Kilogram, 0)
	_, err := s.Release(t.Context(), uuid.NewString())
	wantFault(t, err, app.ErrNotFound, "there is no reservation")

	open := reserve(t, s, l, 5*mass.Kilogram)
	view(t, s, func(tx app.Tx) error {
		list, err := tx.Stock().Reservations(t.Context(), app.Query{Where: []app.Condition{{Field: "lot", Op: "=", Value: l}, {Field: "open", Op: "=", Value: "true"}}})
		equal(t, "open reservations", list, []ledger.Reservation{open})
		return err
	})
	checkLedger(t, s)
}

func testReversal(t *testing.T, s app.Store) {
	l := seedLot(t, s, "l-1")
	m := receive(t, s, l, 40*mass.Kilogram)
	back := must(ledger.NewReversal(head(), m))(t)
	if _, _, err := s.Post(t.Context(), back); err != nil {
		t.Fatal(err)
	}
	checkBalance(t, s, l, 0, 0)
	_, _, err := s.Post(t.Context(), must(ledger.NewReversal(head(), m))(t))
	wantFault(t, err, app.ErrConflict, "reversed already")

	n := receive(t, s, l, 7*mass.Kilogram)
	unlike := must(ledger.NewReversal(head(), n))(t)
	for i := range unlike.Entries {
		unlike.Entries[i].Quantity /= 7
	}
	_, _, err = s.Post(t.Context(), unlike)
	wantFault(t, err, app.ErrConflict, "does not mirror")
	of := unlike
	of.ID, of.Reverses = uuid.NewString(), back.ID
	of.Entries = m.Entries
	_, _, err = s.Post(t.Context(), of)
	wantFault(t, err, app.ErrConflict, "is itself a reversal")
	checkLedger(t, s)
}

func testStatus(t *testing.T, s app.Store) {
	l := seedLot(t, s, "l-1")
	receive(t, s, l, 40*mass.Kilogram)
	issue := func() error {
		_, _, err := s.Post(t.Context(), must(ledger.NewIssue(head(), main(l), ledger.Destination{Batch: "b-1"}, mass.Kilogram))(t))
		return err
	}
	change := func(f func(*app.StockLot)) {
		t.Helper()
		update(t, s, func(tx app.Tx) error {
			rec, err := tx.Lots().Get(t.Context(), l)
			if err != nil {
				return err
			}
			f(&rec.Value)
			_, err = tx.Lots().Update(t.Context(), rec.Value, rec.Version)
			return err
		})
	}
	change(func(l *app.StockLot) { l.Status = "held" })
	wantFault(t, issue(), app.ErrConflict, "lot l-1 is held: only a released lot can be issued")
	if _, _, err := s.Post(t.Context(), must(ledger.NewTransfer(head(), main(l), "annex", mass.Kilogram))(t)); err != nil {
		t.Errorf("a held lot can be moved: %v", err)
	}
	today := time.Now().UTC().Truncate(24 * time.Hour)
	change(func(l *app.StockLot) { l.Status, l.ExpiryDate = "released", today.AddDate(0, 0, -2) })
	wantFault(t, issue(), app.ErrConflict, "expired on "+today.AddDate(0, 0, -2).Format(time.DateOnly))
	change(func(l *app.StockLot) { l.ExpiryDate = today.AddDate(0, 0, 2) })
	if err := issue(); err != nil {
		t.Error(err)
	}
}

func testAsOf(t *testing.T, s app.Store) {
	l := seedLot(t, s, "l-1")
	first := receive(t, s, l, 40*mass.Kilogram)
	second := receive(t, s, l, 2*mass.Kilogram)
	for _, c := range []struct {
		at   time.Time
		want mass.Mass
	}{
		{first.PostedAt.Add(-time.Microsecond), 0},
		{first.PostedAt, 40 * mass.Kilogram},
		{second.PostedAt.Add(-time.Microsecond), 40 * mass.Kilogram},
		{second.PostedAt, 42 * mass.Kilogram},
	} {
		view(t, s, func(tx app.Tx) error {
			list, err := tx.Stock().Balances(t.Context(), app.Query{}, c.at)
			var got mass.Mass
			for _, b := range list {
				got += b.OnHand
			}
			if got != c.want {
				t.Errorf("as of %s: %s, want %s", c.at, got, c.want)
			}
			return err
		})
	}
}

func testPostAll(t *testing.T, s app.Store) {
	l := seedLot(t, s, "l-1")
	var ms []ledger.Movement
	for range 2500 {
		ms = append(ms, must(ledger.NewReceipt(head(), main(l), "s-1", mass.Kilogram))(t))
	}
	bad := append(append([]ledger.Movement{}, ms...), must(ledger.NewScrap(head(), main(l), 3000*mass.Kilogram))(t))
	_, err := s.PostAll(t.Context(), bad)
	wantFault(t, err, app.ErrConflict, "movement 2501 of the list: lot l-1 at main has 2500 kg; 3000 kg asked")
	checkBalance(t, s, l, 0, 0)
	for range 2 {
		posted, err := s.PostAll(t.Context(), ms)
		if err != nil || len(posted) != len(ms) || posted[17].PostedAt.IsZero() {
			t.Fatalf("PostAll: %d, %v", len(posted), err)
		}
	}
	checkBalance(t, s, l, 2500*mass.Kilogram, 0)
	checkLedger(t, s)
}

func testInsideTransaction(t *testing.T, s app.Store) {
	l := seedLot(t, s, "l-1")
	m := must(ledger.NewReceipt(head(), main(l), "s-1", mass.Kilogram))(t)
	undone := errors.New("changed my mind")
	err := s.Update(t.Context(), func(ctx contextT, tx app.Tx) error {
		if err := tx.Ledger().Post(ctx, m); err != nil {
			return err
		}
		return undone
	})
	if !errors.Is(err, undone) {
		t.Errorf("Update: %v", err)
	}
	checkBalance(t, s, l, 0, 0)
	r := ledger.Reservation{ID: uuid.NewString(), Lot: l, Location: "main", Quantity: mass.Kilogram}
	for range 2 {
		update(t, s, func(tx app.Tx) error {
			if err := tx.Ledger().Post(t.Context(), m); err != nil {
				return err
			}
			return tx.Ledger().Reserve(t.Context(), r)
		})
	}
	err = s.Update(t.Context(), func(ctx contextT, tx app.Tx) error {
		wantFault(t, tx.Ledger().Post(ctx, must(ledger.NewScrap(head(), main(l), 1))(t)), app.ErrConflict, "0 kg free of 1 kg")
		return tx.Ledger().Release(ctx, r.ID) // the refusal has left the transaction usable
	})
	if err != nil {
		t.Error(err)
	}
	checkBalance(t, s, l, mass.Kilogram, 0)
	checkLedger(t, s)
}

func testMovementsOfLot(t *testing.T, s app.Store) {
	a, b := seedLot(t, s, "l-1"), seedLot(t, s, "l-2")
	var want []ledger.Movement
	for i := range 5 {
		want = append([]ledger.Movement{receive(t, s, a, mass.Mass(i+1))}, want...)
		receive(t, s, b, 1)
	}
	var got []ledger.Movement
	after := ""
	for {
		var page []ledger.Movement
		view(t, s, func(tx app.Tx) (err error) {
			page, err = tx.Stock().Movements(t.Context(), app.Query{After: after, Limit: 2,
				Where: []app.Condition{{Field: "lot", Op: "=", Value: a}, {Field: "kind", Op: "=", Value: "receipt"}}})
			return err
		})
		if len(page) == 0 {
			break
		}
		got = append(got, page...)
		after = page[len(page)-1].ID
	}
	equal(t, "movements, newest first", got, want)
}

func testBadMovements(t *testing.T, s app.Store) {
	l := seedLot(t, s, "l-1")
	good := must(ledger.NewReceipt(head(), main(l), "s-1", mass.Kilogram))(t)
	for name, c := range map[string]struct {
		spoil func(*ledger.Movement)
		field string
	}{
		"no UUID":          {func(m *ledger.Movement) { m.ID = "17" }, "id"},
		"no entries":       {func(m *ledger.Movement) { m.Entries = nil }, "entries"},
		"unbalanced":       {func(m *ledger.Movement) { m.Entries[0].Quantity++ }, "entries"},
		"kind":             {func(m *ledger.Movement) { m.Kind = "theft" }, "kind"},
		"account":          {func(m *ledger.Movement) { m.Entries[0].Account.Kind = "pocket" }, "entries.account"},
		"no location":      {func(m *ledger.Movement) { m.Entries[1].Account.Location = "" }, "entries.location"},
		"unknown lot":      {func(m *ledger.Movement) { m.Entries[0].Lot, m.Entries[1].Lot = "l-9", "l-9" }, "entries.lot"},
		"nothing":          {func(m *ledger.Movement) { m.Entries[0].Quantity, m.Entries[1].Quantity = 0, 0 }, "entries.quantity"},
		"zero character":   {func(m *ledger.Movement) { m.Note = "a\x00b" }, ""},
		"broken UTF-8":     {func(m *ledger.Movement) { m.Note = "a\xffb" }, ""},
		"reverses nothing": {func(m *ledger.Movement) { m.Reverses = uuid.NewString() }, "reverses"},
		"party":            {func(m *ledger.Movement) { m.Entries[1].Account.Party = "s-1" }, "entries.party"},
		"unknown reservation": {func(m *ledger.Movement) {
			m.Uses = []ledger.ReservationUse{{Reservation: uuid.NewString(), Quantity: 1}}
		}, "uses.reservation"},
	} {
		m := good
		m.ID = uuid.NewString()
		m.Entries = append([]ledger.Entry{}, good.Entries...)
		c.spoil(&m)
		_, _, err := s.Post(t.Context(), m)
		var v app.Invalid
		if !errors.As(err, &v) || v[0].Field != c.field {
			t.Errorf("%s: %v", name, err)
		}
	}
	checkBalance(t, s, l, 0, 0)
}
