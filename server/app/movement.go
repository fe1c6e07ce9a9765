package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"millbase/inventory/batch"
	"millbase/inventory/ledger"
	"millbase/inventory/mass"
)

// Posting is a movement that someone wants posted. What the kind needs beside
// lot, location and quantity is checked by it.
type Posting struct {
	ID          string
	Kind        ledger.Kind
	Lot         string
	Location    string
	Quantity    mass.Mass // above zero; for an adjustment also below
	ToLocation  string    // transfer
	Batch       string    // issue, return
	Customer    string    // issue
	Reservation string    // issue
	Note        string
}

// Post posts one movement: issue, adjustment, transfer, return or scrap.
func (b *Book) Post(ctx context.Context, p Posting) (ledger.Movement, error) {
	m, err := b.movements(ctx, []Posting{p}, func(int) string { return "movement." })
	if err != nil {
		return ledger.Movement{}, err
	}
	posted, _, err := b.store.Post(ctx, m[0])
	return posted, asAsked(err)
}

// storeFields are the store's names for what a caller sent, and the caller's.
var storeFields = strings.NewReplacer("movements[", "requests[", "entries.lot", "movement.lot", "entries.location", "movement.location",
	"entries.quantity", "movement.quantity_kg", "uses.reservation", "movement.reservation", "uses.quantity", "movement.quantity_kg")

// asAsked names the fields of a refusal by the store as the caller knows them.
func asAsked(err error) error {
	var stored Invalid
	if !errors.As(err, &stored) {
		return err
	}
	out := slices.Clone(stored)
	for i := range out {
		if out[i].Field = storeFields.Replace(out[i].Field); out[i].Field == "id" {
			out[i].Field = "movement_id"
		}
	}
	return out
}

// PostAll posts all movements in one transaction, or none.
func (b *Book) PostAll(ctx context.Context, ps []Posting) ([]ledger.Movement, error) {
	ms, err := b.movements(ctx, ps, func(i int) string { return fmt.Sprintf("requests[%d].movement.", i) })
	if err != nil {
		return nil, err
	}
	posted, err := b.store.PostAll(ctx, ms)
	err = asAsked(err)
	if bad := (Invalid)(nil); errors.As(err, &bad) {
		for i, f := range bad {
			if len(ps) == 1 && !strings.HasPrefix(f.Field, "requests[") {
				bad[i].Field = "requests[0]." + f.Field // the store numbers several only
			}
		}
	}
	return posted, err
}

// movements builds the movements. What they refer to is looked up once for all,
// and not at all when nothing has to be: an issue to a customer, a scrapping and
// an adjustment are judged by the database alone.
func (b *Book) movements(ctx context.Context, ps []Posting, field func(int) string) ([]ledger.Movement, error) {
	refs, err := b.referred(ctx, ps)
	if err != nil {
		return nil, err
	}
	out, bad := make([]ledger.Movement, len(ps)), Invalid(nil)
	for i, p := range ps {
		m, err := refs.build(p, CallerOf(ctx).Title, field(i))
		var invalid Invalid
		if errors.As(err, &invalid) {
			bad = append(bad, invalid...)
		} else if err != nil {
			return nil, err
		}
		out[i] = m
	}
	if len(bad) > 0 {
		return nil, bad
	}
	return out, nil
}

// references are the lots and batches that postings need looked up.
type references struct {
	suppliers map[string]string // of a lot that goes back
	batches   map[string]batch.State
}

func (b *Book) referred(ctx context.Context, ps []Posting) (references, error) {
	refs := references{map[string]string{}, map[string]batch.State{}}
	for _, p := range ps {
		if p.Batch != "" {
			refs.batches[p.Batch] = ""
		} else if p.Kind == ledger.Return {
			refs.suppliers[p.Lot] = ""
		}
	}
	if len(refs.batches)+len(refs.suppliers) == 0 {
		return refs, nil
	}
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		for id := range refs.batches {
			rec, err := tx.Batches().Get(ctx, id)
			if err != nil {
				return missing(err, "movement.batch", "batches/"+id)
			}
			refs.batches[id] = rec.Value.State
		}
		for id := range refs.suppliers {
			rec, err := tx.Lots().Get(ctx, id)
			if err != nil {
				return missing(err, "movement.lot", "lots/"+id)
			}
			refs.suppliers[id] = rec.Value.Supplier
		}
		return nil
	})
	return refs, err
}

func (r references) build(p Posting, actor, field string) (ledger.Movement, error) {
	if err := p.unused(field); err != nil {
		return ledger.Movement{}, err
	}
	if state := r.batches[p.Batch]; state == batch.Finished || state == batch.Cancelled {
		return ledger.Movement{}, Faultf(ErrNotReady, "BATCH_CLOSED", "batches/"+p.Batch, "batch %s is %s; nothing more goes into it or comes back from it", p.Batch, state)
	}
	for _, must := range []struct{ name, value string }{{"lot", p.Lot}, {"location", p.Location}} {
		if must.value == "" {
			return ledger.Movement{}, InvalidField(field+must.name, "must be given")
		}
	}
	head, at := ledger.Head{ID: p.ID, Note: p.Note, Actor: actor}, ledger.Place{Lot: p.Lot, Location: p.Location}
	var m ledger.Movement
	var err error
	switch {
	case p.Kind == ledger.Issue:
		m, err = ledger.NewIssue(head, at, ledger.Destination{Batch: p.Batch, Customer: p.Customer, Reservation: p.Reservation}, p.Quantity)
	case p.Kind == ledger.Adjustment:
		m, err = ledger.NewAdjustment(head, at, p.Quantity)
	case p.Kind == ledger.Transfer:
		m, err = ledger.NewTransfer(head, at, p.ToLocation, p.Quantity)
	case p.Kind == ledger.Return && p.Batch != "":
		m, err = ledger.NewBatchReturn(head, at, p.Batch, p.Quantity)
	case p.Kind == ledger.Return:
		if r.suppliers[p.Lot] == "" {
			return m, InvalidField(field+"batch", "lot %s has no supplier to go back to; name the batch that it comes back from", p.Lot)
		}
		m, err = ledger.NewReturn(head, at, r.suppliers[p.Lot], p.Quantity)
	case p.Kind == ledger.Scrap:
		m, err = ledger.NewScrap(head, at, p.Quantity)
	default:
		return m, InvalidField(field+"kind", "%s", otherWay[p.Kind])
	}
	return m, movementFault(err, field)
}

// otherWay says how the kinds are posted that can't be posted as they are.
var otherWay = map[ledger.Kind]string{
	"":                "must be one of ISSUE, ADJUSTMENT, TRANSFER, RETURN, SCRAP",
	ledger.Receipt:    "a receipt is posted by receiving a lot (lots:receive)",
	ledger.Production: "a production is posted by finishing a batch (batches/...:finish)",
	ledger.Reversal:   "a reversal is posted by movements/...:reverse",
}

// unused refuses fields that mean nothing for the kind: whoever sent them
// expects something that would not happen.
func (p Posting) unused(field string) error {
	var bad Invalid
	for _, f := range []struct {
		name, value string
		kinds       []ledger.Kind
	}{
		{"to_location", p.ToLocation, []ledger.Kind{ledger.Transfer}},
		{"batch", p.Batch, []ledger.Kind{ledger.Issue, ledger.Return}},
		{"customer", p.Customer, []ledger.Kind{ledger.Issue}},
		{"reservation", p.Reservation, []ledger.Kind{ledger.Issue}},
	} {
		if f.value != "" && !slices.Contains(f.kinds, p.Kind) {
			bad = append(bad, FieldError{field + f.name, fmt.Sprintf("means nothing for a movement of kind %s; leave it out", p.Kind)})
		}
	}
	if len(bad) > 0 {
		return bad
	}
	return nil
}

// movementFault turns an error of a constructor into one of the field that it is
// about.
func movementFault(err error, field string) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, ledger.ErrQuantity):
		return InvalidField(field+"quantity_kg", "must be above 0 kg and at most 1,000,000 t")
	case errors.Is(err, ledger.ErrNothing):
		return InvalidField(field+"quantity_kg", "must not be 0: give what to add to the book, or take from it with a minus")
	case errors.Is(err, ledger.ErrPlace):
		return Invalid{{field + "lot", "both lot and location must be given"}}
	case errors.Is(err, ledger.ErrSamePlace):
		return InvalidField(field+"to_location", "is where the lot is; name another location")
	case errors.Is(err, ledger.ErrParty) && field != "":
		return InvalidField(field+"batch", "say where it goes: name a batch or a customer, one of them (for a transfer, to_location)")
	case errors.Is(err, ledger.ErrReversal):
		return Faultf(ErrConflict, "REVERSAL_OF_REVERSAL", "", "a reversal can't be reversed; post what should have happened")
	}
	return err
}

// Movement reads one movement.
func (b *Book) Movement(ctx context.Context, id string) (ledger.Movement, error) {
	var m ledger.Movement
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		m, err = tx.Stock().Movement(ctx, id)
		return err
	})
	return m, err
}

// Movements lists movements, newest first; conditions: lot, batch, kind,
// posted_at.
func (b *Book) Movements(ctx context.Context, q Query) ([]ledger.Movement, error) {
	var ms []ledger.Movement
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		ms, err = tx.Stock().Movements(ctx, q)
		return err
	})
	return ms, err
}

// Reverse undoes a movement by a new one; the reversal of a receipt also takes back
// what it brought from the purchase order. What a batch made or consumed is not
// undone here, so that the batch and the ledger stay together.
func (b *Book) Reverse(ctx context.Context, id, movementID, note string) (ledger.Movement, error) {
	of, err := b.Movement(ctx, id)
	if err != nil {
		return ledger.Movement{}, err
	}
	if of.Kind == ledger.Production {
		return ledger.Movement{}, Faultf(ErrConflict, "PRODUCTION_STANDS", "movements/"+id, "what a batch made can't be reversed; adjust or scrap the finished lot instead")
	}
	m, err := ledger.NewReversal(ledger.Head{ID: movementID, Note: note, Actor: CallerOf(ctx).Title}, of)
	if err != nil {
		return ledger.Movement{}, movementFault(err, "")
	}
	if of.Kind == ledger.Receipt {
		if done, err := b.reverseReceipt(ctx, of, m); err != nil {
			return ledger.Movement{}, asAsked(err)
		} else if done {
			return b.Movement(ctx, movementID)
		}
	}
	posted, _, err := b.store.Post(ctx, m)
	return posted, err
}
