package app

import (
	"context"
	"fmt"
	"time"

	"millbase/inventory/lot"
	"millbase/inventory/mass"
)

// LotView is a lot with what is on hand of it, over all locations.
type LotView struct {
	Record[StockLot]
	OnHand   mass.Mass
	Reserved mass.Mass
	Expired  bool // on the plant's calendar day
	// Currency is the plant's, in which CostPerKg stands.
	Currency string
}

// Lot reads one lot.
func (b *Book) Lot(ctx context.Context, id string) (LotView, error) {
	var v LotView
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		rec, err := tx.Lots().Get(ctx, id)
		if err != nil {
			return err
		}
		v, err = b.viewLot(ctx, tx, rec)
		return err
	})
	return v, err
}

// Lots lists lots; conditions: material, status, supplier, batch, expiry_date,
// received_date.
func (b *Book) Lots(ctx context.Context, q Query) ([]LotView, error) {
	var out []LotView
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		recs, err := tx.Lots().List(ctx, q)
		if err != nil {
			return err
		}
		out, err = b.viewLots(ctx, tx, recs, q.Where)
		return err
	})
	return out, err
}

func (b *Book) viewLot(ctx context.Context, tx Tx, rec Record[StockLot]) (LotView, error) {
	views, err := b.viewLots(ctx, tx, []Record[StockLot]{rec}, nil)
	if err != nil {
		return LotView{}, err
	}
	return views[0], nil
}

// viewLots adds what is on hand. The lots are in the order of their ids, so the
// balances between the first and the last are asked for at once; a condition on
// the material narrows them down.
func (b *Book) viewLots(ctx context.Context, tx Tx, recs []Record[StockLot], where []Condition) ([]LotView, error) {
	if len(recs) == 0 {
		return nil, nil
	}
	plant, err := plantIn(ctx, tx)
	if err != nil {
		return nil, err
	}
	today, err := b.today(plant.Value)
	if err != nil {
		return nil, err
	}
	first, last := recs[0].Value.ID, recs[len(recs)-1].Value.ID
	within := []Condition{{"lot", ">=", first}, {"lot", "<=", last}}
	if first == last {
		within = []Condition{{"lot", "=", first}}
	}
	for _, c := range where {
		if c.Field == "material" && c.Op == "=" {
			within = append(within, c)
		}
	}
	balances, err := tx.Stock().Balances(ctx, Query{Where: within}, time.Time{})
	if err != nil {
		return nil, err
	}
	onHand, reserved := map[string]mass.Mass{}, map[string]mass.Mass{}
	for _, k := range balances {
		onHand[k.Lot] += k.OnHand
		reserved[k.Lot] += k.Reserved
	}
	out := make([]LotView, len(recs))
	for i, rec := range recs {
		id := rec.Value.ID
		out[i] = LotView{rec, onHand[id], reserved[id], rec.Value.ExpiredOn(today), plant.Value.Currency}
	}
	return out, nil
}

// UpdateLot changes certificate values, supplier's lot number, expiry date, note
// or cost of a lot. Material, supplier, status and origin stay: a status is set
// by SetLotStatus.
func (b *Book) UpdateLot(ctx context.Context, id string, version int64, change func(LotView) (StockLot, error)) (LotView, error) {
	var out LotView
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		rec, err := tx.Lots().Get(ctx, id)
		if err != nil {
			return err
		}
		if version != 0 && version != rec.Version {
			return stale("lots/" + id)
		}
		now, err := b.viewLot(ctx, tx, rec)
		if err != nil {
			return err
		}
		v, err := change(now)
		if err != nil {
			return err
		}
		if err := b.checkLotChange(ctx, tx, rec.Value, &v); err != nil {
			return err
		}
		if rec, err = tx.Lots().Update(ctx, v, rec.Version); err != nil {
			return err
		}
		out, err = b.viewLot(ctx, tx, rec)
		return err
	})
	return out, err
}

func (b *Book) checkLotChange(ctx context.Context, tx Tx, was StockLot, v *StockLot) error {
	var bad Invalid
	for field, differs := range map[string]bool{
		"lot.material": v.Material != was.Material, "lot.supplier": v.Supplier != was.Supplier, "lot.received_date": !v.ReceivedDate.Equal(was.ReceivedDate),
	} {
		if differs {
			bad = append(bad, FieldError{field, "can't be changed after receipt; reverse the receipt and receive the lot anew"})
		}
	}
	if v.Status != was.Status {
		bad = append(bad, FieldError{"lot.status", "is changed by setStatus, which asks for the reason"})
	}
	if len(bad) > 0 {
		return bad
	}
	return b.completeLot(ctx, tx, v)
}

// SetLotStatus releases, holds, quarantines or rejects a lot. The reason is kept
// in the lot's note. A rejected lot can't be released again: what was rejected
// by mistake is put into quarantine first, so that it is tested anew.
func (b *Book) SetLotStatus(ctx context.Context, id string, status lot.Status, reason string, version int64) (LotView, error) {
	if !status.Valid() {
		return LotView{}, InvalidField("status", "must be one of QUARANTINED, RELEASED, HELD, REJECTED")
	}
	var out LotView
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		rec, err := tx.Lots().Get(ctx, id)
		if err != nil {
			return err
		}
		if version != 0 && version != rec.Version {
			return stale("lots/" + id)
		}
		v := rec.Value
		if v.Status == status {
			out, err = b.viewLot(ctx, tx, rec)
			return err
		}
		if err := b.checkStatus(v, status, reason); err != nil {
			return err
		}
		v.Status = status
		v.Note = b.noted(ctx, v.Note, status, reason)
		if rec, err = tx.Lots().Update(ctx, v, rec.Version); err != nil {
			return err
		}
		out, err = b.viewLot(ctx, tx, rec)
		return err
	})
	return out, err
}

func (b *Book) checkStatus(v StockLot, to lot.Status, reason string) error {
	if v.Status == lot.Rejected && to == lot.Released {
		return Faultf(ErrConflict, "LOT_REJECTED", "lots/"+v.ID, "lot %s was rejected; put it into quarantine first, test it anew, and release it then", v.ID)
	}
	if (to == lot.Held || to == lot.Rejected) && reason == "" {
		return InvalidField("reason", "say why the lot is %s", to)
	}
	return nil
}

// maxNote is the length of a note, in characters.
const maxNote = 1000

// noted puts a line about a change of status before the note.
func (b *Book) noted(ctx context.Context, note string, status lot.Status, reason string) string {
	line := fmt.Sprintf("%s %s by %s", b.clock().UTC().Format(time.DateOnly), status, CallerOf(ctx).Title)
	if reason != "" {
		line += ": " + reason
	}
	if note != "" {
		line += "\n" + note
	}
	if r := []rune(line); len(r) > maxNote {
		line = string(r[:maxNote])
	}
	return line
}
