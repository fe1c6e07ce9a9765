package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/allocation"
	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/ledger"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
)

// reserveTries is how often a batch is reserved anew when others took the same
// lots in between.
const reserveTries = 10

// ReserveBatch chooses lots and sets them aside, all of them or none, in one
// transaction with the batch. By formula: what expires first. By specification:
// the cheapest formula from stock, rounded to the plant's scale. Lots must be in
// date on the due date (today, when that is past). A shortage names every
// material and how much is missing of it.
func (b *Book) ReserveBatch(ctx context.Context, id string, basis valuation.Basis, version int64) (Record[batch.Batch], error) {
	var rec Record[batch.Batch]
	basis, err := checkBasis(basis)
	if err != nil {
		return rec, err
	}
	for range reserveTries {
		err = b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
			rec, err = b.reserveBatch(ctx, tx, id, basis, version)
			return err
		})
		if !takenByOthers(err) || ctx.Err() != nil {
			break
		}
	}
	return rec, err
}

// takenByOthers reports whether somebody took the stock between reading and
// reserving it, so that choosing anew may work.
func takenByOthers(err error) bool {
	var f *Fault
	return errors.As(err, &f) && (f.Reason == "RESERVED" || f.Reason == "NEGATIVE_BALANCE")
}

func (b *Book) reserveBatch(ctx context.Context, tx Tx, id string, basis valuation.Basis, version int64) (rec Record[batch.Batch], err error) {
	current, err := readBatch(ctx, tx, id, version)
	if err != nil {
		return rec, err
	}
	if current.Value.State != batch.Planned {
		_, err := current.Value.Reserve(nil)
		return rec, batchFault(err, id)
	}
	// What a plan has set aside for it is chosen anew with the rest.
	if ids := reservationsOf(current.Value); len(ids) > 0 {
		if err := tx.Ledger().Release(ctx, ids...); err != nil {
			return rec, err
		}
	}
	var lines []batch.Line
	if current.Value.Formula != "" {
		lines, err = b.linesByFormula(ctx, tx, current.Value)
	} else {
		lines, err = b.linesBySpecification(ctx, tx, current.Value, basis)
	}
	if err != nil {
		return rec, err
	}
	made := make([]ledger.Reservation, len(lines))
	for i := range lines {
		l := &lines[i]
		l.Reservation = uuid.NewString()
		made[i] = ledger.Reservation{ID: l.Reservation, Lot: l.Lot, Location: l.Location, Quantity: l.Quantity,
			Remaining: l.Quantity, Batch: id, Actor: CallerOf(ctx).Title}
	}
	reserved, err := current.Value.Reserve(lines)
	if err != nil {
		return rec, batchFault(err, id)
	}
	// The batch first: who reserves the same one at the same moment waits here,
	// and is told that it has changed.
	if rec, err = tx.Batches().Update(ctx, reserved, current.Version); err != nil {
		return rec, err
	}
	return rec, tx.Ledger().Reserve(ctx, made...)
}

// useDate is the day on which the lots of a batch must be in date.
func (r *stockRoom) useDate(b batch.Batch) time.Time {
	if b.DueDate.After(r.today) {
		return b.DueDate
	}
	return r.today
}

// linesByFormula weighs out a formula revision: charges on the scale, from the
// lots that expire first.
func (b *Book) linesByFormula(ctx context.Context, tx Tx, of batch.Batch) ([]batch.Line, error) {
	rec, err := tx.Formulas().Get(ctx, revisionID(of.Formula, of.FormulaRevision))
	if err != nil {
		return nil, absent(err, "formulas/"+revisionID(of.Formula, of.FormulaRevision))
	}
	if !rec.Value.Released {
		return nil, Faultf(ErrNotReady, "FORMULA_NOT_RELEASED", "formulas/"+revisionID(of.Formula, of.FormulaRevision),
			"Formula %s is not released; release it first.", revisionID(of.Formula, of.FormulaRevision))
	}
	room, err := b.loadStockRoom(ctx, tx)
	if err != nil {
		return nil, err
	}
	demands := room.demands(rec.Value, of)
	picked, err := allocation.AllocateAll(demands, room.weighable())
	if err != nil {
		return nil, fmt.Errorf("allocating for batch %s: %w", of.ID, err)
	}
	if short := room.shortages(demands, picked); short != nil {
		return nil, Faultf(ErrConflict, "STOCK_SHORT", "batches/"+of.ID, "Not enough stock for batch %s: %s. Receive more, release lots or make the batch smaller.",
			of.ID, strings.Join(short, "; "))
	}
	left := room.freePlaces()
	var lines []batch.Line
	for i, d := range demands {
		for _, p := range picked[i].Picks {
			lines = append(lines, left.take(d.Material, p.Lot, p.Mass)...)
		}
	}
	return batch.WeighingOrder(lines, room.class), nil
}

func (r *stockRoom) class(material string) inventory.Class { return r.materials[material].Class }

// demands are the charges of a formula; those that name a lot come first, so that
// nobody else takes it.
func (r *stockRoom) demands(f formula.Formula, of batch.Batch) []allocation.Demand {
	out := make([]allocation.Demand, 0, len(f.Ingredients))
	charges := f.Charges(of.Quantity, r.plant.ScaleDivision)
	for _, named := range []bool{true, false} {
		for i, in := range f.Ingredients {
			if (in.Lot != "") != named {
				continue
			}
			d := allocation.Demand{ID: fmt.Sprint(i), Material: in.Material, Mass: charges[i], On: r.useDate(of), Exclude: map[string]string{}}
			if named {
				d.ID += " lot " + in.Lot
				for _, l := range r.lots {
					if l.Material == in.Material && l.ID != in.Lot {
						d.Exclude[l.ID] = "the formula names lot " + in.Lot
					}
				}
			}
			out = append(out, d)
		}
	}
	return out
}

// weighable is the stock that can be weighed on the plant's scale: the free mass
// at each location, down to whole divisions.
func (r *stockRoom) weighable() []allocation.Lot {
	left := r.freePlaces()
	out := make([]allocation.Lot, 0, len(r.lots))
	for _, l := range r.lots {
		a := allocation.Lot{ID: l.ID, Material: l.Material, OnHand: left.sum(l.ID), Received: l.ReceivedDate}
		if !l.ExpiryDate.IsZero() {
			a.Expiry = l.ExpiryDate.AddDate(0, 0, 1) // its last day counts
		}
		if l.Status == lot.Released {
			a.Status = allocation.Released
		}
		out = append(out, a)
	}
	return out
}

// shortages says what is missing, by material, or nil.
func (r *stockRoom) shortages(demands []allocation.Demand, got []allocation.Allocation) []string {
	need, short := map[string]mass.Mass{}, map[string]mass.Mass{}
	named := map[string]string{}
	var order []string
	for i, d := range demands {
		need[d.Material] += d.Mass
		if got[i].Shortfall == 0 {
			continue
		}
		if short[d.Material] == 0 {
			order = append(order, d.Material)
		}
		short[d.Material] += got[i].Shortfall
		if _, lot, ok := strings.Cut(d.ID, " lot "); ok {
			named[d.Material] = lot
		}
	}
	slices.Sort(order)
	var out []string
	for _, m := range order {
		title := r.materials[m].Title
		if lot := named[m]; lot != "" {
			title += " (lot " + lot + ")"
		}
		out = append(out, fmt.Sprintf("%s is %s short of %s", title, short[m], need[m]))
	}
	return out
}

// freePlaces is what is free of each lot at each location, in whole divisions of
// the scale.
type freePlaces map[string][]LotBalance

func (r *stockRoom) freePlaces() freePlaces {
	out := freePlaces{}
	for lot, at := range r.places {
		for _, p := range at {
			free := max(0, p.Free())
			if r.plant.ScaleDivision > 0 {
				free = free.RoundTo(r.plant.ScaleDivision, mass.RoundFloor)
			}
			p.OnHand, p.Reserved = free, 0
			out[lot] = append(out[lot], p)
		}
		// The fuller place first: fewer weighings.
		slices.SortStableFunc(out[lot], func(a, b LotBalance) int { return int(min(1, max(-1, b.OnHand-a.OnHand))) })
	}
	return out
}

func (f freePlaces) sum(id string) (total mass.Mass) {
	for _, p := range f[id] {
		total += p.OnHand
	}
	return total
}

// take draws a mass of a lot from its locations: from one that holds all of it
// where there is one, else from the fullest on.
func (f freePlaces) take(material, id string, m mass.Mass) []batch.Line {
	if m <= 0 {
		return nil
	}
	var lines []batch.Line
	places := f[id]
	for i := len(places) - 1; i >= 0; i-- {
		if places[i].OnHand >= m { // the smallest that is enough
			places[i].OnHand -= m
			return []batch.Line{{Material: material, Lot: id, Location: places[i].Location, Quantity: m}}
		}
	}
	for i := range places {
		if n := min(m, places[i].OnHand); n > 0 {
			places[i].OnHand -= n
			m -= n
			lines = append(lines, batch.Line{Material: material, Lot: id, Location: places[i].Location, Quantity: n})
		}
	}
	return lines
}
