package app_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"github.com/google/uuid"

	"millbase/inventory/ledger"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
	"millbase/server/app"
)

// reservedBatch is 100 kg of cyan with its lots set aside, the varnish from two
// places.
func reservedBatch(t *testing.T) (*mill, app.FinishRequest) {
	x, ctx := newMill(t), context.Background()
	x.fill()
	x.formulaOf(1_000_000)
	move, err := ledger.NewTransfer(ledger.Head{ID: uuid.NewString()}, ledger.Place{Lot: "varnish-1", Location: "a-1"}, "tank", 350*mass.Kilogram)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := x.store.Post(ctx, move); err != nil {
		t.Fatal(err)
	}
	x.reserve("varnish-1", 10) // at a-1, where 40 kg are left
	x.batch("b-1", 500, "formula")
	rec, err := x.book.ReserveBatch(ctx, "b-1", 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	// 350 kg of varnish: all of it from the tank, where it is in one place.
	if l := rec.Value.Lines[0]; l.Location != "tank" || l.Quantity != 350*mass.Kilogram {
		t.Fatalf("%+v", rec.Value.Lines)
	}
	return x, app.FinishRequest{Batch: "b-1", Finished: 495 * mass.Kilogram, Lot: "cyan-1", Location: "f-1", Request: requestID()}
}

func TestALotHeldInBetweenStopsTheFinish(t *testing.T) {
	x, req := reservedBatch(t)
	x.update(func(ctx context.Context, tx app.Tx) error {
		rec, err := tx.Lots().Get(ctx, "blue-1")
		if err != nil {
			return err
		}
		rec.Value.Status = lot.Held
		_, err = tx.Lots().Update(ctx, rec.Value, rec.Version)
		return err
	})
	before := x.balances()
	_, err := x.book.FinishBatch(context.Background(), req)
	if !errors.Is(err, app.ErrConflict) || !strings.Contains(err.Error(), "blue-1 is held") {
		t.Errorf("got %v", err)
	}
	for at, b := range x.balances() {
		if before[at] != b {
			t.Errorf("%s: %+v, was %+v", at, b, before[at])
		}
	}
}

func TestAReservationReleasedInBetweenIsTakenFromFreeStock(t *testing.T) {
	x, req := reservedBatch(t)
	ctx := context.Background()
	rec, err := x.book.GetBatch(ctx, "b-1")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := x.store.Release(ctx, rec.Value.Lines[0].Reservation); err != nil {
		t.Fatal(err)
	}
	if _, err := x.book.FinishBatch(ctx, req); err != nil {
		t.Fatal(err)
	}
	for at, want := range map[string]ledger.Balance{
		"varnish-1 at a-1": {OnHand: 50 * mass.Kilogram, Reserved: 10 * mass.Kilogram}, "blue-1 at a-1": {OnHand: 10 * mass.Kilogram}, "cyan-1 at f-1": {OnHand: 495 * mass.Kilogram}} {
		if b := x.balances()[at]; b.OnHand != want.OnHand || b.Reserved != want.Reserved {
			t.Errorf("%s: %+v, want %+v", at, b, want)
		}
	}
	if b, there := x.balances()["varnish-1 at tank"]; there {
		t.Errorf("the tank still holds %+v", b)
	}
	x.checkLedger()
}
