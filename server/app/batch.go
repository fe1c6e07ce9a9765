package app

import (
	"context"
	"errors"

	"millbase/inventory/batch"
	"millbase/inventory/formula"
)

// CreateBatch plans a batch by a formula revision (without one the newest
// released) or by a specification. The material follows from them.
func (b *Book) CreateBatch(ctx context.Context, in batch.Batch, req Request) (Record[batch.Batch], error) {
	var rec Record[batch.Batch]
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		seen, err := seenBefore(ctx, tx, req, in.ID)
		if err != nil {
			return err
		}
		if seen != "" {
			rec, err = tx.Batches().Get(ctx, seen)
			return err
		}
		filled, err := completed(ctx, tx, in)
		if err != nil {
			return err
		}
		planned, err := batch.Plan(filled)
		if err != nil {
			return batchFault(err, in.ID)
		}
		rec, err = tx.Batches().Create(ctx, planned)
		return taken(err, "batches/"+in.ID)
	})
	return rec, err
}

// completed is the batch with its formula revision and its material.
func completed(ctx context.Context, tx Tx, in batch.Batch) (batch.Batch, error) {
	if (in.Formula == "") == (in.Specification == "") {
		return in, InvalidField("batch.formula", "name either a formula or a specification that the batch is made by")
	}
	makes, by := "", ""
	if in.Formula != "" {
		f, err := releasedFormula(ctx, tx, in.Formula, in.FormulaRevision)
		if err != nil {
			return in, err
		}
		in.FormulaRevision = f.Revision
		makes, by = f.Material, "formulas/"+revisionID(f.ID, f.Revision)
	} else {
		spec, err := tx.Specifications().Get(ctx, in.Specification)
		if err != nil {
			return in, missing(err, "batch.specification", "specifications/"+in.Specification)
		}
		if spec.Value.Archived {
			return in, InvalidField("batch.specification", "specifications/%s is archived; take it out of the archive or name another", in.Specification)
		}
		makes, by = spec.Value.Material, "specifications/"+in.Specification
	}
	switch {
	case in.Material == "" && makes == "":
		return in, InvalidField("batch.material", "name the material that the batch makes: %s does not say", by)
	case in.Material == "":
		in.Material = makes
	case makes != "" && in.Material != makes:
		return in, InvalidField("batch.material", "%s makes materials/%s; leave the material out or name that one", by, makes)
	}
	_, err := tx.Materials().Get(ctx, in.Material)
	return in, missing(err, "batch.material", "materials/"+in.Material)
}

// releasedFormula is the revision, or the newest released one when revision is 0.
func releasedFormula(ctx context.Context, tx Tx, id string, revision int) (formula.Formula, error) {
	if revision > 0 {
		rec, err := tx.Formulas().Get(ctx, revisionID(id, revision))
		if err != nil {
			return formula.Formula{}, missing(err, "batch.formula", "formulas/"+revisionID(id, revision))
		}
		if !rec.Value.Released {
			return formula.Formula{}, InvalidField("batch.formula", "formulas/%s is not released; release it first or name a released revision", revisionID(id, revision))
		}
		return rec.Value, nil
	}
	list, err := tx.Formulas().List(ctx, Query{Where: []Condition{{"formula", "=", id}}})
	if err != nil {
		return formula.Formula{}, err
	}
	var newest formula.Formula
	for _, r := range list {
		if r.Value.Released && r.Value.Revision > newest.Revision {
			newest = r.Value
		}
	}
	switch {
	case len(list) == 0:
		return newest, InvalidField("batch.formula", "formulas/%s is not in the book", id)
	case newest.Revision == 0:
		return newest, InvalidField("batch.formula", "no revision of formulas/%s is released; release one first", id)
	}
	return newest, nil
}

// GetBatch reads one batch.
func (b *Book) GetBatch(ctx context.Context, id string) (Record[batch.Batch], error) {
	return getOne(ctx, b, Tx.Batches, id)
}

// ListBatches lists batches by state, material and due date.
func (b *Book) ListBatches(ctx context.Context, q Query) ([]Record[batch.Batch], error) {
	return listAll(ctx, b, Tx.Batches, q)
}

// CancelBatch gives the reserved lots back, all in one transaction. version is
// the one that was read; 0 skips the check.
func (b *Book) CancelBatch(ctx context.Context, id, reason string, version int64) (Record[batch.Batch], error) {
	var rec Record[batch.Batch]
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		current, err := readBatch(ctx, tx, id, version)
		if err != nil {
			return err
		}
		cancelled, err := current.Value.Cancel(reason)
		if err != nil {
			return batchFault(err, id)
		}
		if ids := reservationsOf(current.Value); len(ids) > 0 {
			if err := tx.Ledger().Release(ctx, ids...); err != nil {
				return err
			}
		}
		rec, err = tx.Batches().Update(ctx, cancelled, current.Version)
		return err
	})
	return rec, err
}

func reservationsOf(b batch.Batch) []string {
	var ids []string
	for _, l := range b.Lines {
		if l.Reservation != "" {
			ids = append(ids, l.Reservation)
		}
	}
	return ids
}

// readBatch reads a batch to change it.
func readBatch(ctx context.Context, tx Tx, id string, version int64) (Record[batch.Batch], error) {
	rec, err := tx.Batches().Get(ctx, id)
	if err != nil {
		return rec, absent(err, "batches/"+id)
	}
	if version != 0 && version != rec.Version {
		return rec, stale("batches/" + id)
	}
	return rec, nil
}

// batchFault says an error of package batch in the terms of this one.
func batchFault(err error, id string) error {
	switch {
	case errors.Is(err, batch.ErrState):
		return Faultf(ErrNotReady, "BATCH_STATE", "batches/"+id, "%s.", plainly(err, batch.ErrState))
	case errors.Is(err, batch.ErrPlan):
		return InvalidField("batch", "%s", plainly(err, batch.ErrPlan))
	case errors.Is(err, batch.ErrWeight):
		return InvalidField("weights", "%s", plainly(err, batch.ErrWeight))
	}
	return err
}

// plainly is the text of err without that of the sentinel in front.
func plainly(err, sentinel error) string {
	text, front := err.Error(), sentinel.Error()+": "
	if len(text) > len(front) && text[:len(front)] == front {
		return text[len(front):]
	}
	return text
}
