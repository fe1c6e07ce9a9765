package app

import (
	"context"
	"errors"
	"fmt"
	"time"

	"millbase/costing/purchase"
	"millbase/inventory/ledger"
	"millbase/inventory/mass"
)

// plantDay is what the plant says of an order on the day that it is changed.
type plantDay struct {
	today     time.Time
	tolerance purchase.Tolerance
}

func (b *Book) plantDay(ctx context.Context, tx Tx) (plantDay, error) {
	plant, err := plantIn(ctx, tx)
	if err != nil {
		return plantDay{}, err
	}
	today, err := b.today(plant.Value)
	return plantDay{today, purchase.Tolerance{OverPercent: plant.Value.OverDeliveryPercent, UnderPercent: plant.Value.UnderDeliveryPercent}}, err
}

// remark adds what was done, and why, to the order's note.
func remark(o *purchase.Order, done, reason string) {
	if reason == "" {
		return
	}
	if o.Note != "" {
		o.Note += "\n"
	}
	o.Note += done + ": " + reason
}

// UpdatePurchaseOrder changes a draft. change gets it as it stands and must not
// change its id.
func (b *Book) UpdatePurchaseOrder(ctx context.Context, id string, version int64, change func(Record[purchase.Order]) (purchase.Order, error)) (Record[purchase.Order], error) {
	orders := func(tx Tx) Repo[purchase.Order] { return tx.PurchaseOrders() }
	return changeOne(ctx, b, orders, "purchaseOrders/"+id, id, version, func(now Record[purchase.Order]) (purchase.Order, error) {
		if now.Value.State != purchase.Draft {
			return now.Value, Faultf(ErrNotReady, "ORDER_NOT_DRAFT", "purchaseOrders/"+id,
				"purchaseOrders/%s is %s; only a draft can be changed: cancel it and draft another.", id, inWords(now.Value.State))
		}
		o, err := change(now)
		return draft(o), err
	}, func(ctx context.Context, tx Tx, o purchase.Order) error {
		in, err := b.plantDay(ctx, tx)
		if err != nil {
			return err
		}
		return checkOrder(ctx, tx, o, in.today)
	})
}

// ClosePurchaseOrder says that no more of a material, or of anything where it is
// empty, comes on a sent order. The reason is kept in the order's note.
func (b *Book) ClosePurchaseOrder(ctx context.Context, id, material, reason string, version int64) (Record[purchase.Order], error) {
	name := "purchaseOrders/" + id
	return b.changeOrder(ctx, id, version, func(o *purchase.Order, in plantDay) error {
		if o.State != purchase.Sent && o.State != purchase.PartReceived {
			return Faultf(ErrNotReady, "ORDER_NOT_OPEN", name, "%s is %s; only an order of which something is still to come can be closed.", name, inWords(o.State))
		}
		closed, lacking := o.CloseShort(material, in.tolerance)
		if lacking == 0 {
			return InvalidField("material", "%s has no open line for materials/%s; name a material that is still to come, or none for all.", name, material)
		}
		if received := totalReceived(closed); received == 0 && closed.State == purchase.Received {
			return Faultf(ErrNotReady, "NOTHING_RECEIVED", name, "nothing of %s has come; cancel it instead.", name)
		}
		remark(&closed, fmt.Sprintf("Closed with %s lacking", lacking), reason)
		*o = closed
		return nil
	})
}

func totalReceived(o purchase.Order) (sum mass.Mass) {
	for _, l := range o.Lines {
		sum += l.Received
	}
	return sum
}

// SendPurchaseOrder marks a draft as sent: from now on it is expected. version
// is the one that was read; 0 skips the check.
func (b *Book) SendPurchaseOrder(ctx context.Context, id string, version int64) (Record[purchase.Order], error) {
	return b.changeOrder(ctx, id, version, func(o *purchase.Order, in plantDay) error {
		if o.State != purchase.Draft {
			return Faultf(ErrNotReady, "ORDER_NOT_DRAFT", "purchaseOrders/"+id, "purchaseOrders/%s is %s; only a draft can be sent.", id, inWords(o.State))
		}
		o.State, o.SentDate = purchase.Sent, in.today
		return nil
	})
}

// CancelPurchaseOrder cancels what is still to come of an order; what was
// received stays received. The reason is kept in the order's note.
func (b *Book) CancelPurchaseOrder(ctx context.Context, id, reason string, version int64) (Record[purchase.Order], error) {
	return b.changeOrder(ctx, id, version, func(o *purchase.Order, _ plantDay) error {
		if o.State == purchase.Received || o.State == purchase.Cancelled {
			return Faultf(ErrNotReady, "ORDER_CLOSED", "purchaseOrders/"+id, "purchaseOrders/%s is %s; nothing of it is still to come.", id, inWords(o.State))
		}
		o.State = purchase.Cancelled
		remark(o, "Cancelled", reason)
		return nil
	})
}

func (b *Book) changeOrder(ctx context.Context, id string, version int64, change func(*purchase.Order, plantDay) error) (Record[purchase.Order], error) {
	var rec Record[purchase.Order]
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		read, err := getOrder(ctx, tx, id)
		if err != nil {
			return err
		}
		if version != 0 && version != read.Version {
			return Faultf(ErrStale, "STALE", "purchaseOrders/"+id, "purchaseOrders/%s has changed since you read it; read it again and repeat.", id)
		}
		in, err := b.plantDay(ctx, tx)
		if err != nil {
			return err
		}
		if err := change(&read.Value, in); err != nil {
			return err
		}
		rec, err = tx.PurchaseOrders().Update(ctx, read.Value, read.Version)
		return err
	})
	return rec, err
}

// receiveAgainstOrder books a delivery of a material against an order. It runs
// inside the transaction that receives the lot.
func (b *Book) receiveAgainstOrder(ctx context.Context, tx Tx, orderID, materialID string, q mass.Mass, d purchase.Delivery) error {
	rec, err := tx.PurchaseOrders().Get(ctx, orderID)
	if err != nil {
		return missing(err, "purchase_order", "purchaseOrders/"+orderID)
	}
	in, err := b.plantDay(ctx, tx)
	if err != nil {
		return err
	}
	name := "purchaseOrders/" + orderID
	o, err := rec.Value.Receive(materialID, q, d, in.tolerance)
	var over *purchase.OverDelivery
	switch {
	case errors.Is(err, purchase.ErrNotOpen):
		return Faultf(ErrNotReady, "ORDER_NOT_OPEN", name, "%s is %s; a delivery can be booked only against an order that is sent.", name, inWords(rec.Value.State))
	case errors.Is(err, purchase.ErrNotOnOrder):
		return Faultf(ErrConflict, "NOT_ON_ORDER", name, "%s has no line for materials/%s; name the right order or leave it empty.", name, materialID)
	case errors.As(err, &over):
		return InvalidField("quantity_kg", "%s of materials/%s are still to come on %s, and at most %s may be delivered (the plant takes %s %% more than ordered); "+
			"receive that much against it, and the rest without an order or send it back.", over.Open, materialID, name, over.Allowed, in.tolerance.OverPercent)
	case err != nil:
		return err
	}
	return writeOrder(ctx, tx, o, rec.Version)
}

func writeOrder(ctx context.Context, tx Tx, o purchase.Order, version int64) error {
	_, err := tx.PurchaseOrders().Update(ctx, o, version)
	if errors.Is(err, ErrStale) {
		name := "purchaseOrders/" + o.ID
		return Faultf(ErrBusy, "ORDER_BUSY", name, "another delivery is being booked against %s; send this one again.", name)
	}
	return err
}

// reverseReceipt posts the reversal of a receipt together with what it takes back
// from the order that the receipt was booked against; done is false where there is
// no such order, or where it was taken back before.
func (b *Book) reverseReceipt(ctx context.Context, of, reversal ledger.Movement) (done bool, err error) {
	err = b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		done = false
		in, err := b.plantDay(ctx, tx)
		if err != nil {
			return err
		}
		orders, err := tx.PurchaseOrders().List(ctx, Query{Where: []Condition{{"supplier", "=", supplierOf(of)}}})
		if err != nil {
			return err
		}
		for _, rec := range orders {
			o, back := rec.Value.Reverse(of.ID, in.tolerance)
			if back == 0 {
				continue
			}
			done = true
			if err := writeOrder(ctx, tx, o, rec.Version); err != nil {
				return err
			}
		}
		if !done {
			return nil
		}
		return tx.Ledger().Post(ctx, reversal)
	})
	return done, err
}

// supplierOf is the supplier of a receipt.
func supplierOf(m ledger.Movement) string {
	for _, e := range m.Entries {
		if e.Account.Kind == ledger.Supplier {
			return e.Account.Party
		}
	}
	return ""
}

// DeliveredLots are the lots that the orders' deliveries brought, as they stand
// today: what they cost in the end.
func (b *Book) DeliveredLots(ctx context.Context, orders []Record[purchase.Order]) (map[string]StockLot, error) {
	out := map[string]StockLot{}
	for _, rec := range orders {
		for _, l := range rec.Value.Lines {
			for _, d := range l.Deliveries {
				out[d.Lot] = StockLot{}
			}
		}
	}
	if len(out) == 0 {
		return out, nil
	}
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		for id := range out {
			rec, err := tx.Lots().Get(ctx, id)
			if err != nil {
				return err
			}
			out[id] = rec.Value
		}
		return nil
	})
	return out, err
}
