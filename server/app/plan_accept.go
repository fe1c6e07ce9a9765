package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"millbase/costing/purchase"
	"millbase/inventory/batch"
	"millbase/inventory/ledger"
	"millbase/inventory/mass"
)

// AcceptPlan drafts the plan's orders, plans its base inks and reserves the lots of
// the batches that stock alone is enough for, in one transaction, and only while
// what the plan rests on stands as it did. Accepting it again answers as before.
func (b *Book) AcceptPlan(ctx context.Context, id string, once Request) (*JointPlan, error) {
	var out *JointPlan
	var err error
	for range raceTries {
		err = b.store.Update(ctx, func(ctx context.Context, tx Tx) (err error) {
			out, err = b.acceptPlan(ctx, tx, id, once)
			return err
		})
		// Others took or changed something between reading and writing it: look again,
		// and say what is other.
		if !errors.Is(err, ErrStale) && !takenByOthers(err) {
			break
		}
	}
	return out, err
}

func (b *Book) acceptPlan(ctx context.Context, tx Tx, id string, once Request) (*JointPlan, error) {
	if err := tx.Plans().OneByOne(ctx); err != nil {
		return nil, err
	}
	rec, err := tx.Plans().Get(ctx, id)
	if err != nil {
		return nil, absent(err, "plans/"+id)
	}
	if _, err := seenBefore(ctx, tx, once, id); err != nil {
		return nil, err
	}
	p, err := planOf(rec)
	if err != nil || p.State == PlanAccepted {
		return p, err
	}
	j, now, err := b.stampsNow(ctx, tx)
	if err != nil {
		return nil, err
	}
	var rests planStamps
	if err := json.Unmarshal(rec.Value.Rests, &rests); err != nil {
		return nil, fmt.Errorf("stored plan %s: %w", id, err)
	}
	if changed := rests.against(now); len(changed) > 0 {
		return nil, bookChanged(id, changed)
	}
	if err := p.outOfDate(j.today); err != nil {
		return nil, err
	}
	a := &accepting{b: b, j: j, p: p, places: j.room.freePlaces(), done: PlanAcceptance{At: b.clock().UTC().Truncate(time.Second)}}
	for _, step := range []func(context.Context, Tx) error{a.release, a.reserve, a.planMade, a.draft} {
		if err := step(ctx, tx); err != nil {
			return nil, err
		}
	}
	stored := rec.Value
	stored.State = string(PlanAccepted)
	if stored.Acceptance, err = json.Marshal(a.done); err != nil {
		return nil, fmt.Errorf("accepting a plan: %w", err)
	}
	if rec, err = tx.Plans().Update(ctx, stored, rec.Version); err != nil {
		return nil, err
	}
	return planOf(rec)
}

// outOfDate refuses a plan of which an order should have been placed before today.
func (p *JointPlan) outOfDate(today time.Time) error {
	for _, o := range p.Orders {
		if o.OrderBy.Before(today) {
			return Faultf(ErrConflict, "PLAN_OUT_OF_DATE", "plans/"+p.ID, "plans/%s is of %s, and by it %s of %s had to be ordered by %s. Make the plan anew.",
				p.ID, dayOf(p.Date), o.Quantity, o.Title, dayOf(o.OrderBy))
		}
	}
	return nil
}

// accepting is a plan on its way into the book.
type accepting struct {
	b      *Book
	j      *jointPlanning // the book as it stands
	p      *JointPlan
	places freePlaces
	done   PlanAcceptance
}

// release gives back what an earlier plan has set aside for the plan's batches.
func (a *accepting) release(ctx context.Context, tx Tx) error {
	planned := map[string]bool{}
	for _, of := range a.p.Batches {
		planned[of.Batch] = true
	}
	var ids []string
	for _, b := range a.j.supply.batches {
		if b.State != batch.Planned || !planned["batches/"+b.ID] {
			continue
		}
		ids = append(ids, reservationsOf(b)...)
		for _, l := range b.Lines {
			a.places.giveBack(l)
		}
	}
	if len(ids) == 0 {
		return nil
	}
	return tx.Ledger().Release(ctx, ids...)
}

// giveBack makes what was set aside free again.
func (f freePlaces) giveBack(l batch.Line) {
	for i := range f[l.Lot] {
		if f[l.Lot][i].Location == l.Location {
			f[l.Lot][i].OnHand += l.Quantity
			return
		}
	}
	f[l.Lot] = append(f[l.Lot], LotBalance{Balance: ledger.Balance{Lot: l.Lot, Location: l.Location, OnHand: l.Quantity}, Material: l.Material})
}

// reserve sets lots aside for every batch: all of them where one run makes it from
// stock alone, else those that the plan gives it, for the rest is still to come.
func (a *accepting) reserve(ctx context.Context, tx Tx) error {
	for _, of := range a.p.Batches {
		id, inBook := strings.CutPrefix(of.Batch, "batches/")
		if !inBook {
			continue
		}
		rec, err := tx.Batches().Get(ctx, id)
		if err != nil {
			return absent(err, of.Batch)
		}
		var lines []batch.Line
		if of.FromStock {
			if lines, err = a.lines(ctx, of, rec.Value); err != nil {
				return err
			}
		}
		whole := lines != nil
		if !whole {
			lines = a.part(of)
		}
		if err := a.setAside(ctx, tx, rec, of, lines, whole); err != nil {
			return err
		}
		switch {
		case whole:
			a.done.Reserved = append(a.done.Reserved, id)
		case len(of.Runs) > 0:
			a.done.Waiting = append(a.done.Waiting, id)
		}
	}
	return nil
}

// setAside reserves the lines and keeps them with the batch, which stays planned
// unless they are the whole of it. A batch that takes
// another blend than its formula is made by the specification from now on.
func (a *accepting) setAside(ctx context.Context, tx Tx, rec Record[batch.Batch], of PlannedBatch, lines []batch.Line, whole bool) error {
	b := rec.Value
	if len(of.Changes) > 0 && b.Formula != "" {
		f, known := a.j.supply.formulas.of(b)
		if !known || f.Specification == "" {
			return Faultf(ErrConflict, "BOOK_CHANGED", "batches/"+b.ID, "The formula of batches/%s has no specification any more. Make the plan anew.", b.ID)
		}
		b.Note = strings.TrimSpace(fmt.Sprintf("%s\nPlanned by formulas/%s; plans/%s takes another blend.", b.Note, revisionID(b.Formula, b.FormulaRevision), a.p.ID))
		b.Formula, b.FormulaRevision, b.Specification = "", 0, f.Specification
	}
	made := make([]ledger.Reservation, len(lines))
	for i := range lines {
		l := &lines[i]
		l.Reservation = uuid.NewString()
		made[i] = ledger.Reservation{ID: l.Reservation, Lot: l.Lot, Location: l.Location, Quantity: l.Quantity, Remaining: l.Quantity,
			Batch: b.ID, Actor: CallerOf(ctx).Title}
	}
	var err error
	switch {
	case whole:
		b, err = b.Reserve(lines)
	case len(lines) > 0:
		b, err = b.SetAside(lines)
	default:
		b.Lines = nil
	}
	if err != nil {
		return batchFault(err, b.ID)
	}
	if _, err := tx.Batches().Update(ctx, b, rec.Version); err != nil || len(made) == 0 {
		return err
	}
	return tx.Ledger().Reserve(ctx, made...)
}

// planMade puts the base inks that are lacking into the book as planned batches.
func (a *accepting) planMade(ctx context.Context, tx Tx) error {
	for _, of := range a.p.Batches {
		if !of.ToPlan {
			continue
		}
		id, revision, _ := splitRevision(of.Formula)
		for _, r := range oneRun(of.Runs) {
			filled, err := completed(ctx, tx, batch.Batch{ID: a.freeID(of.Material, a.done.Planned), Formula: id, FormulaRevision: revision,
				Quantity: r.Mass, DueDate: a.j.readyAfter(of.Formula, r.Mass, r.Begin), Note: "plans/" + a.p.ID})
			if err != nil {
				return err
			}
			planned, err := batch.Plan(filled)
			if err != nil {
				return batchFault(err, filled.ID)
			}
			rec, err := tx.Batches().Create(ctx, planned)
			if err != nil {
				return taken(err, "batches/"+filled.ID)
			}
			if lines := a.part(PlannedBatch{Runs: []PlannedRun{r}}); len(lines) > 0 {
				if err := a.setAside(ctx, tx, rec, PlannedBatch{}, lines, false); err != nil {
					return err
				}
			}
			a.done.Planned = append(a.done.Planned, filled.ID)
		}
	}
	return nil
}

// oneRun joins the runs of a base ink that are all made from stock into the first
// of them: one batch is less work than several.
func oneRun(runs []PlannedRun) []PlannedRun {
	if len(runs) < 2 {
		return runs
	}
	one := PlannedRun{Period: runs[0].Period, Begin: runs[0].Begin}
	for _, r := range runs {
		for _, c := range r.Components {
			if !strings.HasPrefix(c.Candidate, "lots/") {
				return runs
			}
			one.Components = append(one.Components, c)
		}
		one.Mass += r.Mass
	}
	return []PlannedRun{one}
}

// readyAfter is the first day on which a batch can be due that is begun on a day.
func (j *jointPlanning) readyAfter(revision string, quantity mass.Mass, begin time.Time) time.Time {
	f, known := j.supply.formulas.revisions[revision]
	due := begin
	for range 90 {
		if !known || !j.supply.startBy(f, quantity, due).Before(begin) {
			break
		}
		due = due.AddDate(0, 0, 1)
	}
	return due
}

// freeID is an id after the plan and what it is of.
func (a *accepting) freeID(of string, taken []string) string {
	id := fmt.Sprintf("%s-%s", a.p.ID, of)
	if len(id) > 55 {
		id = strings.TrimRight(id[:55], "-")
	}
	for n := 2; slices.Contains(taken, id); n++ {
		id = fmt.Sprintf("%s-%d", strings.TrimSuffix(id, fmt.Sprintf("-%d", n-1)), n)
	}
	return id
}

// draft makes one draft per supplier and currency of all that is ordered.
func (a *accepting) draft(ctx context.Context, tx Tx) error {
	type from struct{ supplier, currency string }
	orders := map[from]*purchase.Order{}
	var all []*purchase.Order
	for _, o := range a.p.Orders {
		key := from{o.Supplier, o.PricePerKg.Currency}
		into := orders[key]
		if into == nil || len(into.Lines) == mostLines {
			into = &purchase.Order{ID: a.freeID(o.Supplier, a.done.Orders), Supplier: o.Supplier, Currency: key.currency, State: purchase.Draft, Note: "plans/" + a.p.ID}
			orders[key] = into
			all = append(all, into)
			a.done.Orders = append(a.done.Orders, into.ID)
		}
		into.Lines = append(into.Lines, purchase.Line{Material: o.Material, Offer: o.Offer[strings.LastIndex(o.Offer, "/")+1:], Quantity: o.Quantity,
			PricePerKg: o.PricePerKg.Amount, DueDate: o.Arrives})
	}
	for _, o := range all {
		if err := checkOrder(ctx, tx, *o, a.j.today); err != nil {
			return a.notAsOffered(o, err)
		}
		if _, err := tx.PurchaseOrders().Create(ctx, *o); err != nil {
			return taken(err, "purchaseOrders/"+o.ID)
		}
	}
	return nil
}

// mostLines is how many lines an order can have.
const mostLines = 100

// notAsOffered says that an order does not fit its offers: a plan's own fault.
func (a *accepting) notAsOffered(o *purchase.Order, err error) error {
	var bad Invalid
	if !errors.As(err, &bad) {
		return err
	}
	return Faultf(ErrConflict, "ORDER_NOT_AS_OFFERED", "plans/"+a.p.ID, "The order to suppliers/%s can't be drafted: %s. Make the plan anew.", o.Supplier, bad.Error())
}
