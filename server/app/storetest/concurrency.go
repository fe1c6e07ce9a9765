package storetest

import (
	"errors"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/google/uuid"

	"millbase/inventory/ledger"
	"millbase/inventory/mass"
	"millbase/server/app"
)

// testConcurrency has many callers take more than there is, from hot lots and
// others, with replays, reservations, releases and transactions among them.
// What was acknowledged must add up to what is left.
func testConcurrency(t *testing.T, open func(t *testing.T) app.Store) {
	const hot, clients, calls = 3, 24, 40
	s := open(t)
	lots := make([]string, hot)
	for i := range lots {
		lots[i] = seedLot(t, s, "l-hot-"+string(rune('a'+i)))
		receive(t, s, lots[i], 200*mass.Gram)
	}
	var taken [hot]atomic.Int64
	var refused atomic.Int64
	var wg sync.WaitGroup
	for range clients {
		wg.Go(func() {
			for range calls {
				i := rand.IntN(hot)
				n, err := takeSome(t, s, lots[i])
				taken[i].Add(int64(n))
				switch {
				case errors.Is(err, app.ErrConflict):
					refused.Add(1)
				case err != nil:
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	if refused.Load() == 0 {
		t.Error("nothing was refused: the test does not reach the bottom of a lot")
	}
	for i, l := range lots {
		var b ledger.Balance
		view(t, s, func(tx app.Tx) error {
			list, err := tx.Stock().Balances(t.Context(), app.Query{Where: []app.Condition{{Field: "lot", Op: "=", Value: l}}}, noTime)
			b = list[0].Balance
			return err
		})
		if want := 200*mass.Gram - mass.Mass(taken[i].Load()); b.OnHand != want || b.OnHand < 0 || b.Reserved > b.OnHand {
			t.Errorf("lot %s: %s on hand, %s reserved, want %s on hand", l, b.OnHand, b.Reserved, want)
		}
	}
	checkLedger(t, s)
}

// takeSome makes one of the calls of a busy morning, and says what it took.
func takeSome(t *testing.T, s app.Store, l string) (mass.Mass, error) {
	const portion = mass.Gram
	issue := must(ledger.NewIssue(head(), main(l), ledger.Destination{Batch: "b-1"}, portion))(t)
	switch rand.IntN(5) {
	case 0: // posted twice at once, as a caller does that lost patience
		var first, second error
		var wg sync.WaitGroup
		wg.Go(func() { _, _, first = s.Post(t.Context(), issue) })
		wg.Go(func() { _, _, second = s.Post(t.Context(), issue) })
		wg.Wait()
		if first == nil || second == nil {
			return portion, nil
		}
		return 0, first
	case 1:
		r, _, err := s.Reserve(t.Context(), ledger.Reservation{ID: uuid.NewString(), Lot: l, Location: "main", Quantity: 2 * portion})
		if err != nil {
			return 0, err
		}
		used := must(ledger.NewIssue(head(), main(l), ledger.Destination{Batch: "b-1", Reservation: r.ID}, portion))(t)
		if _, _, err := s.Post(t.Context(), used); err != nil {
			return 0, err
		}
		_, err = s.Release(t.Context(), r.ID)
		return portion, err
	case 2:
		err := s.Update(t.Context(), func(ctx contextT, tx app.Tx) error { return tx.Ledger().Post(ctx, issue) })
		if err != nil {
			return 0, err
		}
		return portion, nil
	default:
		if _, _, err := s.Post(t.Context(), issue); err != nil {
			return 0, err
		}
		return portion, nil
	}
}
