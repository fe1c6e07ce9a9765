package app_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"

	"github.com/google/uuid"

	"millbase/inventory/batch"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
	"millbase/server/app"
)

func (x *mill) batch(id string, kg mass.Mass, by string) {
	x.t.Helper()
	in := batch.Batch{ID: id, Quantity: kg * mass.Kilogram, DueDate: x.today.AddDate(0, 0, 14)}
	if by == "formula" {
		in.Formula = "cyan"
	} else {
		in.Specification = "cyan"
	}
	if _, err := x.book.CreateBatch(context.Background(), in, app.Request{}); err != nil {
		x.t.Fatal(err)
	}
}

func TestBatchByFormula(t *testing.T) {
	x, ctx := newMill(t), context.Background()
	x.fill()
	x.stock("blue-2", "blue", 10, "11.00", 30) // expires first
	x.stock("blue-3", "blue", 50, "11.00", 10) // too early: due in 14 days
	x.formulaOf(980_000)
	x.batch("b-1", 100, "formula")

	rec, err := x.book.ReserveBatch(ctx, "b-1", 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	var got string
	for _, l := range rec.Value.Lines {
		if l.Quantity%(5*mass.Gram) != 0 {
			t.Errorf("%s of %s can't be weighed on a scale of 5 g", l.Quantity, l.Lot)
		}
		got += fmt.Sprintf("%s %s; ", l.Lot, l.Quantity)
	}
	// 100 kg at 98 % yield is a charge of 102.0408 kg, on a scale of 5 g.
	if want := "varnish-1 71.43 kg; oil-1 11.735 kg; blue-2 10 kg; blue-1 8.365 kg; drier-1 0.51 kg; "; got != want {
		t.Errorf("lines %s\nwant  %s", got, want)
	}
	if b := x.balances()["blue-2 at a-1"]; b.Reserved != 10*mass.Kilogram {
		t.Errorf("blue-2: %+v", b)
	}

	ticket, err := x.book.BatchTicket(ctx, "b-1")
	if err != nil || len(ticket.Lines) != 5 || ticket.Lines[0].Title != "Alkyd varnish" || len(ticket.Route) != 2 {
		t.Errorf("ticket %+v %v", ticket, err)
	}
	for _, want := range []string{"Cobalt drier: Harmful if swallowed.", "dust", "vapour", "cobalt compounds", "draw in", "safety data sheets"} {
		if !strings.Contains(strings.Join(ticket.Cautions, "\n"), want) {
			t.Errorf("the cautions say nothing of %q: %q", want, ticket.Cautions)
		}
	}

	cancelled, err := x.book.CancelBatch(ctx, "b-1", "customer gone", rec.Version)
	if err != nil || cancelled.Value.State != batch.Cancelled {
		t.Fatalf("%+v %v", cancelled, err)
	}
	for at, b := range x.balances() {
		if b.Reserved != 0 {
			t.Errorf("%s still has %s reserved", at, b.Reserved)
		}
	}
	x.checkLedger()
}

func TestShortageNamesEveryMaterial(t *testing.T) {
	x, ctx := newMill(t), context.Background()
	x.stock("blue-1", "blue", 10, "12.00", 100)
	x.stock("varnish-1", "varnish", 400, "3.20", 200)
	x.stock("oil-1", "oil", 5, "1.70", 0)
	x.stock("drier-1", "drier", 10, "9.10", 300)
	x.formulaOf(1_000_000)
	x.batch("b-1", 100, "formula")
	_, err := x.book.ReserveBatch(ctx, "b-1", 0, 0)
	if !errors.Is(err, app.ErrConflict) || !strings.Contains(err.Error(), "Mineral oil is 6.5 kg short of 11.5 kg") ||
		!strings.Contains(err.Error(), "Phthalo blue is 8 kg short of 18 kg") {
		t.Errorf("got %v", err)
	}
	for at, b := range x.balances() {
		if b.Reserved != 0 {
			t.Errorf("%s has %s reserved", at, b.Reserved)
		}
	}
}

func TestBatchBySpecificationStandsOnTheScale(t *testing.T) {
	x, ctx := newMill(t), context.Background()
	x.fill()
	x.specification()
	for i, kg := range []mass.Mass{7, 50, 133} {
		id := fmt.Sprintf("b-%d", i)
		x.batch(id, kg, "specification")
		rec, err := x.book.ReserveBatch(ctx, id, 0, 0)
		if err != nil {
			t.Fatalf("%d kg: %v", kg, err)
		}
		sum := map[string]mass.Mass{}
		var all mass.Mass
		for _, l := range rec.Value.Lines {
			if l.Quantity%(5*mass.Gram) != 0 {
				t.Errorf("%s of %s can't be weighed on a scale of 5 g", l.Quantity, l.Lot)
			}
			sum[l.Material] += l.Quantity
			all += l.Quantity
		}
		if all != kg*mass.Kilogram {
			t.Errorf("%d kg: the lines add up to %s", kg, all)
		}
		// By hand: pigment loading, and cobalt on binder solids.
		loading := sum["blue"].Kilograms() / all.Kilograms()
		cobalt := 100 * 0.1 * sum["drier"].Kilograms() / (0.7 * sum["varnish"].Kilograms())
		if loading < 0.18*(1-1e-5) || loading > 0.22*(1+1e-5) || cobalt < 0.03*(1-1e-5) || cobalt > 0.08*(1+1e-5) {
			t.Errorf("%d kg: loading %g, cobalt %g %%", kg, loading, cobalt)
		}
	}
	// 1 kg wants 1.5 to 3.9 g of drier, which a scale of 5 g can't weigh.
	x.batch("b-small", 1, "specification")
	if _, err := x.book.ReserveBatch(ctx, "b-small", 0, 0); !errors.Is(err, app.ErrConflict) || !strings.Contains(err.Error(), "finer scale") {
		t.Errorf("1 kg on a scale of 5 g: %v", err)
	}
	x.batch("b-big", 5000, "specification")
	if _, err := x.book.ReserveBatch(ctx, "b-big", 0, 0); !errors.Is(err, app.ErrConflict) || !strings.Contains(err.Error(), "Get ") {
		t.Errorf("5 t from 700 kg of stock: %v", err)
	} else {
		t.Log(err)
	}
}

func TestFinish(t *testing.T) {
	x, ctx := newMill(t), context.Background()
	x.fill()
	x.formulaOf(980_000)
	x.batch("b-1", 100, "formula")
	if _, err := x.book.ReserveBatch(ctx, "b-1", 0, 0); err != nil {
		t.Fatal(err)
	}
	req := app.FinishRequest{Batch: "b-1", Finished: 99 * mass.Kilogram, Lot: "cyan-1", Location: "f-1", Request: requestID(),
		Weights: map[string]mass.Mass{"oil-1": 12 * mass.Kilogram, "blue-1": 18 * mass.Kilogram}}
	rec, err := x.book.FinishBatch(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	again, err := x.book.FinishBatch(ctx, req)
	if err != nil || again.Version != rec.Version {
		t.Errorf("the same request again: %+v, %v", again, err)
	}
	other := req
	other.Request.Digest = []byte("other")
	if _, err := x.book.FinishBatch(ctx, other); !errors.Is(err, app.ErrIDReused) {
		t.Errorf("the same id with other content: %v", err)
	}
	for at, want := range map[string]mass.Mass{"oil-1 at a-1": 188_000_000, "blue-1 at a-1": 82_000_000, "varnish-1 at a-1": 328_570_000, "drier-1 at a-1": 9_490_000, "cyan-1 at f-1": 99_000_000} {
		if b := x.balances()[at]; b.OnHand != want || b.Reserved != 0 {
			t.Errorf("%s: %+v, want %s and nothing reserved", at, b, want)
		}
	}
	err = x.store.View(ctx, func(ctx context.Context, tx app.Tx) error {
		made, err := tx.Lots().Get(ctx, "cyan-1")
		if err != nil {
			return err
		}
		// (18 x 12.00 + 71.43 x 3.20 + 12 x 1.70 + 0.51 x 9.10) / 99 = 4.743606...
		if l := made.Value; l.Status != lot.Quarantined || l.Batch != "b-1" || !l.Cost.CostPerKg.Equal(dec("4.743606")) {
			t.Errorf("finished lot %+v", l)
		}
		if p := made.Value.Certificate["pigment_fraction/PB15:3"]; p < 0.1765 || p > 0.1767 { // 18/101.94
			t.Errorf("certificate %v", made.Value.Certificate)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	x.checkLedger()
}

func TestFinishIsAllOrNothing(t *testing.T) {
	x, ctx := newMill(t), context.Background()
	x.fill()
	x.formulaOf(980_000)
	x.batch("b-1", 100, "formula")
	rec, err := x.book.ReserveBatch(ctx, "b-1", 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	before := x.balances()
	for name, req := range map[string]app.FinishRequest{
		"more than there is": {Finished: 99 * mass.Kilogram, Weights: map[string]mass.Mass{"oil-1": 201 * mass.Kilogram}},
		"more out than in":   {Finished: 103 * mass.Kilogram},
		"a lot not on it":    {Finished: 99 * mass.Kilogram, Weights: map[string]mass.Mass{"other": 1}},
		"lot is there":       {Finished: 99 * mass.Kilogram, Lot: "blue-1"},
	} {
		req.Batch, req.Location, req.Request = "b-1", "f-1", requestID()
		if req.Lot == "" {
			req.Lot = "cyan-1"
		}
		if _, err := x.book.FinishBatch(ctx, req); err == nil {
			t.Errorf("%s: no error", name)
		} else {
			t.Logf("%s: %v", name, err)
		}
		now, err := x.book.GetBatch(ctx, "b-1")
		if err != nil || now.Version != rec.Version || now.Value.State != batch.Reserved {
			t.Errorf("%s: the batch has changed: %+v %v", name, now, err)
		}
		if fmt.Sprint(x.balances()) != fmt.Sprint(before) {
			t.Errorf("%s: stock has changed", name)
		}
		err = x.store.View(ctx, func(ctx context.Context, tx app.Tx) error {
			_, err := tx.Lots().Get(ctx, "cyan-1")
			return err
		})
		if !errors.Is(err, app.ErrNotFound) {
			t.Errorf("%s: the finished lot: %v", name, err)
		}
	}
	x.checkLedger()
}

func TestScarceLotIsNotReservedTwice(t *testing.T) {
	x, ctx := newMill(t), context.Background()
	x.stock("blue-1", "blue", 30, "12.00", 100) // 18 kg for each of 6 batches: three fit
	x.stock("blue-2", "blue", 30, "12.00", 90)
	x.stock("varnish-1", "varnish", 4000, "3.20", 200)
	x.stock("oil-1", "oil", 2000, "1.70", 0)
	x.stock("drier-1", "drier", 100, "9.10", 300)
	x.formulaOf(1_000_000)
	const n = 6
	for i := range n {
		x.batch(fmt.Sprintf("b-%d", i), 100, "formula")
	}
	var wg sync.WaitGroup
	errs := make([]error, n)
	for i := range n {
		wg.Go(func() { _, errs[i] = x.book.ReserveBatch(ctx, fmt.Sprintf("b-%d", i), 0, 0) })
	}
	wg.Wait()
	done := 0
	for _, err := range errs {
		switch {
		case err == nil:
			done++
		case !errors.Is(err, app.ErrConflict) || !strings.Contains(err.Error(), "Phthalo blue is "):
			t.Errorf("got %v", err)
		}
	}
	if done != 3 {
		t.Errorf("%d of %d batches got their 18 kg out of 60 kg", done, n)
	}
	for at, b := range x.balances() {
		if b.Reserved > b.OnHand {
			t.Errorf("%s: %+v", at, b)
		}
	}
	x.checkLedger()
}

func TestOneBatchIsReservedOnce(t *testing.T) {
	x, ctx := newMill(t), context.Background()
	x.fill()
	x.formulaOf(1_000_000)
	x.batch("b-1", 100, "formula")
	var wg sync.WaitGroup
	errs := make([]error, 4)
	for i := range errs {
		wg.Go(func() { _, errs[i] = x.book.ReserveBatch(ctx, "b-1", 0, 0) })
	}
	wg.Wait()
	done := 0
	for _, err := range errs {
		if err == nil {
			done++
		} else if !errors.Is(err, app.ErrStale) && !errors.Is(err, app.ErrNotReady) {
			t.Errorf("got %v", err)
		}
	}
	if b := x.balances()["blue-1 at a-1"]; done != 1 || b.Reserved != 18*mass.Kilogram {
		t.Errorf("%d times, %s of blue reserved", done, b.Reserved)
	}
}

func TestFinishedOnceHoweverOftenSent(t *testing.T) {
	x, ctx := newMill(t), context.Background()
	x.fill()
	x.formulaOf(1_000_000)
	x.batch("b-1", 100, "formula")
	if _, err := x.book.ReserveBatch(ctx, "b-1", 0, 0); err != nil {
		t.Fatal(err)
	}
	same := app.FinishRequest{Batch: "b-1", Finished: 99 * mass.Kilogram, Lot: "cyan-1", Location: "f-1", Request: requestID()}
	other := same
	other.Request, other.Lot = requestID(), "cyan-2"
	requests := []app.FinishRequest{same, other, same, other, same, other}
	errs := make([]error, len(requests))
	var wg sync.WaitGroup
	for i, r := range requests {
		wg.Go(func() { _, errs[i] = x.book.FinishBatch(ctx, r) })
	}
	wg.Wait()
	made := x.balances()["cyan-1 at f-1"].OnHand + x.balances()["cyan-2 at f-1"].OnHand
	if made != 99*mass.Kilogram || x.balances()["blue-1 at a-1"].OnHand != 82*mass.Kilogram {
		t.Errorf("%s made, %v", made, x.balances())
	}
	for i, err := range errs {
		// Whichever came first is answered each time; the other finds the batch finished.
		won := (requests[i].Lot == "cyan-1") == (x.balances()["cyan-1 at f-1"].OnHand > 0)
		if won && err != nil || !won && !errors.Is(err, app.ErrNotReady) && !errors.Is(err, app.ErrStale) {
			t.Errorf("%s: %v", requests[i].Lot, err)
		}
	}
	x.checkLedger()
}

func TestCreateBatchFaults(t *testing.T) {
	x, ctx := newMill(t), context.Background()
	x.formulaOf(1_000_000)
	x.specification()
	good := batch.Batch{ID: "b-1", Formula: "cyan", Quantity: mass.Kilogram, DueDate: x.today}
	for name, c := range map[string]struct {
		field  string
		change func(*batch.Batch)
	}{
		"both":       {"batch.formula", func(b *batch.Batch) { b.Specification = "cyan" }},
		"no formula": {"batch.formula", func(b *batch.Batch) { b.Formula = "nothing" }},
		"revision":   {"batch.formula", func(b *batch.Batch) { b.FormulaRevision = 9 }},
		"material":   {"batch.material", func(b *batch.Batch) { b.Material = "oil" }},
		"quantity":   {"batch", func(b *batch.Batch) { b.Quantity = 0 }},
		"spec":       {"batch.specification", func(b *batch.Batch) { b.Formula, b.Specification = "", "nothing" }},
	} {
		in := good
		c.change(&in)
		_, err := x.book.CreateBatch(ctx, in, app.Request{})
		var bad app.Invalid
		if !errors.As(err, &bad) || bad[0].Field != c.field {
			t.Errorf("%s: %v", name, err)
		}
	}
	request := app.Request{ID: uuid.NewString(), Method: "CreateBatch", Digest: []byte("x")}
	first, err := x.book.CreateBatch(ctx, good, request)
	if err != nil || first.Value.Material != "cyan" || first.Value.FormulaRevision != 1 {
		t.Fatalf("%+v %v", first, err)
	}
	if again, err := x.book.CreateBatch(ctx, good, request); err != nil || again.Version != first.Version {
		t.Errorf("replay: %v", err)
	}
	if _, err := x.book.CreateBatch(ctx, good, app.Request{}); !errors.Is(err, app.ErrExists) {
		t.Errorf("the id is taken: %v", err)
	}
}
