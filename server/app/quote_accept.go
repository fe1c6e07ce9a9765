package app

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"millbase/inventory"
	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
)

// AcceptRequest is that a customer takes a quote.
type AcceptRequest struct {
	Quote    string // "id": what was sent last; "id@2": it must be that revision
	Quantity mass.Mass
	Batch    string    // id of the batch that is planned; empty: the quote's
	Due      time.Time // zero: the quoted lead time from today
}

// AcceptQuote takes the revision that was sent last at one of its quantities and
// plans the batch, in one transaction.
func (b *Book) AcceptQuote(ctx context.Context, r AcceptRequest, req Request) (Acceptance, error) {
	var out Acceptance
	var err error
	for range raceTries {
		err = b.store.Update(ctx, func(ctx context.Context, tx Tx) (err error) {
			out, err = b.accept(ctx, tx, r, req)
			return err
		})
		if !errors.Is(err, ErrStale) { // others changed the quote at this moment: look again
			break
		}
	}
	return out, err
}

func (b *Book) accept(ctx context.Context, tx Tx, r AcceptRequest, req Request) (Acceptance, error) {
	id, revision, named := splitRevision(r.Quote)
	if !named {
		id = r.Quote
	}
	head, err := tx.Quotes().Get(ctx, id)
	if err != nil {
		return Acceptance{}, absent(err, "quotes/"+r.Quote)
	}
	seen, err := seenBefore(ctx, tx, req, id)
	if err != nil {
		return Acceptance{}, err
	}
	v := head.Value
	switch {
	case seen != "":
		return b.acceptanceOf(ctx, tx, &v)
	case v.State == string(QuoteAccepted):
		return Acceptance{}, alreadyAccepted(&v)
	case v.SentRevision == 0:
		return Acceptance{}, notSent(id)
	case named && revision > v.SentRevision:
		return Acceptance{}, notSent(r.Quote)
	case named && revision != v.SentRevision:
		return Acceptance{}, Faultf(ErrNotReady, "QUOTE_REPLACED", "quotes/"+r.Quote, "quotes/%s was replaced: quotes/%s was sent after it; accept that one.",
			r.Quote, revisionID(id, v.SentRevision))
	}
	sent, err := tx.Quotes().Get(ctx, revisionID(id, v.SentRevision))
	if err != nil {
		return Acceptance{}, err
	}
	today, err := b.todayOf(ctx, tx)
	if err != nil {
		return Acceptance{}, err
	}
	q, err := quoteOf(sent, today)
	if err != nil {
		return Acceptance{}, err
	}
	if q.State == QuoteLapsed {
		return Acceptance{}, lapsed(&sent.Value)
	}
	if err := q.settle(&r, today); err != nil {
		return Acceptance{}, err
	}
	if err := b.planAccepted(ctx, tx, q, r); err != nil {
		return Acceptance{}, q.forDesk(ctx, err)
	}
	v.State, v.Accepted, v.AcceptedQuantity, v.AcceptedDue, v.AcceptedBatch = string(QuoteAccepted), today, r.Quantity, r.Due, r.Batch
	if head, err = tx.Quotes().Update(ctx, v, head.Version); err != nil {
		return Acceptance{}, err
	}
	return *q.acceptance(head.Value), nil
}

// acceptanceOf reads how a quote was accepted.
func (b *Book) acceptanceOf(ctx context.Context, tx Tx, v *StoredQuote) (Acceptance, error) {
	q, err := b.readQuote(ctx, tx, revisionID(v.ID, v.SentRevision))
	if err != nil {
		return Acceptance{}, err
	}
	return *q.acceptance(*v), nil
}

// settle checks what the customer chose and fills in what was left open.
func (q Quote) settle(r *AcceptRequest, today time.Time) error {
	k, ok := q.breakFor(r.Quantity)
	if !ok {
		var known []string
		for _, k := range q.Breaks {
			known = append(known, k.Quantity.String())
		}
		return InvalidField("quantity_kg", "quotes/%s has prices for %s; choose one of them, or ask for a revision with the quantity.",
			revisionID(q.ID, q.Revision), strings.Join(known, ", "))
	}
	if r.Batch == "" {
		r.Batch = q.ID
	}
	earliest := today
	if k.Lead.Possible {
		earliest = today.AddDate(0, 0, k.Lead.Days)
	}
	switch {
	case r.Due.IsZero() && !k.Lead.Possible:
		return InvalidField("due_date", "the quote promises no date for %s; agree on one with the plant and give it.", r.Quantity)
	case r.Due.IsZero():
		r.Due = earliest
	case r.Due.Before(today):
		return InvalidField("due_date", "%s is past; give today, %s, or later.", r.Due.Format(time.DateOnly), today.Format(time.DateOnly))
	case r.Due.Before(earliest):
		return InvalidField("due_date", "%s is too early: by the quoted lead time of %d days it can be had on %s.",
			r.Due.Format(time.DateOnly), k.Lead.Days, earliest.Format(time.DateOnly))
	}
	return nil
}

// planAccepted plans the batch of an accepted quote. The formula of a matched shade
// is released: a batch is planned by released formulas only, and the ink maker who
// sent the quote has stood for it.
func (b *Book) planAccepted(ctx context.Context, tx Tx, q Quote, r AcceptRequest) error {
	id, revision, _ := splitRevision(q.Formula)
	if q.Shade != nil {
		made, err := enterShade(ctx, tx, q)
		if err != nil {
			return err
		}
		id, revision = made.ID, made.Revision
	}
	filled, err := completed(ctx, tx, batch.Batch{ID: r.Batch, Formula: id, FormulaRevision: revision, Quantity: r.Quantity, DueDate: r.Due,
		Note: fmt.Sprintf("quotes/%s for %s", revisionID(q.ID, q.Revision), q.Customer)})
	if err != nil {
		return err
	}
	planned, err := batch.Plan(filled)
	if err != nil {
		return batchFault(err, r.Batch)
	}
	_, err = tx.Batches().Create(ctx, planned)
	if errors.Is(err, ErrExists) {
		return InvalidField("batch_id", "batches/%s is there already; choose another id.", r.Batch)
	}
	return err
}

// enterShade puts the ink of a matched shade, if it is new, and its formula into
// the book.
func enterShade(ctx context.Context, tx Tx, q Quote) (formula.Formula, error) {
	id := q.Shade.Material
	if _, err := tx.Materials().Get(ctx, id); isNotFound(err) {
		if _, err := tx.Materials().Create(ctx, BookMaterial{Material: inventory.Material{ID: id, Title: q.Title, Class: inventory.Ink}}); err != nil {
			return formula.Formula{}, err
		}
	} else if err != nil {
		return formula.Formula{}, err
	}
	r := QuoteRequest{Title: q.Title}
	f := FoundShade{*q.Shade, q.Components}.formulaOf(&r)
	f.Note = fmt.Sprintf("Matched to a shade for quotes/%s.", revisionID(q.ID, q.Revision))
	rec, err := appendRevision(ctx, tx, f, Request{})
	return rec.Value, err
}

// forDesk keeps the reason why the ink can't be made from those who may not see
// formulas.
func (q Quote) forDesk(ctx context.Context, err error) error {
	var invalid Invalid
	var fault *Fault
	switch {
	case CallerOf(ctx).Role.SeesFormula(), errors.As(err, &invalid) && invalid[0].Field == "batch_id":
		return err
	case errors.As(err, &invalid), errors.As(err, &fault) && fault.Kind != ErrBusy && fault.Kind != ErrStale:
		return Faultf(ErrNotReady, "NOT_AS_QUOTED", "quotes/"+q.ID, "The ink can't be made as it was quoted any more; have the ink maker revise quotes/%s and send it again.", q.ID)
	}
	return err
}
