package app

import (
	"context"
	"errors"
	"time"

	"millbase/inventory/ledger"
	"millbase/inventory/mass"
)

// Count is what was found of a lot at a location.
type Count struct {
	Lot        string
	Location   string
	Counted    mass.Mass
	MovementID string
	Note       string
	Request    Request // of the movement id
}

// errMoved tells that stock moved between the reading and the adjustment.
var errMoved = errors.New("stock moved meanwhile")

// CountStock adjusts what is on hand to what was counted. When the book agrees
// nothing is posted, and the movement that comes back has no id.
func (b *Book) CountStock(ctx context.Context, c Count) (ledger.Movement, error) {
	for range 10 {
		m, err := b.countOnce(ctx, c)
		if !errors.Is(err, errMoved) {
			return m, err
		}
	}
	return ledger.Movement{}, Faultf(ErrBusy, "LOT_BUSY", "lots/"+c.Lot, "lot %s is being moved while it is counted; send the count again when it rests", c.Lot)
}

func (b *Book) countOnce(ctx context.Context, c Count) (ledger.Movement, error) {
	var out ledger.Movement
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		if _, err := tx.Lots().Get(ctx, c.Lot); err != nil {
			return missing(err, "lot", "lots/"+c.Lot)
		}
		before, err := onHandAt(ctx, tx, c)
		if err != nil {
			return err
		}
		head := ledger.Head{ID: c.MovementID, Note: c.Note, Actor: CallerOf(ctx).Title}
		seen, err := seenBefore(ctx, tx, c.Request, c.MovementID)
		if err != nil {
			return err
		}
		agreed := ledger.Movement{Kind: ledger.Adjustment, Note: c.Note, Actor: head.Actor}
		if seen != "" {
			// An old count must not be applied to the stock of today: where
			// nothing was posted then, nothing is now.
			if out, err = tx.Stock().Movement(ctx, seen); errors.Is(err, ErrNotFound) {
				out, err = agreed, nil
			}
			return err
		}
		m, err := ledger.NewAdjustment(head, ledger.Place{Lot: c.Lot, Location: c.Location}, c.Counted-before)
		if errors.Is(err, ledger.ErrNothing) {
			out = agreed
			return nil
		}
		if err != nil {
			return movementFault(err, "")
		}
		if err := tx.Ledger().Post(ctx, m); err != nil {
			return err
		}
		// The adjustment has locked the balance: whoever moved stock since the
		// reading has done so by now.
		after, err := onHandAt(ctx, tx, c)
		if err != nil {
			return err
		}
		if after != c.Counted {
			return errMoved
		}
		out, err = tx.Stock().Movement(ctx, c.MovementID)
		return err
	})
	return out, err
}

func onHandAt(ctx context.Context, tx Tx, c Count) (mass.Mass, error) {
	found, err := tx.Stock().Balances(ctx, Query{Where: []Condition{{"lot", "=", c.Lot}, {"location", "=", c.Location}}}, time.Time{})
	if err != nil || len(found) == 0 {
		return 0, err
	}
	return found[0].OnHand, nil
}
